"""The user's own list of methods by GlobalId or mark: the highest evidence."""

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path

from msgspec import Struct, field

from takeoff.findings import Finding, InputError
from takeoff.measuring.method_list import COLUMNS, DISTINCT, ListedElement, listed_element, plain
from takeoff.measuring.plan import METHODS
from takeoff.reading.facts import ElementFacts, ModelFacts

_COLUMNS = ("global_id", "mark", "method", "note")


class Override(Struct, frozen=True):
    """What the list says of one GlobalId or mark, and where it says so ("methods.csv line 3")."""

    method: str
    source: str
    note: str = ""


class Overrides(Struct, frozen=True):
    """The list; marks are kept without blanks at the ends and in lower case.

    `listed` describes the elements of a list that this program wrote, `findings` what was noticed since.
    """

    by_id: Mapping[str, Override] = field(default_factory=dict)
    by_mark: Mapping[str, Override] = field(default_factory=dict)
    listed: tuple[ListedElement, ...] = ()
    findings: tuple[Finding, ...] = ()

    def find(self, facts: ElementFacts) -> Override | None:
        """What the list says of an element: its GlobalId, else its mark, else its assembly's mark."""
        if facts.global_id in self.by_id:
            return self.by_id[facts.global_id]
        for mark in (facts.mark, facts.assembly_mark):
            if mark and _key(mark) in self.by_mark:
                return self.by_mark[_key(mark)]
        return None


def load_overrides(path: Path) -> Overrides:
    """The list in the CSV file `path`: columns `global_id` or `mark` (or both), `method`, if wanted `note`.

    Commas or semicolons part the columns. A row names an element by one of the two columns; where it fills
    both, both stand for the method. In a list that this program wrote (--methods-list) the GlobalId alone
    names the element, and a row without a method leaves it to the rules. Raises InputError naming the file,
    the line and the fault.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise InputError(f"{path}: cannot be read: {fault.strerror or fault}") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: is not UTF-8 text; save it as UTF-8") from None
    lines = text.splitlines()
    if not lines:
        raise InputError(f"{path}: is empty; give a header `global_id,method` or `mark,method`")
    comma = ";" if lines[0].count(";") > lines[0].count(",") else ","
    reader = csv.reader(lines, delimiter=comma)
    header = [name.strip().lower() for name in next(reader)]
    ours = DISTINCT in header and "global_id" in header
    unknown = [name for name in header if name not in (COLUMNS if ours else _COLUMNS)]
    if unknown or "method" not in header or not {"global_id", "mark"} & set(header):
        told = f"unknown column {unknown[0]!r}" if unknown else f"columns {', '.join(header)}"
        raise InputError(f"{path}: {told}; wanted are `global_id` or `mark`, and `method`")
    by_id: dict[str, Override] = {}
    by_mark: dict[str, Override] = {}
    listed: list[ListedElement] = []
    try:
        for row in reader:
            if not any(cell.strip() for cell in row):
                continue
            where = f"{path}: line {reader.line_num}"
            if len(row) != len(header):
                raise InputError(f"{where}: {len(row)} cells under {len(header)} column heads")
            cells = dict(zip(header, (cell.strip() for cell in row), strict=True))
            method = cells["method"]
            if ours and cells["global_id"]:
                listed.append(listed_element(cells))
                cells["mark"] = ""
                if not method:
                    continue
            if method not in METHODS:
                raise InputError(f"{where}: method {method!r} is none of {', '.join(METHODS)}")
            global_id, mark = cells.get("global_id", ""), cells.get("mark", "")
            if not global_id and not mark:
                raise InputError(f"{where}: names no element; fill in `global_id` or `mark`")
            note = plain(cells.get("note", ""))
            override = Override(method, f"{path.name} line {reader.line_num}", note)
            for key, known in ((global_id, by_id), (_key(mark), by_mark)):
                if key and key in known and known[key].method != method:
                    raise InputError(f"{where}: {key} has another method in {known[key].source}")
                if key:
                    known.setdefault(key, override)
    except (csv.Error, ValueError) as fault:
        raise InputError(f"{path}: line {reader.line_num}: {fault}") from None
    return Overrides(by_id, by_mark, tuple(listed))


def _key(mark: str) -> str:
    return mark.strip().casefold()


def unused_overrides(models: Sequence[ModelFacts], overrides: Overrides) -> tuple[Finding, ...]:
    """A finding for each line of the list that names no element of any model (a slip of the pen, mostly)."""
    ids = {element.global_id for model in models for element in model.elements}
    marks = {
        _key(mark)
        for model in models
        for element in model.elements
        for mark in (element.mark, element.assembly_mark)
    }
    missing = [("GlobalId", key, found) for key, found in overrides.by_id.items() if key not in ids]
    missing += [("mark", key, found) for key, found in overrides.by_mark.items() if key not in marks]
    return tuple(
        Finding(
            "warning",
            "override-unused",
            "",
            key if what == "GlobalId" else "",
            f"{found.source}: no element has the {what} {key}; correct the line or take it out",
        )
        for what, key, found in missing
    )
