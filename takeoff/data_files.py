"""Data files: TOML read and checked, and every fault of one told in one line: file, place or line, cure."""

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from takeoff.findings import InputError

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

Table = TypeVar("Table", bound="BaseModel")

CURE = "compare it with the shipped file"
"""What to do about a fault in a file of which one is shipped."""
_SAID = {"missing": "is missing", "extra_forbidden": "is not known"}
_SHOWN = 60
"""Characters of a wrong value that a message shows."""
_INNER = ("constrained-", "literal[", "function-", "lax-or-strict", "is-instance")
"""How steps begin that the library adds to the place of a fault."""


def read_toml(path: Path) -> dict[str, Any]:
    """The content of a TOML file. Raises InputError when it cannot be read or is no TOML."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as fault:
        raise InputError(f"{path}: cannot be read ({fault.strerror}); name a file that can") from fault
    except UnicodeDecodeError as fault:
        raise InputError(f"{path}: is not UTF-8 text; save it as UTF-8") from fault
    except tomllib.TOMLDecodeError as fault:
        raise InputError(f"{path}: is no valid TOML ({fault}); mend it or copy the shipped file") from fault


def load_table(path: Path, table: type[Table]) -> Table:
    """A data file checked against what it may hold. Raises InputError with the entry and what is wrong with it."""
    return checked_table(path, read_toml(path), table)


def checked_table(
    path: Path,
    content: Mapping[str, Any],
    table: type[Table],
    within: Sequence[str] = (),
    cure: str = CURE,
) -> Table:
    """The content of a data file, or of the table `within` it, checked against what it may hold.

    Raises InputError with the place in the file, what is wrong there, and the cure.
    """
    from pydantic import ValidationError

    try:
        return table.model_validate(content)
    except ValidationError as fault:
        raise InputError(f"{path}: {first_fault(fault, content, within)}; {cure}") from fault


def first_fault(fault: "ValidationError", content: Mapping[str, Any], within: Sequence[str] = ()) -> str:
    """The first thing that is wrong, as `place: what`: `part 2 (Walls), weight: is missing`."""
    error: Any = fault.errors()[0]
    found = str(error["msg"]).removeprefix("Value error, ")
    said = _SAID.get(error["type"]) or f"{found[:1].lower()}{found[1:]}"
    value = error["input"]
    if error["type"] == "literal_error":
        said = f"{value!r} is not known; it may be {found.removeprefix('Input should be ')}"
    elif error["type"] not in _SAID and isinstance(value, str | int | float) and repr(value) not in said:
        shown = repr(value)
        said += f", not {shown if len(shown) <= _SHOWN else shown[: _SHOWN - 3] + '...'}"
    where = _joined((*within, *_places(error["loc"], content))) or "file"
    more = len(fault.errors()) - 1
    also = f" (and {more} more {'fault' if more == 1 else 'faults'})" if more else ""
    return f"{where}: {said}{also}"


def _joined(places: Sequence[str]) -> str:
    """Places one within the other: names of tables by dots, after the entry of a list a comma."""
    text = ""
    for before, place in zip(("", *places), places, strict=False):
        text += ("" if not before else "." if before.isidentifier() else ", ") + place
    return text


def _places(location: Sequence[int | str], content: Any) -> list[str]:
    """Words for a place in nested tables; entries of lists count from 1 and tell their name or title."""
    words: list[str] = []
    here = content
    for step in location:
        if isinstance(step, str) and step.startswith(_INNER):
            continue
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            here = None
        if not isinstance(step, int) or not words:
            words.append(str(step))
            continue
        told = (here.get("name") or here.get("title")) if isinstance(here, Mapping) else None
        words[-1] += f" {step + 1}" + (f" ({told})" if isinstance(told, str) else "")
    return words
