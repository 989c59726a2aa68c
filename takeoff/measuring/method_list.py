"""The list of elements with their methods, to be edited and read back: one row an element.

Beside the GlobalId each row keeps what its element is and where it is, so that a decision finds its element
again when an exporter has renewed the GlobalIds.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

from takeoff.measuring.keys import ElementKey
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.whereabouts import Place

TEXTS = ("model", "ifc_class", "name", "storey", "role")
SIZES = ("gross_volume_m3", "net_volume_m3", "length_m", "width_m", "height_m")
PLACE = tuple(
    f"{name}_{axis}" + ("_m" if name in ("low", "high") else "")
    for name in ("low", "high", "offset", "lean")
    for axis in "xyz"
)
COLUMNS = ("global_id", "mark", "method", "note", "found", "evidence", *TEXTS, *SIZES, *PLACE)
"""`method` and `note` are the user's; `found` and `evidence` say how the program decided; the rest tells the
element again. Figures in metres, m3; offset and lean are shares of the box (see `Place`)."""
DISTINCT = "found"
"""The column by which a list that this program wrote is told from one that a person began."""

BY_USER = "user's list: "
"""How the evidence of a method begins that the user's list decided."""
_FORMULA_STARTS = tuple("=+-@\t\r")


class ListedElement(Struct, frozen=True):
    """An element as a row of the list describes it: enough of a part to be matched by, and its place."""

    part: MeasuredPart
    place: Place | None

    @property
    def key(self) -> ElementKey:
        """Model and GlobalId."""
        return self.part.model, self.part.global_id


def list_rows(
    parts: Sequence[MeasuredPart],
    places: Mapping[ElementKey, Place],
    notes: Mapping[str, str],
    listed: Sequence[ListedElement],
) -> list[dict[str, str]]:
    """The rows for all elements of a measurement, in its order.

    `method` is filled in where the user's list decided, else left to the user. `notes` of the user by GlobalId;
    `listed` are the rows of an earlier list: where an element has no body any more (the user called it no
    concrete), its shape and place are taken over from there.
    """
    earlier = {entry.part.global_id: entry for entry in listed}
    elements: dict[ElementKey, list[MeasuredPart]] = defaultdict(list)
    for part in parts:
        elements[part.model, part.global_id].append(part)
    return [_row(key, own, places.get(key), notes, earlier.get(key[1])) for key, own in elements.items()]


def _row(
    key: ElementKey,
    parts: Sequence[MeasuredPart],
    place: Place | None,
    notes: Mapping[str, str],
    earlier: ListedElement | None,
) -> dict[str, str]:
    main = max(parts, key=lambda part: part.net_volume_m3 or 0.0)
    methods = tuple(dict.fromkeys(part.method for part in parts))
    by_user = all(part.evidence.startswith(BY_USER) for part in parts) and len(methods) == 1
    sizes: dict[str, float | None] = {
        "gross_volume_m3": _sum(part.gross_volume_m3 for part in parts),
        "net_volume_m3": _sum(part.net_volume_m3 for part in parts),
        "length_m": main.length_m,
        "width_m": main.width_m,
        "height_m": main.height_m,
    }
    if place is None and earlier is not None:
        place = earlier.place
        sizes = {name: getattr(earlier.part, name) for name in SIZES}
    figures = () if place is None else (*place.low, *place.high, *place.offset, *place.lean)
    return {
        "global_id": key[1],
        "mark": _guarded(main.mark),
        "method": methods[0] if by_user else "",
        "note": _guarded(notes.get(key[1], "")),
        "found": "; ".join(methods),
        "evidence": _guarded("; ".join(dict.fromkeys(part.evidence for part in parts))),
        **{name: _guarded(getattr(main, name)) for name in TEXTS},
        **{name: "" if value is None else _written(value) for name, value in sizes.items()},
        **(dict(zip(PLACE, map(_written, figures), strict=True)) if figures else dict.fromkeys(PLACE, "")),
    }


def _written(value: float) -> str:
    """To a thousandth of a millimetre, which is more than anybody models."""
    return repr(round(float(value), 6) + 0.0)


def _sum(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) if known else None


def _guarded(text: str) -> str:
    """A text on one line that no spreadsheet takes for a formula: the list is meant to be opened in one."""
    text = " ".join(text.splitlines())
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def plain(text: str) -> str:
    """A text of the list without the mark that guards it."""
    return text[1:] if text.startswith("'") and text[1:].startswith(_FORMULA_STARTS) else text


def listed_element(cells: Mapping[str, str]) -> ListedElement:
    """The element that a row describes. Raises ValueError naming the column of a figure that is none."""
    figures = [_figure(cells, name) for name in PLACE]
    part = MeasuredPart(
        model=plain(cells.get("model", "")),
        global_id=cells["global_id"],
        part=1,
        ifc_class=cells.get("ifc_class", ""),
        name=plain(cells.get("name", "")),
        type_name="",
        mark=plain(cells.get("mark", "")),
        storey=plain(cells.get("storey", "")),
        role=cells.get("role", ""),
        subrole="",
        method="",
        evidence="",
        material="",
        strength_class="",
        gross_volume_m3=_figure(cells, "gross_volume_m3"),
        net_volume_m3=_figure(cells, "net_volume_m3"),
        length_m=_figure(cells, "length_m"),
        width_m=_figure(cells, "width_m"),
        height_m=_figure(cells, "height_m"),
    )
    known = [figure for figure in figures if figure is not None]
    if len(known) < len(PLACE):
        return ListedElement(part, None)
    x = known
    place = Place((x[0], x[1], x[2]), (x[3], x[4], x[5]), (x[6], x[7], x[8]), (x[9], x[10], x[11]))
    return ListedElement(part, place)


def _figure(cells: Mapping[str, str], name: str) -> float | None:
    """A figure, None where the cell is empty; spreadsheets of some languages write a comma."""
    text = cells.get(name, "").strip()
    if not text:
        return None
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise ValueError(f"{name} {text!r} is no number") from None
