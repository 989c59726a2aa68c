"""Decisions of the user that find their elements again after an export that renewed the GlobalIds."""

from collections.abc import Mapping, Sequence

from msgspec.structs import replace

from takeoff.findings import Finding
from takeoff.measuring.identity import Ground, match_elements
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.overrides import Overrides
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.whereabouts import Place

_WORDS: dict[Ground, str] = {
    "global-id": "GlobalId",
    "shape-and-place": "shape and place",
    "place": "place, its shape was changed",
    "shape-and-mark": "shape and mark",
    "shape-nearby": "shape, nearby",
    "name": "name and storey",
}


def find_again(
    overrides: Overrides, parts: Sequence[MeasuredPart], places: Mapping[ElementKey, Place]
) -> Overrides | None:
    """The list with the decisions whose GlobalId is gone put to the elements that they mean now.

    `parts` and `places` are of a measurement by the list as it is. None where nothing has to be, or can be,
    found again. Each decision that is moved leaves a finding, for it is a conclusion.
    """
    present = {part.global_id for part in parts}
    lost = {
        entry.key for entry in overrides.listed if entry.part.global_id in overrides.by_id.keys() - present
    }
    if not lost:
        return None
    matching = match_elements(
        [entry.part for entry in overrides.listed],
        parts,
        {entry.key: entry.place for entry in overrides.listed if entry.place is not None},
        places,
    )
    by_id = dict(overrides.by_id)
    findings = []
    for pair in matching.pairs:
        if pair.old not in lost or pair.new[1] in by_id:
            continue
        override = by_id.pop(pair.old[1])
        by_id[pair.new[1]] = override
        findings.append(
            Finding(
                "note", "override-found-again", pair.new[0], pair.new[1],
                f"{override.source}: the GlobalId {pair.old[1]} is gone; this element has its {_WORDS[pair.ground]}: "
                "write the list anew with --methods-list",
                override.method,
            )
        )  # fmt: skip
    return replace(overrides, by_id=by_id, findings=tuple(findings)) if findings else None
