"""A model tested against an IDS (Information Delivery Specification): what it must carry, and what it lacks."""

import re
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from msgspec import Struct

from takeoff.findings import InputError
from takeoff.outputs.files import write_whole
from takeoff.reading.sources import open_source
from takeoff.scratch import scratch_folder
from takeoff.templates import template_path

SHIPPED = "requirements"
"""Name of the IDS that comes with the program."""
REPORTS = (".html", ".json", ".txt")
NAMES_SHOWN = 3
"""Most elements that a line of the terminal names; a report file names all."""

# The library prints a set of names as Python writes it, in any order, with None for a name that is not there.
_SET = re.compile(r'"\{(.*)\}"')
_QUOTED = re.compile(r"""'(?:[^'\\]|\\.)*'|"(?:[^"\\]|\\.)*\"""")


class Failure(Struct, frozen=True):
    """Elements (GlobalIds) that fail a requirement for one and the same reason."""

    requirement: str
    reason: str
    elements: tuple[str, ...]


class Specification(Struct, frozen=True):
    """How a model stands to one specification; `applicable` elements are meant by it, `failed` of them fail.

    `tested` is False where the specification is not for the model's schema.
    """

    name: str
    instructions: str
    passed: bool
    tested: bool
    applicable: int
    failed: int
    failures: tuple[Failure, ...]


class Verdict(Struct, frozen=True):
    """The result for one model."""

    model: str
    title: str
    specifications: tuple[Specification, ...]

    @property
    def passed(self) -> bool:
        """Whether nothing that was tested failed."""
        return all(spec.passed for spec in self.specifications if spec.tested)


def ids_file(given: Path) -> Path:
    """The IDS that is meant: a file, or the shipped one by its name."""
    return template_path(f"{SHIPPED}.ids") if str(given) == SHIPPED and not given.exists() else given


def require_report_name(report: Path) -> None:
    """Raise InputError for a report of an unknown kind."""
    if report.suffix.lower() not in REPORTS:
        raise InputError(f"{report}: a report on an IDS ends in {', '.join(REPORTS)}")


def verify_model(ids: Path, model: Path, name: str, report: Path | None = None) -> Verdict:
    """Test the model at `model` against the IDS at `ids`; write the library's own report to `report` if given.

    Raises InputError where the library is not installed, or either file cannot be used.
    """
    requirements = _load(ids)
    with scratch_folder("check") as scratch:
        import ifcopenshell

        # The requirements hold on to entities of the model, so the model must outlive the reports.
        opened = ifcopenshell.open(open_source(model, scratch).path)
        requirements.validate(opened, should_filter_version=True, filepath=str(model))
        verdict = _verdict(requirements, name)
        if report is not None:
            write_whole(report, lambda partial: _report(requirements, partial, report.suffix.lower()))
    return verdict


def _load(ids: Path) -> Any:
    try:
        from ifctester import ids as library
    except ImportError:
        raise InputError(
            'IDS needs a library that is not installed; install it with: pip install "takeoff[standards]"'
        ) from None
    if not ids.is_file():
        raise InputError(f"{ids}: no such file; name an IDS, or `{SHIPPED}` for the one that is shipped")
    try:
        return library.open(str(ids), validate=True)
    except Exception as fault:
        words = str(getattr(getattr(fault, "xml_error", None), "reason", None) or fault)
        raise InputError(f"{ids}: is no valid IDS 1.0 ({' '.join(words.split())[:200]})") from fault


def _verdict(requirements: Any, name: str) -> Verdict:
    return Verdict(
        name,
        str(requirements.info.get("title", "")),
        tuple(_specification(spec) for spec in requirements.specifications),
    )


def _specification(spec: Any) -> Specification:
    failures = []
    for requirement in spec.requirements:
        by_reason: dict[str, list[str]] = defaultdict(list)
        for failure in requirement.failures:
            element = failure["element"]
            named = getattr(element, "GlobalId", None) or f"#{element.id()}"
            by_reason[_plain(failure["reason"])].append(named)
        wanted = requirement.to_string("requirement", spec, requirement)
        failures += [Failure(wanted, reason, tuple(names)) for reason, names in by_reason.items()]
    if spec.maxOccurs == 0 and spec.applicable_entities:
        names = tuple(getattr(entity, "GlobalId", "") for entity in spec.applicable_entities)
        failures.append(Failure("there shall be none", "is there all the same", names))
    elif spec.minOccurs and not spec.applicable_entities:
        failures.append(Failure("there shall be at least one", "there is none", ()))
    return Specification(
        spec.name,
        spec.instructions or "",
        spec.status is not False,
        spec.status is not None,
        len(spec.applicable_entities),
        len(spec.applicable_entities) if spec.maxOccurs == 0 else len(spec.failed_entities),
        tuple(failures),
    )


def _plain(reason: str) -> str:
    """The library's reason with the names of a set in their order and nothing else."""
    return _SET.sub(lambda found: ", ".join(sorted(_QUOTED.findall(found[1]))) or "(none)", reason)


def _report(requirements: Any, path: Path, ending: str) -> None:
    from ifctester import reporter

    kinds = {".html": reporter.Html, ".json": reporter.Json, ".txt": reporter.Txt}
    report = kinds[ending](requirements)
    report.report()
    report.to_file(str(path))


def verdict_lines(verdict: Verdict) -> list[str]:
    """The result for people: a line for each specification, and below each that fails what is wrong."""
    tested = [spec for spec in verdict.specifications if spec.tested]
    passed = sum(spec.passed for spec in tested)
    lines = [f"{verdict.model}: {passed} of {len(tested)} requirements met ({verdict.title})"]
    for spec in verdict.specifications:
        word = "not for this schema" if not spec.tested else "met" if spec.passed else "NOT MET"
        count = (
            f"{spec.failed} of {spec.applicable} fail" if not spec.passed else f"{spec.applicable} looked at"
        )
        lines.append(f"  {word}: {spec.name}: {count}")
        if spec.passed:
            continue
        lines += [f"    {_failure_line(failure)}" for failure in spec.failures]
        if spec.instructions:
            lines.append(f"    to do: {spec.instructions}")
    return lines


def _failure_line(failure: Failure) -> str:
    shown = ", ".join(failure.elements[:NAMES_SHOWN])
    more = len(failure.elements) - NAMES_SHOWN
    names = f": {shown}" + (f" and {more} more" if more > 0 else "") if shown else ""
    return f"{failure.reason}{names}"


def report_paths(report: Path | None, names: Sequence[str]) -> list[Path | None]:
    """Where the report on each model goes: `report` for one, the model's name put before its ending for several."""
    if report is None:
        return [None] * len(names)
    if len(names) == 1:
        return [report]
    return [report.with_name(f"{report.stem}-{Path(name).stem}{report.suffix}") for name in names]
