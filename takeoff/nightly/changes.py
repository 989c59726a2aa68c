"""What a version changed against the one before: totals, bill items and elements, in quantity and money."""

import csv
import io
import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from takeoff.measuring.keys import ElementKey
from takeoff.nightly.tables import Tables
from takeoff.outputs.places import FIGURES, place_from
from takeoff.outputs.text import starts_like_formula
from takeoff.pricing.unit_systems import METRIC, SYSTEMS, UnitSystem
from takeoff.told import counted

if TYPE_CHECKING:
    from takeoff.measuring.records import MeasuredPart

Figure = float | None

_COMPARED = ("role", "method", "material", "strength_class", "storey", "condition")
_FIGURES = ("net_volume_m3", "gross_volume_m3", "formwork_m2", "reinforcement_kg", "weight_t")


class TotalChange(Struct, frozen=True):
    """One total before and after; `unit` is that of the figure, empty for shares (between 0 and 1)."""

    what: str
    unit: str
    before: Figure
    after: Figure

    @property
    def difference(self) -> Figure:
        """After less before, None where one is not known."""
        return None if self.before is None or self.after is None else self.after - self.before

    @property
    def percent(self) -> Figure:
        """The difference in percent of before, None where that is nothing."""
        return None if self.difference is None or not self.before else 100.0 * self.difference / self.before


class ItemChange(Struct, frozen=True):
    """A bill item that is new, gone, or has another quantity or rate. Amounts in the bill's currency."""

    change: str
    key: str
    description: str
    unit: str
    quantity_before: Figure
    quantity_after: Figure
    rate_before: Figure
    rate_after: Figure
    amount_before: Figure
    amount_after: Figure
    amount_difference: float

    @property
    def size(self) -> float:
        """The money that moved, by which the most important come first."""
        return abs(self.amount_difference)


class ElementChange(Struct, frozen=True):
    """A part of an element that was added, removed or changed, and in what.

    `global_id_before` is what it was where its GlobalId was renewed and it was known again by shape, place or mark.
    """

    change: str
    model: str
    global_id: str
    part: int
    lump: int
    name: str
    storey: str
    role: str
    method: str
    what: str
    volume_before_m3: Figure
    volume_after_m3: Figure
    formwork_before_m2: Figure
    formwork_after_m2: Figure
    global_id_before: str = ""


class Changes(Struct, frozen=True):
    """All changes between two versions; without a version before, only the totals are filled."""

    totals: tuple[TotalChange, ...]
    items: tuple[ItemChange, ...] = ()
    elements: tuple[ElementChange, ...] = ()
    new_errors: int = 0
    unpriced: int = 0
    renewed: int = 0
    """Elements that have another GlobalId than before, found again by shape, place or mark."""

    def total(self, what: str) -> TotalChange:
        """The change of one total by its name."""
        return next(change for change in self.totals if change.what == what)

    def count(self, change: str) -> int:
        """Number of elements (of parts with their own GlobalId) that were added, removed or changed."""
        return len({(row.model, row.global_id) for row in self.elements if row.change == change})

    def words(self) -> str:
        """The changes in one line; the totals themselves where there is no version before."""
        if all(change.before is None for change in self.totals):
            return "; ".join(_stated(change) for change in self.totals if change.after is not None)
        told = [_told(change) for change in self.totals if change.after is not None]
        counts = [
            f"{self.count(kind)} {kind}" for kind in ("added", "removed", "changed") if self.count(kind)
        ]
        if counts:
            told.append(f"elements: {', '.join(counts)}")
        if self.renewed:
            told.append(
                f"{counted(self.renewed, 'GlobalId')} renewed by the export, found again by shape, place or mark"
            )
        return "; ".join(filter(None, told)) or "no figure changed"


def compare(before: Tables | None, after: Tables) -> Changes:
    """The changes from one version's tables to the next one's. `before` None: there is none."""
    currency = after.totals["currency"]
    system = SYSTEMS.get(after.totals["units"], METRIC)
    old = before.totals if before is not None else {}
    named = (
        ("net total", currency, "net_total"),
        ("grand total", currency, "grand_total"),
        ("concrete", "m3", "net_volume_m3"),
        ("formwork", "m2", "formwork_m2"),
        ("reinforcement", "kg", "reinforcement_kg"),
        ("prefabrication share of volume", "", "share_volume"),
    )
    totals = tuple(
        TotalChange(
            what, system.unit(unit), *(_in(system, unit, kept.get(name)) for kept in (old, after.totals))
        )
        for what, unit, name in named
    )
    unpriced = after.totals["unpriced_items"] or 0
    if before is None:
        return Changes(totals, new_errors=after.totals["errors"] or 0, unpriced=unpriced)
    elements, renewed = _elements(before, after)
    return Changes(
        totals,
        tuple(_items(before, after)),
        elements,
        max(0, (after.totals["errors"] or 0) - (old["errors"] or 0)),
        max(0, unpriced - (old["unpriced_items"] or 0)),
        renewed,
    )


def csv_text(kind: type[Struct], rows: Iterable[Any]) -> str:
    """Rows of the record `kind` as CSV for people: texts that a spreadsheet would calculate begin with '."""
    names = kind.__struct_fields__
    return csv_lines(names, ([getattr(row, name) for name in names] for row in rows))


def csv_lines(names: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A heading and rows as CSV text with the line ends of RFC 4180."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(names)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return stream.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else ""
    text = str(value)
    return f"'{text}" if isinstance(value, str) and starts_like_formula(text) else text


def _stated(change: TotalChange) -> str:
    if not change.unit:
        return f"{change.what} {change.after:.1%}"
    return f"{change.what} {change.after:,.2f} {change.unit}"


def _told(change: TotalChange) -> str:
    if change.difference is None or (not change.unit and abs(change.difference) < 5e-5):
        return ""
    if not change.unit:
        return f"{change.what} {change.before:.1%} to {change.after:.1%}"
    if _same(change.before, change.after):
        return ""
    percent = f" ({change.percent:+.1f} %)" if change.percent is not None else ""
    return f"{change.what} {change.before:,.2f} to {change.after:,.2f} {change.unit}{percent}"


def _same(before: Figure, after: Figure) -> bool:
    """Equal but for the last digits, in which two machines may differ."""
    if before is None or after is None:
        return before is after
    return math.isclose(before, after, rel_tol=1e-6, abs_tol=1e-6)


def _items(before: Tables, after: Tables) -> Iterable[ItemChange]:
    old = {row["key"]: row for row in before.records("items")}
    new = {row["key"]: row for row in after.records("items")}
    for key in [*new, *(key for key in old if key not in new)]:
        was, now = old.get(key), new.get(key)
        if was and now and all(_same(was[name], now[name]) for name in ("quantity", "rate", "amount")):
            continue
        shown = now or was
        assert shown is not None
        names = ("quantity", "rate", "amount")
        quantities, rates, amounts = ([row[name] if row else None for row in (was, now)] for name in names)
        change = "new" if was is None else "gone" if now is None else "changed"
        difference = round((amounts[1] or 0.0) - (amounts[0] or 0.0), 2)
        yield ItemChange(
            change, key, shown["description"], shown["unit"], quantities[0], quantities[1], rates[0], rates[1],
            amounts[0], amounts[1], difference,
        )  # fmt: skip


def _elements(before: Tables, after: Tables) -> tuple[tuple[ElementChange, ...], int]:
    """Parts that differ, and how many elements were known again under another GlobalId.

    None where the version before has lost its elements: then nothing is said of them.
    """
    if before.totals["parts"] and not before.rows["elements"]:
        return (), 0
    old, new = _by_part(before), _by_part(after)
    was_called, renewed = _renewals(before, after)
    found, seen = [], set()
    for key, now in new.items():
        old_key = (was_called.get(key[0], key[0]), *key[1:])
        was = old.get(old_key)
        if was is not None:
            seen.add(old_key)
            what = [name for name in _COMPARED if was[name] != now[name]]
            what += [name for name in _FIGURES if not _same(was[name], now[name])]
            if what:
                found.append(_element_change("changed", was, now, ", ".join(what)))
        else:
            found.append(_element_change("added", None, now))
    found += [_element_change("removed", was, None) for key, was in old.items() if key not in seen]
    return tuple(found), renewed


def _element_change(
    change: str, was: Mapping[str, Any] | None, now: Mapping[str, Any] | None, what: str = ""
) -> ElementChange:
    row = now or was
    assert row is not None
    other = was["global_id"] if was and now and was["global_id"] != now["global_id"] else ""
    return ElementChange(
        change, row["model"], row["global_id"], row["part"], row["lump"], row["name"], row["storey"], row["role"],
        row["method"], what,
        was["net_volume_m3"] if was else None, now["net_volume_m3"] if now else None,
        was["formwork_m2"] if was else None, now["formwork_m2"] if now else None, other,
    )  # fmt: skip


_Element = tuple[str, int]
"""GlobalId, and the place among those elements of a measurement that have the same one."""


def _renewals(before: Tables, after: Tables) -> tuple[dict[_Element, _Element], int]:
    """What elements of `after` were called in `before` where that is something else, and how many there are."""
    ids = [{row["global_id"] for row in tables.records("elements")} for tables in (before, after)]
    if ids[0] <= ids[1] or ids[1] <= ids[0]:
        return {}, 0
    from takeoff.measuring.identity import match_elements

    sides = [
        (
            [_part(row) for row in tables.records("elements")],
            {
                (row["model"], row["global_id"]): place_from([row[name] for name in FIGURES])
                for row in tables.records("places")
            },
        )
        for tables in (before, after)
    ]
    matching = match_elements(sides[0][0], sides[1][0], sides[0][1], sides[1][1])
    old, new = _named_elements(before), _named_elements(after)
    return {new[pair.new]: old[pair.old] for pair in matching.renewed}, len(matching.renewed)


def _part(row: Mapping[str, Any]) -> "MeasuredPart":
    """A kept row as a measured part, as far as it was kept."""
    from takeoff.measuring.records import MeasuredPart

    known = set(MeasuredPart.__struct_fields__)
    return MeasuredPart(
        **{name: value for name, value in row.items() if name in known}, subrole="", evidence=""
    )


def _named_elements(tables: Tables) -> dict[ElementKey, _Element]:
    """Elements by file and GlobalId; the same GlobalId in several files is counted."""
    named: dict[ElementKey, _Element] = {}
    count: Counter[str] = Counter()
    for row in tables.records("elements"):
        key = (row["model"], row["global_id"])
        if key not in named:
            named[key] = (row["global_id"], count[row["global_id"]])
            count[row["global_id"]] += 1
    return named


def _by_part(tables: Tables) -> dict[tuple[_Element, int, int, int], dict[str, Any]]:
    """Rows of elements by element, part and lump, whatever the file is called; the same twice is counted."""
    rows: dict[tuple[_Element, int, int, int], dict[str, Any]] = {}
    named = _named_elements(tables)
    for row in tables.records("elements"):
        key = (named[row["model"], row["global_id"]], row["part"], row["lump"])
        place = 0
        while (*key, place) in rows:
            place += 1
        rows[*key, place] = row
    return rows


def _in(system: UnitSystem, unit: str, value: Figure) -> Figure:
    return None if value is None else value * system.factor(unit)


def change_rows(
    found: Sequence[tuple[str, Changes]], of: str
) -> tuple[tuple[str, ...], tuple[tuple[Any, ...], ...]]:
    """Columns and rows of the changes of several models: `of` their totals, items or elements."""
    if of == "totals":
        columns = ("model", "what", "unit", "before", "after", "difference", "percent")
        return columns, tuple(
            (name, row.what, row.unit, row.before, row.after, row.difference, row.percent)
            for name, changes in found
            for row in changes.totals
        )
    kind: type[Struct] = ItemChange if of == "items" else ElementChange
    names = kind.__struct_fields__
    rows = tuple(
        (name, *(getattr(row, column) for column in names))
        for name, changes in found
        for row in (changes.items if of == "items" else changes.elements)
    )
    heads = ["file" if column == "model" else column for column in names]
    return ("model", *heads), rows
