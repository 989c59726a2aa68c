"""A finished run, and its record for run.json and the Basis of a bill."""

import platform
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct, field

from takeoff import __version__
from takeoff.cache.keys import library_versions
from takeoff.findings import Finding
from takeoff.later import Later
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.measured import Measured
from takeoff.measuring.places import Place
from takeoff.run_head import head_of
from takeoff.settings import Settings

if TYPE_CHECKING:
    from takeoff.measuring.overrides import Overrides
    from takeoff.measuring.plan import ElementPlan
    from takeoff.measuring.records import Measurement
    from takeoff.pricing.records import Bill, ShareRow
    from takeoff.pricing.scoring import Score
    from takeoff.reading.facts import ModelFacts, Storey


class ModelNote(Struct, frozen=True):
    """What the record of a run says of a model; `elements` is how many it has that matter."""

    model: str
    sha256: str
    schema: str
    project_name: str
    application: str
    elements: int
    storeys: "tuple[Storey, ...]"


def note_of(facts: "ModelFacts") -> ModelNote:
    """The note on a model that was read."""
    return ModelNote(
        facts.model,
        facts.sha256,
        facts.schema,
        facts.project_name,
        facts.application,
        len(facts.elements),
        facts.storeys,
    )


class Behind(Struct, frozen=True, eq=False):
    """What tables were made from: facts, plans, the origin (3,), m, that meshes are relative to, the user's list."""

    models: "tuple[ModelFacts, ...]"
    plans: "tuple[ElementPlan, ...]"
    origin: Any
    overrides: "Overrides | None" = None


class Run(Struct, frozen=True, eq=False):
    """A finished run: the tables, what drew them, and the record of the run for run.json and Basis.

    `notes` has one entry a model; `sources` the file of each model by its name; `places` the box of each element that
    has a body; `lasting` says that the same files would come out the same again, `key` under which key the cache has
    such tables. `behind` and the drawing of
    `measured` are made anew when somebody asks for them in a run that came from the cache.
    """

    measured: Measured
    behind: Later[Behind]
    notes: tuple[ModelNote, ...]
    failed: tuple[Finding, ...]
    shares: "tuple[ShareRow, ...]"
    record: dict[str, Any]
    bill: "Bill | None" = None
    sources: Mapping[str, Path] = field(default_factory=dict)
    places: Mapping[ElementKey, Place] = field(default_factory=dict)
    score: "Score | None" = None
    lasting: bool = False
    key: str = ""

    @property
    def measurement(self) -> "Measurement":
        """The tables."""
        return self.measured.measurement

    @property
    def models(self) -> "tuple[ModelFacts, ...]":
        """The facts of all models; `notes` does where only names, storeys and origin of the files matter."""
        return self.behind.value.models

    @property
    def plans(self) -> "tuple[ElementPlan, ...]":
        """The plans of all elements."""
        return self.behind.value.plans

    @property
    def origin(self) -> Any:
        """What the bodies' meshes are relative to: (3,), metres."""
        return self.behind.value.origin

    @property
    def overrides(self) -> "Overrides | None":
        """The user's list of methods that it was measured with."""
        return self.behind.value.overrides


def record_of(run: Run, settings: Settings, seconds: Mapping[str, float]) -> dict[str, Any]:
    """The record of a run: what went in, by which rules, what came out, how long it took."""
    measurement = run.measurement
    concrete = [part for part in measurement.parts if part.net_volume_m3 is not None]
    kinds: dict[str, int] = {}
    for finding in measurement.findings:
        kinds[finding.kind] = kinds.get(finding.kind, 0) + 1
    totals: dict[str, Any] = {
        "net_volume_m3": sum(part.net_volume_m3 or 0.0 for part in concrete),
        "gross_volume_m3": sum(part.gross_volume_m3 or 0.0 for part in concrete),
        "formwork_m2": sum(row.area_m2 for row in measurement.formwork),
        "reinforcement_kg": sum(part.reinforcement_kg or 0.0 for part in concrete),
        "weight_t": sum(part.weight_t or 0.0 for part in concrete),
        "pieces": len(measurement.pieces),
    }
    for method in ("cast-in-place", "precast", "tilt-up", "unresolved"):
        totals[f"net_volume_m3 {method}"] = sum(
            part.net_volume_m3 or 0.0 for part in concrete if part.method == method
        )
    if run.bill is not None:
        totals["net_total"] = run.bill.net_total
        totals["grand_total"] = run.bill.grand_total
        totals["currency"] = run.bill.currency
        totals["unpriced_items"] = len(run.bill.unpriced)
    head = head_of(settings, [model.model for model in run.notes])
    return {
        **{key: head[key] for key in ("program", "version", "created", "title", "paper")},
        "models": [
            {
                "name": model.model,
                "sha256": model.sha256,
                "schema": model.schema,
                "project": model.project_name,
                "application": model.application,
                "elements": model.elements,
            }
            for model in run.notes
        ],
        "failed": [{"name": finding.model, "reason": finding.message} for finding in run.failed],
        "ground_level": {
            "height_m": run.measured.ground.height,
            "source": run.measured.ground.source,
            "lowest_m": run.measured.ground.lowest,
            "highest_m": run.measured.ground.highest,
        },
        "declared_within_half_percent": measurement.declared_close_share,
        "convention": head["convention"],
        "inputs": head["inputs"],
        "caution": measurement.caution,
        "counts": {**measurement.counts, "findings": dict(sorted(kinds.items()))},
        "totals": totals,
        "prefabrication": [
            {
                "by": row.by, "group": row.group, "measure": row.measure, "unit": row.unit,
                "prefabricated": row.prefabricated, "total": row.total, "share": row.share,
            }
            for row in run.shares
        ],
        "seconds": {stage: round(value, 3) for stage, value in seconds.items()},
        "versions": {
            "takeoff": __version__,
            "python": platform.python_version(),
            **library_versions(),
        },
    }  # fmt: skip
