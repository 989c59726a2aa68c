"""Elements whose GlobalId an export renewed, found again among two versions by what is kept of them.

The history keeps no geometry, so that an element is known by its words and figures: first those that are alike in
all, whatever their number, then those that nothing but one name, storey and role tells apart.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from typing import Any

Row = Mapping[str, Any]

_NAMED = ("ifc_class", "type_name", "name", "mark")
_PLACED = ("role", "storey")
_MADE = ("method", "material", "strength_class", "condition")
_FIGURES = ("gross_volume_m3", "net_volume_m3", "formwork_m2", "reinforcement_kg", "weight_t")


def find_renewed(before: Iterable[Row], after: Iterable[Row]) -> dict[str, str]:
    """GlobalIds of elements that only `before` has, by the new GlobalId that only `after` has for the same element.

    Both are rows of the history's table of elements, one a part.
    """
    old, new = _by_id(before), _by_id(after)
    gone = {key: rows for key, rows in old.items() if key not in new}
    came = {key: rows for key, rows in new.items() if key not in old}
    found: dict[str, str] = {}
    for describe, single in ((_alike, False), (_by_name, True)):
        left = [(key, rows) for key, rows in gone.items() if key not in found.values()]
        others = [(key, rows) for key, rows in came.items() if key not in found]
        found.update(_paired(_grouped(left, describe), _grouped(others, describe), single))
    return found


def _by_id(rows: Iterable[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        found[row["global_id"]].append(row)
    return found


def _grouped(
    elements: Iterable[tuple[str, Sequence[Row]]], describe: Callable[[Sequence[Row]], Hashable]
) -> dict[Hashable, list[str]]:
    groups: dict[Hashable, list[str]] = defaultdict(list)
    for key, rows in elements:
        groups[describe(rows)].append(key)
    return groups


def _paired(
    old: Mapping[Hashable, Sequence[str]], new: Mapping[Hashable, Sequence[str]], single: bool
) -> dict[str, str]:
    """New GlobalIds with old ones of the same group; `single`: only where the group has one of each."""
    found: dict[str, str] = {}
    for described, keys in new.items():
        others = old.get(described, ())
        if not single or len(keys) == len(others) == 1:
            found.update(zip(keys, others, strict=False))
    return found


def _alike(rows: Sequence[Row]) -> Hashable:
    """Everything that is said of an element; figures to five digits, in which two exports may be trusted to agree."""
    said = []
    for row in rows:
        figures = ("" if row[name] is None else f"{row[name]:.5g}" for name in _FIGURES)
        said.append(
            (row["part"], row["lump"], *(row[name] for name in (*_NAMED, *_PLACED, *_MADE)), *figures)
        )
    return tuple(sorted(said))


def _by_name(rows: Sequence[Row]) -> Hashable:
    """What an element is called and where it stands, but nothing that a change of design alters."""
    first = min(rows, key=lambda row: (row["part"], row["lump"]))
    return tuple(first[name] for name in (*_NAMED, *_PLACED))
