"""What measuring has to assume where the model is silent, and the findings that say so."""

from collections.abc import Mapping, Sequence

import numpy as np

from takeoff.findings import Finding
from takeoff.geometry import planar
from takeoff.geometry.mesh import Floats, Ints, boxes_of
from takeoff.geometry.surfaces import Surfaces
from takeoff.measuring.bodies import Body
from takeoff.measuring.convention import Convention
from takeoff.measuring.dimensions import outline
from takeoff.measuring.formwork import FormedBody
from takeoff.measuring.holes import LeftIn
from takeoff.measuring.name_patterns import fits_any
from takeoff.measuring.records import SurfaceRow
from takeoff.told import Quantity, counted, told


def slabs_on_ground(
    bodies: Sequence[Body], surfaces: Surfaces, rows_of: Sequence[Ints], convention: Convention
) -> tuple[list[bool], list[Finding]]:
    """Which slabs lie on the ground, by what the model calls them; by name alone it is a finding.

    One that is only named so, over another floor, spans: the ground floor over a basement.
    """
    words = tuple(convention.ground.slab_words)
    floors = _Floors(bodies, surfaces, rows_of)
    grounded, findings = [], []
    for number, body in enumerate(bodies):
        facts = body.element.facts
        if body.role != "slab":
            grounded.append(False)
            continue
        if body.base_slab:
            grounded.append(True)
            continue
        named = fits_any(words, (facts.name, facts.type_name, facts.object_type))
        under = floors.share_under(number, convention.ground.clear_mm / 1e3) if named else 0.0
        grounded.append(named and under < 0.5)
        if named and body.formed:
            name = facts.name or facts.ifc_class
            text = told("{} is named as a slab on the ground, but is not of type BASESLAB", name)
            assumed = "underside lies on the ground: blinding, no formwork"
            if under >= 0.5:
                text = told("{} is named as a slab on the ground, but a floor lies under it", name)
                assumed = "it spans: its underside is formed"
            findings.append(
                Finding("note", "ground-slab-by-name", facts.model, facts.global_id, text, assumed)
            )
    return grounded, findings


class _Floors:
    """The plans of slabs and foundations that others may lie over."""

    def __init__(self, bodies: Sequence[Body], surfaces: Surfaces, rows_of: Sequence[Ints]) -> None:
        self._bodies, self._surfaces, self._rows_of = bodies, surfaces, rows_of
        self._members = [n for n, b in enumerate(bodies) if b.concrete and b.role in ("slab", "foundation")]
        self._boxes = boxes_of([bodies[n].mesh for n in self._members])

    def share_under(self, number: int, clear: float) -> float:
        """Share of the plan of a body under which floors lie, `clear` m or more lower."""
        low, high = self._bodies[number].mesh.box()
        boxes = self._boxes
        near = (boxes[:, 1, 2] <= low[2] - clear) & (boxes[:, 1, :2] > low[:2]).all(axis=1)
        near &= (boxes[:, 0, :2] < high[:2]).all(axis=1)
        plans = [outline(self._surfaces, self._rows_of[self._members[k]]) for k in np.flatnonzero(near)]
        if not plans:
            return 0.0
        whole = outline(self._surfaces, self._rows_of[number])
        if whole.is_empty:
            return 0.0
        return float(planar.intersection(planar.union_all(plans, grid_size=1e-4), whole).area / whole.area)


def support_findings(bodies: Sequence[Body], formed: Mapping[int, FormedBody]) -> list[Finding]:
    """Findings for seats without support and soffits with nothing to prop from."""
    findings = []
    for number, result in formed.items():
        facts = bodies[number].element.facts
        name = facts.name or facts.ifc_class
        if result.seated > 0:
            findings.append(
                Finding(
                    "note", "seat-assumed", facts.model, facts.global_id,
                    f"{name} stands on nothing that the model shows as concrete",
                    told("its lowest face ({}) is seated and needs no form", Quantity(result.seated, "m2")),
                    result.seated, "m2",
                )
            )  # fmt: skip
        if result.cramped[0] > 1e-3:
            area, height = result.cramped
            findings.append(
                Finding(
                    "warning", "soffit-over-gap", facts.model, facts.global_id,
                    told(
                        "{}: {} of its soffit hang only {} or a little more over other concrete; ask whether the gap "
                        "is meant, or drawn by mistake",
                        name, Quantity(area, "m2"), Quantity(height * 1e3, "mm", ".0f", size=True),
                    ),
                    "measured as formed soffit", area, "m2",
                )
            )  # fmt: skip
        if result.no_floor > 1e-3:
            findings.append(
                Finding(
                    "note", "height-unknown", facts.model, facts.global_id,
                    told(
                        "{}: nothing lies under {} of its soffit, and no storey level under it tells",
                        name, Quantity(result.no_floor, "m2", ".2f"),
                    ),
                    "no height to soffit", result.no_floor, "m2",
                )
            )  # fmt: skip
    return findings


def ground_form_findings(formed: Mapping[int, FormedBody]) -> list[Finding]:
    """One note for each model and rule by which faces are taken as cast against the ground, with what it is worth."""
    found: dict[tuple[str, str], list[SurfaceRow]] = {}
    for result in formed.values():
        for row in result.surfaces:
            if row.state == "against-ground" and not row.evidence.startswith("class "):
                found.setdefault((row.model, row.evidence), []).append(row)
    findings = []
    for (model, evidence), rows in sorted(found.items()):
        area = sum(row.area_m2 for row in rows)
        ids = sorted({row.global_id for row in rows})
        findings.append(
            Finding(
                "note", "cast-against-ground", model, ids[0] if len(ids) == 1 else "",
                told(
                    "{} of {} cast against the ground or what holds it, by {}; check with the excavation's designer",
                    Quantity(area, "m2", ".2f"), counted(len(ids), "element is", "elements are"), evidence,
                ),
                "no form there", area, "m2",
            )
        )  # fmt: skip
    return findings


def left_in_findings(
    left_in: Mapping[int, LeftIn], bodies: Sequence[Body], convention: Convention
) -> list[Finding]:
    """One note for each model in which the convention's thresholds changed a number, with what it is worth."""
    findings = []
    for model in sorted({bodies[number].key[0] for number in left_in}):
        own = [left for number, left in left_in.items() if bodies[number].key[0] == model]
        concrete = sum(left.concrete for left in own)
        formwork = sum(hole.area for left in own for hole in left.formwork)
        limits = convention.voids
        count = sum(left.count for left in own)
        findings.append(
            Finding(
                "note", "voids-left-in", model, "",
                told(
                    "convention {}: {} up to {}, {} of formwork or {} of floor not deducted",
                    convention.name, counted(count, "void"),
                    Quantity(limits.leave_in_concrete_m3, "m3", "g"),
                    Quantity(limits.leave_in_formwork_m2, "m2", "g"), Quantity(limits.leave_in_floor_m2, "m2", "g"),
                ),
                told(
                    "{} of concrete and {} a face of formwork stay in; their rims are not formed",
                    Quantity(concrete, "m3"), Quantity(formwork, "m2", ".2f"),
                ), concrete, "m3",
            )
        )  # fmt: skip
    return findings


def apart_findings(bodies: Sequence[Body]) -> list[Finding]:
    """A warning for each model that lies further from all others than it is large: they hardly sit together."""
    if len({body.key[0] for body in bodies}) < 2:
        return []
    boxes: dict[str, Floats] = {}
    for body in bodies:
        own = body.mesh.box()
        known = boxes.get(body.key[0])
        boxes[body.key[0]] = (
            own if known is None else np.array([np.minimum(known[0], own[0]), np.maximum(known[1], own[1])])
        )
    findings = []
    for model, box in boxes.items():
        gaps = [
            float(np.linalg.norm(np.maximum(0.0, np.maximum(box[0] - other[1], other[0] - box[1]))))
            for name, other in boxes.items()
            if name != model
        ]
        size = float(np.linalg.norm(box[1] - box[0]))
        if gaps and min(gaps) > max(size, 10.0):
            findings.append(
                Finding(
                    "warning", "models-apart", model, "",
                    told(
                        "{} lies {} from every other model and is itself {} across; ask for one origin, or for the map "
                        "coordinates of both",
                        model, Quantity(min(gaps), "m", ".0f"), Quantity(size, "m", ".0f"),
                    ),
                    "measured where it says; nothing of it touches the others",
                )
            )  # fmt: skip
    return findings
