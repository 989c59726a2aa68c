"""Findings gathered into topics: what one person can look at in one view and answer in one go."""

import re
import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from takeoff.findings import Finding, Severity
from takeoff.geometry.mesh import Floats
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.whereabouts import Place
from takeoff.outputs.finding_groups import group_findings
from takeoff.questions import OFFICE

if TYPE_CHECKING:
    from takeoff.pipeline import Run

LINES_SHOWN = 30
"""Most findings that one topic spells out; the elements of all of them are selected."""

_NAMESPACE = uuid.UUID("0c5e6b7e-5b1f-5d0c-8d53-7d4d0f6f2f11")
"""Of our own; any fixed number would do."""
_WORD = re.compile(r"[0-9A-Za-z_$]{22}")


class Topic(Struct, frozen=True, eq=False):
    """Findings of one kind in one storey of one model. `elements` are GlobalIds; `box` (2, 3) metres in the
    model's own coordinates is what the view frames, None where the finding is about the model as a whole.

    `guid` follows from model, kind and storey, so that the topic of the next run is the same topic.
    """

    guid: str
    title: str
    text: str
    severity: Severity
    kind: str
    model: str
    elements: tuple[str, ...]
    box: Floats | None


def make_topics(run: "Run") -> tuple[Topic, ...]:
    """Topics of all findings about a model, most severe first. What concerns the job as a whole stays out."""
    models = [model.model for model in run.models]
    places = _own_places(run)
    storeys = _storeys(run)
    known: dict[str, set[str]] = defaultdict(set)
    for model, name in storeys:
        known[model].add(name)
    topics = []
    for group in group_findings(run.measurement.findings):
        gathered: dict[tuple[str, str], list[Finding]] = defaultdict(list)
        for finding in group.findings:
            if finding.model in models:
                storey = storeys.get((finding.model, finding.global_id), "")
                gathered[finding.model, storey].append(finding)
        for (model, storey), findings in gathered.items():
            topics.append(_topic(model, storey, findings, known[model], places, len(models) > 1))
    return tuple(topics)


def _topic(
    model: str,
    storey: str,
    findings: Sequence[Finding],
    known: set[str],
    places: Mapping[ElementKey, Place],
    name_model: bool,
) -> Topic:
    first = findings[0]
    elements = tuple(dict.fromkeys(name for finding in findings for name in _named(finding, known)))
    subject = first.kind.replace("-", " ").capitalize()
    about = [f"{len(elements)} elements" if len(elements) > 1 else "", storey, model if name_model else ""]
    where = ", ".join(text for text in about if text)
    lines = [
        finding.message + (f" (assumed: {finding.assumed})" if finding.assumed else "")
        for finding in findings
    ]
    question = [] if first.ask.startswith(OFFICE) else [first.ask]
    lines = [*filter(None, question), *dict.fromkeys(lines)]
    if len(lines) > LINES_SHOWN:
        lines = [
            *lines[:LINES_SHOWN],
            f"and {len(lines) - LINES_SHOWN} more; all their elements are selected",
        ]
    return Topic(
        str(uuid.uuid5(_NAMESPACE, "\n".join((model, first.kind, storey)))),
        f"{subject}: {where}" if where else subject,
        "\n".join(lines),
        first.severity,
        first.kind,
        model,
        elements,
        _box(model, elements, places),
    )


def _named(finding: Finding, known: set[str]) -> Iterable[str]:
    """The element of a finding and any other whose GlobalId stands in its words."""
    words = (finding.global_id, *_WORD.findall(finding.message), *_WORD.findall(finding.assumed))
    return (word for word in words if word in known)


def _box(model: str, elements: Sequence[str], places: Mapping[ElementKey, Place]) -> Floats | None:
    """The box around the elements; where none of them has a body, around all of the model."""
    if not elements:
        return None
    found = [places[model, name] for name in elements if (model, name) in places]
    found = found or [place for (name, _), place in places.items() if name == model]
    if not found:
        return None
    low = np.min([place.low for place in found], axis=0)
    return np.array([low, np.max([place.high for place in found], axis=0)])


def _storeys(run: "Run") -> dict[ElementKey, str]:
    """The storey of every element: where it stands, else where the model files it."""
    storeys = {(plan.facts.model, plan.facts.global_id): plan.facts.storey for plan in run.plans}
    for part in reversed(run.measurement.parts):
        storeys[part.model, part.global_id] = part.storey
    return storeys


def _own_places(run: "Run") -> dict[ElementKey, Place]:
    """Places in each model's own coordinates, taken back from the map where the run was measured in it."""
    from takeoff.pipeline import map_transforms

    places = dict(run.places)
    for model, transform in map_transforms(run.models).items():
        if transform is None:
            continue
        back = np.linalg.inv(transform)
        for key, place in places.items():
            if key[0] == model:
                places[key] = _moved(place, back)
    return places


def _moved(place: Place, matrix: Floats) -> Place:
    """The box around a box that a (4, 4) matrix has moved."""
    box = np.array([place.low, place.high])
    corners = np.array(
        [[box[i, 0], box[j, 1], box[k, 2], 1.0] for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    )
    moved = (corners @ matrix.T)[:, :3]
    low, high = moved.min(axis=0).tolist(), moved.max(axis=0).tolist()
    return Place((low[0], low[1], low[2]), (high[0], high[1], high[2]))
