"""Work done in a process of its own under the supervisor, for a caller whose process must outlive whatever happens.

The process is started, not forked: the caller's threads, and the locks that they hold, would not come along.
"""

import contextlib
import os
import pickle
import signal
import subprocess
import sys
import tempfile
import threading
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import ParamSpec, TypeVar

from takeoff.findings import InputError
from takeoff.isolation.forking import ONE_THREAD

Given = ParamSpec("Given")
Answer = TypeVar("Answer")

BOOT = "import sys; sys.path[:0] = sys.argv[2:]; from takeoff.isolation.elsewhere import serve; serve(int(sys.argv[1]))"
"""What the process runs: its parent, and where the parent finds modules, are its arguments."""

ENDING_SECONDS = 5.0
"""Patience with a process that was asked to end; the supervisor within it has two seconds itself."""

_LENGTH = 8


def elsewhere(work: Callable[Given, Answer], *given: Given.args, **named: Given.kwargs) -> Answer:
    """What a function of a module gives, worked out in another process; arguments and answer travel pickled.

    Raises what it raises; InputError where a library breaks down or hangs over all that is given. What the supervisor
    says is a RuntimeWarning. Ends the process however this is left. Where Python does not know its own program (within
    another one), the work is done here.
    """
    if not sys.executable:
        return work(*given, **named)
    root = str(Path(__file__).resolve().parents[2])
    places = list(dict.fromkeys([root, *(str(Path(place or ".").resolve()) for place in sys.path)]))
    request = pickle.dumps((work, given, named), protocol=pickle.HIGHEST_PROTOCOL)
    with tempfile.TemporaryFile() as answers, tempfile.TemporaryFile() as errors:
        process = subprocess.Popen(
            [sys.executable, "-P", "-c", BOOT, str(os.getpid()), *places],
            stdin=subprocess.PIPE,
            stdout=answers,
            stderr=errors,
            env={**os.environ, **ONE_THREAD},
        )
        try:
            assert process.stdin is not None
            with contextlib.suppress(BrokenPipeError):  # it says why it ended
                process.stdin.write(len(request).to_bytes(_LENGTH, "big") + request)
                process.stdin.flush()
            process.wait()
        finally:
            _end(process)
        answers.seek(0)
        errors.seek(0)
        payload = answers.read()
        said = errors.read().decode(errors="replace").strip().splitlines()
    if not payload:
        raise _ended(process.returncode, said)
    for line in said:
        if line.startswith("takeoff: "):
            warnings.warn(line, RuntimeWarning, stacklevel=3)
    answer, fault = pickle.loads(payload)
    if fault is not None:
        raise fault
    found: Answer = answer
    return found


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a process and all that it started: it is asked first, so that it leaves nothing behind."""
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(ENDING_SECONDS)
        except BaseException:  # it does not listen, or whoever waits was interrupted once more
            process.kill()
            process.wait()
    if process.stdin is not None:
        with contextlib.suppress(OSError):
            process.stdin.close()


def _ended(code: int, said: list[str]) -> Exception:
    """What to raise for a process that ended without an answer, having said some lines."""
    if said and said[-1].startswith("takeoff: "):
        return InputError(said[-1].removeprefix("takeoff: "))
    last = f": {said[-1][:300]}" if said else ""
    return RuntimeError(f"the process that measures ended (exit {code}){last}")


def serve(parent: int) -> None:
    """In the process: do what is asked on standard input and leave the answer in the file on standard output."""
    from takeoff.isolation.forking import end_with, own_process
    from takeoff.isolation.supervision import supervise

    end_with(parent)
    source = sys.stdin.buffer
    request = source.read(int.from_bytes(source.read(_LENGTH), "big"))
    # Libraries that print must not disturb the answer.
    answers = os.dup(1)
    os.dup2(2, 1)
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _stop)
    supervise()
    if sys.platform != "linux":
        threading.Thread(target=_end_with_input, daemon=True).start()
    own_process()
    try:
        payload = _answer(request)
    except KeyboardInterrupt:
        sys.exit(130)
    with open(answers, "r+b", buffering=0) as sink:
        sink.truncate(0)
        sink.seek(0)
        left = memoryview(payload)
        while left:
            left = left[sink.write(left) :]


def _stop(number: int, frame: object) -> None:
    signal.signal(number, signal.SIG_IGN)  # asked once is enough
    sys.exit(128 + number)


def _end_with_input() -> None:
    """End when the parent does, and its end of the pipe with it."""
    sys.stdin.buffer.read()
    os._exit(1)


def _answer(request: bytes) -> bytes:
    try:
        work, given, named = pickle.loads(request)
        answer, fault = work(*given, **named), None
    except Exception as problem:
        answer, fault = None, problem
    try:
        if fault is not None and not isinstance(fault, InputError):
            fault.add_note("".join(traceback.format_exception(fault)).rstrip())
        payload = pickle.dumps((answer, fault), protocol=pickle.HIGHEST_PROTOCOL)
        if fault is not None:
            pickle.loads(payload)
    except Exception as problem:
        told = fault if fault is not None else problem
        payload = pickle.dumps((None, RuntimeError("".join(traceback.format_exception(told)))))
    return payload
