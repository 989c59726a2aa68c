"""What is at stake in findings on elements: their concrete, or their steel, where nothing nearer is known."""

from collections.abc import Mapping

from msgspec.structs import replace

from takeoff.findings import Finding
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.records import Measurement

_CONCRETE = frozenset(
    (
        "method-assumed", "method-unresolved", "kind-by-words", "method-contradiction", "material-missing",
        "material-unknown",
        "layer-unknown", "layers-borrowed", "layers-unknown", "covering-taken-in", "proxy-taken-in",
        "overlap-uncertain", "faces-turned", "inside-out", "shell-within", "shell-closed", "corners-joined",
        "faces-not-flat", "surface-folded", "volumes-disagree", "openings-by-kernel",
        "opening-not-read",
        "piece-left-out", "layers-mirrored", "layers-moved", "layers-turned", "layers-curved",
        "layers-do-not-fit", "body-beyond-layers",
        "outline-crosses", "outline-open", "outline-turned", "outline-not-flat", "hole-without-area",
        "angle-doubtful",
        "depth-negative", "taper-twisted", "sweep-doubtful", "section-sloped", "section-doubtful", "cut-without-effect",
        "measured-one-way", "bodies-differ", "placement-missing", "second-kernel", "duplicate-global-id",
        "malformed-global-id",
        "joints-left-open", "contact-lost",
        "override-found-again", "element-matched", "no-storey", "aggregation-loop", "declared-length-differs",
        "declared-area-differs", "declared-weight-differs", "mark-on-different-shapes",
    )
)  # fmt: skip
"""Kinds on which the whole concrete of the element hangs."""
_STEEL = frozenset(("reinforcement-ratio-unusual",))
_GROUND = frozenset(("ground-slab-by-name",))


def with_stakes(measurement: Measurement) -> tuple[Finding, ...]:
    """The findings of a measurement, those on one element without a worth with what of it is at stake."""
    volumes: dict[ElementKey, float] = {}
    steel: dict[ElementKey, float] = {}
    areas: dict[ElementKey, float] = {}
    for part in measurement.parts:
        key = (part.model, part.global_id)
        volumes[key] = volumes.get(key, 0.0) + (part.net_volume_m3 or 0.0)
        steel[key] = steel.get(key, 0.0) + (part.reinforcement_kg or 0.0)
        areas[key] = areas.get(key, 0.0) + (part.plan_area_m2 or 0.0)
    by_kind: tuple[tuple[frozenset[str], Mapping[ElementKey, float], str], ...] = (
        (_CONCRETE, volumes, "m3"),
        (_STEEL, steel, "kg"),
        (_GROUND, areas, "m2"),
    )
    return tuple(_with_stake(finding, by_kind) for finding in measurement.findings)


def _with_stake(
    finding: Finding, by_kind: tuple[tuple[frozenset[str], Mapping[ElementKey, float], str], ...]
) -> Finding:
    if finding.worth is not None:
        return finding
    for kinds, amounts, unit in by_kind:
        if finding.kind in kinds and (amount := amounts.get((finding.model, finding.global_id))):
            return replace(finding, worth=amount, worth_unit=unit)
    return finding
