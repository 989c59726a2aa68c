"""A run as one HTML file that needs nothing else: no network, no other file, no program but a browser."""

import base64
import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from takeoff.measuring.plan import METHODS, ROLES
from takeoff.outputs.files import write_whole
from takeoff.outputs.finding_groups import group_findings, severity_counts
from takeoff.outputs.page import palette
from takeoff.outputs.page.charts import Chart, comparison_chart, page_charts
from takeoff.outputs.page.content import all_findings, page_content, system_of
from takeoff.outputs.page.division import make_division
from takeoff.outputs.page.faces import STATES, joined_faces, make_faces
from takeoff.outputs.page.packing import clean, packed_arrays, packed_json
from takeoff.outputs.unit_view import findings_shown_in
from takeoff.pricing.unit_systems import UnitSystem

if TYPE_CHECKING:
    import jinja2

    from takeoff.measuring.records import Measurement
    from takeoff.pipeline import Run
    from takeoff.pricing.comparison import Comparison

ASSETS = Path(__file__).parent / "assets"
SCRIPTS = ("data.js", "shapes.js", "view.js", "details.js", "lists.js", "main.js")
"""The page's own scripts in the order in which they are joined; they share one scope."""


def write_page(path: Path, run: "Run") -> None:
    """Write the page of a run. Raises InputError where the file cannot be written."""
    text = page_text(run)
    write_whole(path, lambda partial: _save(partial, text))


def write_comparison_page(path: Path, run: "Run", comparison: "Comparison") -> None:
    """Write the page of a comparison's first variant, headed by what each of them costs. Raises as `write_page`."""
    text = page_text(run, (comparison_chart(comparison),))
    write_whole(path, lambda partial: _save(partial, text))


def _save(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def page_text(run: "Run", first_charts: tuple[Chart, ...] = ()) -> str:
    """The page as text; `first_charts` stand before its own."""
    measured = run.measured
    faces = make_faces(measured.surfaces, [body.mesh for body in measured.bodies], measured.formed)
    division = make_division(measured.panels)
    if division is not None:
        faces = joined_faces(faces, division.faces)
    system = system_of(run)
    content = page_content(run)
    places = {(part.model, part.global_id, part.part): n for n, part in enumerate(run.measurement.parts)}
    arrays = {name: getattr(faces, name) for name in faces.__struct_fields__ if name != "categories"}
    where, geometry = packed_arrays(arrays)
    content["geometry"] = where
    content["bodies"] = [places.get(body.key, -1) for body in measured.bodies]
    if division is not None:
        division.tell(content, places, run.measurement.pieces)
    content["states"] = STATES
    content["categories"] = faces.categories
    content["colours"] = {
        "method": palette.METHODS,
        "role": palette.ROLES,
        "storey": dict(zip(content["storeys"], palette.storey_colours(len(content["storeys"])), strict=True)),
        "finding": palette.SEVERITIES,
        "formwork": palette.STATES,
        "repetition": palette.REPETITION,
    }
    findings = findings_shown_in(all_findings(run), system)
    divided = len({(panel.model, panel.global_id) for panel in measured.panels})
    library = (ASSETS / "three.min.js").read_text(encoding="utf-8")
    script = "(() => {\n'use strict';\n" + "\n".join(_asset(name) for name in SCRIPTS) + "\n})();"
    style = _asset("page.css")
    return _environment().get_template("page.html.j2").render(
        run=run,
        record=_cleaned(run.record),
        bill=run.bill,
        system=system,
        volumes=_volumes(run.measurement, system),
        score=run.score,
        charts=first_charts + page_charts(run.shares, run.measurement.formwork, run.bill, system),
        kinds=group_findings(findings),
        counts=severity_counts(findings),
        states=_STATE_WORDS,
        divided=divided,
        has_pieces=bool(run.measurement.pieces),
        content=packed_json(content),
        geometry=geometry,
        library=library,
        library_licence=(ASSETS / "three.LICENSE.txt").read_text(encoding="utf-8"),
        script=script,
        style=style,
        hashes={"scripts": [_hash(library), _hash(script)], "style": _hash(style)},
    )  # fmt: skip


_STATE_WORDS = {
    "formed": "formed",
    "contact": "in contact with concrete, no form",
    "permanent-formwork": "on permanent formwork, no form",
    "free": "free top surface, no form",
    "ground": "on the ground, no form",
    "against-ground": "cast against the ground, no form",
    "seated": "assumed seated, no form",
    "not-formed": "ready-made part, no form on site",
}


def _environment() -> "jinja2.Environment":
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(ASSETS),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: clean(value) if type(value) is str else value,
    )


def _asset(name: str) -> str:
    return (ASSETS / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    """The source by which a content security policy allows one inline script or style (CSP level 2)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}'"


def _cleaned(record: Mapping[str, Any]) -> dict[str, Any]:
    """The record with the words of its totals as the template reads them."""
    return {**record, "totals": {name.replace(" ", "_"): value for name, value in record["totals"].items()}}


def _volumes(measurement: "Measurement", system: UnitSystem) -> dict[str, Any]:
    """Net volume by role and method in the units of `system`: methods across, one row a role, and the sums."""
    factor = system.factor("m3")
    sums: dict[tuple[str, str], float] = {}
    for part in measurement.parts:
        if part.net_volume_m3 is not None:
            key = (part.role, part.method)
            sums[key] = sums.get(key, 0.0) + part.net_volume_m3 * factor
    methods = [method for method in METHODS if any(key[1] == method for key in sums)]
    roles = [role for role in ROLES if any(key[0] == role for key in sums)]
    rows = [(role, [sums.get((role, method), 0.0) for method in methods]) for role in roles]
    return {
        "methods": methods,
        "rows": rows,
        "sums": [sum(own[n] for _, own in rows) for n in range(len(methods))],
    }
