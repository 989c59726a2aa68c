"""Narrow strips by length, out or in; and the list of the convention's values that changed a number."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from build import Model, rectangle
from meshes import box, mesh

from takeoff.geometry.facets import make_facets
from takeoff.geometry.surfaces import make_surfaces
from takeoff.measuring.remains import Remains
from takeoff.pipeline import bill, measure
from takeoff.settings import Settings
from takeoff.templates import template_path

NET = template_path("conventions/net.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """Two planks 2.0 x 4.0 x 0.2 with a gap of 0.15 under a topping 4.15 x 4.0 x 0.1; a wall 5.0 x 0.12 x 3.0 with a
    window 1.0 x 1.2; a kerb 3.0 x 0.08 x 0.3; a roof slab 3 x 3 x 0.2 that slopes 10 degrees."""
    m = Model("IFC4", "mm", rotate_deg=20.0, name="narrow")
    m.storey("Ground floor", 0.0)
    for x in (0.0, 2.15):
        m.slab(rectangle(x, 0, x + 2, 4), 0.2, 3.0, name="Plank", made="Precast")
    m.slab(rectangle(0, 0, 4.15, 4), 0.1, 3.2, name="Topping")
    wall = m.wall((0, -5), (5, -5), 0.12, 3.0, name="Wall")
    m.box_void(wall, (1, -1, 1), (2, 1, 2.2))
    m.wall((10, 0), (13, 0), 0.08, 0.3, name="Kerb")
    m.member("IfcSlab", m.extrusion(rectangle(0, 0, 3, 3), 0.2), at=(20, 0, 3), tilt=-10.0, name="Roof")
    return m.save(tmp_path_factory.mktemp("narrow") / "narrow.ifc")


def _with(tmp_path, **values):
    text = NET
    for name, value in values.items():
        shown = f'"{value}"' if isinstance(value, str) else value
        lines = text.splitlines()
        text = "\n".join(f"{name} = {shown}" if line.startswith(f"{name} =") else line for line in lines)
    convention = tmp_path / "own.toml"
    convention.write_text(text, encoding="utf-8")
    return Settings(convention=convention)


def _rows(run, name, category):
    ids = {part.global_id for part in run.measurement.parts if part.name == name}
    return [row for row in run.measurement.formwork if row.global_id in ids and row.category == category]


def _changed(run):
    return {row.key: row for row in run.measurement.conventions}


def test_net_counts_every_strip_by_area(path):
    run = measure([path], Settings(convention=Path("net")))
    assert {row.measure for row in run.measurement.formwork} == {"area"}
    assert not [key for key in _changed(run) if key.startswith("narrow")]


def test_strips_by_length(path, tmp_path):
    run = measure([path], _with(tmp_path, formwork_mm=150.0, reveal_mm=120.0))
    (gap,) = _rows(run, "Topping", "slab-soffit")
    assert (gap.measure, gap.area_m2) == ("length", pytest.approx(0.15 * 4.0))
    assert gap.length_m == pytest.approx(4.0)
    (reveal,) = _rows(run, "Wall", "opening-reveal")
    assert reveal.measure == "length"
    assert reveal.length_m == pytest.approx(2 * 1.2 + 1.0)
    assert {row.measure for row in _rows(run, "Wall", "wall-side")} == {"area"}
    # ends of the wall 0.12 wide and of the kerb 0.08: by length
    assert sum(row.length_m for row in _rows(run, "Wall", "wall-end")) == pytest.approx(6.0)


def test_strips_left_out_are_told(path, tmp_path):
    net = measure([path], Settings(convention=Path("net")))
    run = measure([path], _with(tmp_path, reveal_mm=120.0, reveal="out"))
    assert not _rows(run, "Wall", "opening-reveal")
    out = [row for row in run.measurement.surfaces if row.state == "narrow"]
    assert sum(row.area_m2 for row in out) == pytest.approx(3.4 * 0.12)
    change = _changed(run)["narrow.reveal_mm"]
    assert (change.value, change.elements, change.unit) == ("120", 1, "m2")
    assert change.without_value - change.with_value == pytest.approx(3.4 * 0.12)
    assert change.without_value == pytest.approx(sum(row.area_m2 for row in net.measurement.formwork))


def test_strips_taken_in_change_nothing(path, tmp_path):
    net = measure([path], Settings(convention=Path("net")))
    run = measure([path], _with(tmp_path, reveal_mm=120.0, reveal="in", formwork_mm=150.0, formwork="in"))
    assert {row.measure for row in run.measurement.formwork} == {"area"}
    wanted = sum(row.area_m2 for row in net.measurement.formwork)
    assert sum(row.area_m2 for row in run.measurement.formwork) == pytest.approx(wanted)


def test_narrow_tops_by_length_reach_the_bill(path, tmp_path):
    run = bill([path], _with(tmp_path, finish_mm=80.0, formwork_mm=150.0))
    items = {item.key: item for section in run.bill.sections for item in section.items}
    assert items["finish.narrow.wall"].quantity == pytest.approx(3.0)  # the kerb's head
    assert items["finish.narrow.wall"].unit == "m"
    (soffit,) = [item for key, item in items.items() if key.startswith("formwork.narrow.slab-soffit")]
    assert (soffit.quantity, soffit.unit) == (pytest.approx(4.0), "m")
    assert items["finish.narrow.wall"].rate
    assert not [f for f in run.bill.findings if f.kind == "not-billed"]


def test_every_value_that_changed_a_number_is_listed(path):
    run = measure([path], Settings(convention=Path("net")))
    changed = _changed(run)
    sloped = changed["slopes.free_below_deg"]
    assert sloped.elements == 1
    assert sloped.without_value - sloped.with_value == pytest.approx(9.0)  # the roof's top
    assert changed["reveals.apart"].with_value == pytest.approx(3.4 * 0.12)
    heights = changed["bands.height_to_soffit_m"]
    assert heights.with_value == heights.without_value > 0
    assert "voids.leave_in_formwork_m2" not in changed


def test_voids_left_in_are_listed_with_and_without(path):
    net = measure([path], Settings(convention=Path("net")))
    run = measure([path], Settings(convention=Path("voids-left-in")))
    change = _changed(run)["voids.leave_in_formwork_m2"]
    # both faces of the window 1.0 x 1.2 stay in, its reveals are not formed
    assert change.with_value - change.without_value == pytest.approx(2 * 1.2 - 3.4 * 0.12)
    assert change.elements == 1
    assert sum(row.area_m2 for row in net.measurement.formwork) > 0


def test_the_basis_of_a_bill_names_every_value_that_changed_a_number(path, tmp_path):
    run = bill([path], _with(tmp_path, reveal_mm=120.0, reveal="out"))
    said = {source: text for topic, text, source in run.bill.basis if topic == "Convention"}
    rounded = {source: said.pop(source) for source in list(said) if source.startswith("rounding.")}
    assert set(said) == {f"{row.key} = {row.value}" for row in run.measurement.conventions}
    items = {item.key: item for section in run.bill.sections for item in section.items}
    off: dict[str, int] = {}
    for key, item in items.items():
        exact = sum(line.quantity for line in run.bill.dimensions if line.item == key)
        off[item.unit] = off.get(item.unit, 0) + (abs(exact - item.quantity) > 1e-9)
    assert {source.split(" = ")[0] for source in rounded} == {
        f"rounding.{unit}" for unit, count in off.items() if count
    }
    assert all(
        f"of {off[source.split('.')[1].split(' = ')[0]]} item" in text for source, text in rounded.items()
    )
    told = said["narrow.reveal_mm = 120"]
    change = _changed(run)["narrow.reveal_mm"]
    assert f"{change.with_value:.2f} m2, without it {change.without_value:.2f} m2; 1 element touched" in told


def test_a_slit_neither_deepens_nor_lengthens_an_edge():
    """An edge 4 m long and 0.2 m deep, with a slit of rounding that runs 1 m up from it, and a grain apart."""
    surfaces = make_surfaces(make_facets([mesh(box((0, 0, 0), (4, 4, 2)))]))
    row = int(np.flatnonzero(surfaces.normal[:, 1] < -0.9)[0])
    left, low = surfaces.polygon[row].bounds[:2]
    edge = shapely.box(left, low, left + 4, low + 0.2)
    slit = shapely.box(left + 1, low + 0.2, left + 1.00001, low + 1.2)
    grain = shapely.box(left + 3, low + 1.5, left + 3.00005, low + 1.6)
    rest = np.full(len(surfaces), None, dtype=object)
    rest[row] = shapely.union_all([edge, slit, grain])
    area = np.zeros(len(surfaces))
    area[row] = rest[row].area
    (strip,) = Remains(rest, area).strips(surfaces, [row])[row]
    assert strip.depth == pytest.approx(0.2, abs=1e-6)
    assert strip.area == pytest.approx(area[row], abs=1e-12)
