"""What to ask about each kind of finding, from a data file."""

from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path

from msgspec.structs import replace

from takeoff.data_files import read_toml
from takeoff.findings import Finding, InputError
from takeoff.templates import template_path

SHIPPED = "questions.toml"
OFFICE = "Office:"
"""How a question begins that is none for the designer, but a task of the estimating office."""


def load_questions(path: Path) -> Mapping[str, str]:
    """Questions by kind of finding; those that the file leaves out are the shipped ones.

    Raises InputError for a file that cannot be read, a kind that there is not, and what is no text.
    """
    shipped = _shipped()
    given = read_toml(path)
    for kind, question in given.items():
        if kind not in shipped:
            raise InputError(
                f"{path}: `{kind}` is no kind of finding; the kinds are those of the shipped {SHIPPED}"
            )
        if not isinstance(question, str) or not question.strip():
            raise InputError(
                f"{path}: {kind}: must be a question in quotes; leave the line out for the shipped one"
            )
    return {**shipped, **given}


def asked(findings: Iterable[Finding], questions: Mapping[str, str]) -> tuple[Finding, ...]:
    """The findings, each with what to ask about it."""
    return tuple(
        finding if finding.ask else replace(finding, ask=questions.get(finding.kind, ""))
        for finding in findings
    )


@cache
def _shipped() -> Mapping[str, str]:
    return {kind: str(question) for kind, question in read_toml(template_path(SHIPPED)).items()}
