"""The process that measures one model: started by `takeoff.nightly.isolation`, ended by it or with it.

It works in a private folder: `order.pickle` in, `result.zip` or `failure.json` out.
"""

import hashlib
import json
import os
import pickle
import sys
import threading
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from takeoff.findings import Finding, InputError, NothingToMeasure
from takeoff.isolation.forking import bound_memory
from takeoff.isolation.supervision import supervise

if TYPE_CHECKING:
    from takeoff.pipeline import Run

CHUNK = 1 << 20
MEMORY_SLACK = 2 << 30
"""Address space above the limit of memory: code and reserved space take some without filling memory."""


def serve(folder: Path, parent: int) -> None:
    """Carry out the order in `folder` and leave the answer there; end when the process `parent` ends."""
    _end_with(parent)
    order, rules = pickle.loads((folder / "order.pickle").read_bytes())
    bound_memory(order.limits.memory + MEMORY_SLACK)
    supervise()
    try:
        answer = _answer(folder, order, rules)
    except MemoryError:
        answer = ("failed", "it needs more memory than a model may take")
    except Exception as fault:
        answer = ("failed", f"the program stumbled over it ({fault_words(fault)})")
    if answer is not None:
        state, reason = answer
        _put(folder / "failure.json", json.dumps({"state": state, "reason": reason}).encode())


def _answer(folder: Path, order: Any, rules: Any) -> tuple[str, str] | None:
    """None when `result.zip` is there; else the state and the reason why it is not."""
    began = time.perf_counter()
    models = folder / "models"
    for path, digest in zip(order.paths, order.digests, strict=True):
        try:
            if _copy(Path(order.folder) / path, models / path) != digest:
                return ("moved", "its content changed while it was being read")
        except OSError as fault:
            return ("failed", f"it cannot be read ({(fault.strerror or str(fault)).lower()})")
    # Names within results are those in the model folder, not those of this private copy.
    os.chdir(models)
    try:
        from takeoff import pipeline
        from takeoff.nightly.outcome import BOOK, TABLES, pack
        from takeoff.nightly.tables import tables_of
        from takeoff.outputs.tables import write_tables
        from takeoff.outputs.workbook.book import write_workbook

        written = folder / "rules"
        run = pipeline.bill([Path(path) for path in order.paths], rules.settings(written))
        run = _told_as_given(run, lambda text: rules.as_given(text, written))
        if run.failed:
            first = run.failed[0].message
            return ("failed", f"{len(run.failed)} of its {len(order.paths)} files cannot be used: {first}")
        assert run.bill is not None
        out = folder / "out"
        write_tables(out, run.measurement, run.record)
        write_workbook(out / BOOK, run.measurement, run.bill, run.record)
        tables = tables_of(run, round(time.perf_counter() - began, 3))
        (out / TABLES).write_text(tables.text(), encoding="utf-8")
        pack(out, folder / "result.part")
        os.replace(folder / "result.part", folder / "result.zip")
    except NothingToMeasure as answer:
        return ("nothing", str(answer))
    except InputError as fault:
        return ("failed", rules.as_given(str(fault), folder / "rules"))
    return None


def _told_as_given(run: "Run", given: Callable[[str], str]) -> "Run":
    """The run with its findings and its basis naming data files as the user gave them, not the private copies."""
    assert run.bill is not None

    def respelt(text: str) -> str:
        spelt = given(text)
        return text if spelt == text else spelt  # a text that knows its quantities stays one

    def told(findings: Iterable[Finding]) -> tuple[Finding, ...]:
        return tuple(
            replace(finding, message=respelt(finding.message), assumed=respelt(finding.assumed))
            for finding in findings
        )

    measurement = replace(run.measurement, findings=told(run.measurement.findings))
    basis = tuple((given(topic), given(text), given(source)) for topic, text, source in run.bill.basis)
    bill = replace(run.bill, findings=told(run.bill.findings), basis=basis)
    return replace(run, measured=replace(run.measured, measurement=measurement), bill=bill)


def _copy(source: Path, target: Path) -> str:
    """Copy a file and give the SHA-256 of what was copied, so that what is measured is what was hashed."""
    target.parent.mkdir(parents=True, exist_ok=True)
    digest = hashlib.sha256()
    with source.open("rb") as stream, target.open("wb") as out:
        while chunk := stream.read(CHUNK):
            digest.update(chunk)
            out.write(chunk)
    return digest.hexdigest()


def _put(path: Path, content: bytes) -> None:
    partial = path.with_suffix(".part")
    partial.write_bytes(content)
    os.replace(partial, path)


def fault_words(fault: Exception) -> str:
    """Kind, words and place of an unforeseen fault, in one line."""
    trace = fault.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    place = f" in {Path(trace.tb_frame.f_code.co_filename).name} line {trace.tb_lineno}" if trace else ""
    return f"{type(fault).__name__}{place}: {' '.join(str(fault).split())[:300]}"


def _end_with(parent: int) -> None:
    """End this process and those that it started when the parent ends, however that ends.

    On Linux the kernel sees to it, even while native code holds the interpreter; elsewhere a thread waits for
    the end of the pipe that the parent holds.
    """
    if sys.platform == "linux":
        import ctypes
        import signal

        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG
        if os.getppid() != parent:
            os._exit(1)
        return

    def wait() -> None:
        sys.stdin.buffer.read()
        os._exit(1)

    threading.Thread(target=wait, daemon=True).start()
