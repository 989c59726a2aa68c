"""The reader on models that other programs exported, unzipped by itself."""

from collections import Counter
from pathlib import Path

import pytest

from takeoff.reading.facts import ModelFacts
from takeoff.reading.model import read_model


@pytest.fixture(scope="session")
def real(shared_models: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, ModelFacts]:
    folder = shared_models / "models"
    scratch = tmp_path_factory.mktemp("unpacked")
    return {path.stem: read_model(path, scratch) for path in sorted(folder.glob("*.ifczip"))}


ROLES = {
    "hollow-core-floor": {"slab": 49},
    "house": {"wall": 13, "slab": 4, "beam": 46, "stair": 1},
    "plank-floor": {"slab": 58},
    "planks-with-lattice-girders": {"slab": 25},
    "precast-balconies": {"slab": 3},
    "precast-stairs": {"stair": 9},
    "precast-with-embedded-parts": {"beam": 208, "slab": 21, "column": 9},
    "sand-lime-walls": {"wall": 134},
    "steel-frame": {"column": 22, "beam": 55},
    "two-houses": {"wall": 57, "slab": 21, "foundation": 7, "beam": 8, "stair": 6, "": 13},
}


@pytest.mark.parametrize("name", ROLES)
def test_elements_by_role(name: str, real: dict[str, ModelFacts]) -> None:
    facts = real[name]
    assert Counter(e.role for e in facts.elements) == ROLES[name]
    assert all(e.body for e in facts.elements)
    assert all(e.storey for e in facts.elements)
    assert not [f for f in facts.findings if f.severity == "error"]
    assert not any("Lege arcering" in m or e.name == "_IFCZERO" for e in facts.elements for m in e.materials)
    assert len({e.global_id for e in facts.elements}) == len(facts.elements)


@pytest.mark.parametrize(
    ("name", "elevations"),
    [
        ("plank-floor", [0.0, 3.0, 6.0, 9.0, 12.0]),
        ("two-houses", [-1.25, 0.0, 3.1, 6.0]),
        ("house", [0.0, 2.7]),
        ("planks-with-lattice-girders", [2.82]),
    ],
)
def test_storeys(name: str, elevations: list[float], real: dict[str, ModelFacts]) -> None:
    assert [s.elevation for s in real[name].storeys] == pytest.approx(elevations, abs=1e-6)


def test_declared_net_volumes_of_the_planks(real: dict[str, ModelFacts]) -> None:
    sums: Counter[str] = Counter()
    for element in real["plank-floor"].elements:
        net = next(d for d in element.declared if (d.set_name, d.name) == ("BaseQuantities", "NetVolume"))
        sums[element.materials[0]] += net.value
    assert sums["02 Beton gewapend - prefab"] == pytest.approx(52.8715, abs=1e-3)
    assert sums["02 Beton gewapend - ihw VLOER"] == pytest.approx(198.5822, abs=1e-3)


def test_layers_of_the_hollow_core_floor(real: dict[str, ModelFacts]) -> None:
    layered = [e.build_up for e in real["hollow-core-floor"].elements if e.build_up]
    assert len(layered) == 45
    first = layered[0]
    assert [(y.material, round(y.thickness, 6)) for y in first.layers] == [
        ("02 Beton gewapend - prefab VLOER", 0.2),
        ("99 Isolatie - EPS", 0.133),
    ]
    assert (first.axis, first.sense) == (2, -1)
    assert first.offset == pytest.approx(0.333)


def test_bodyless_planks_are_their_concrete_part(real: dict[str, ModelFacts]) -> None:
    facts = real["planks-with-lattice-girders"]
    assert all(len(e.body) == 1 and e.body[0] != e.step_id for e in facts.elements)
    assert {e.body_materials for e in facts.elements} == {("Concrete",)}
    assert {e.materials for e in facts.elements} == {("Concrete",)}
    assert {e.mark for e in facts.elements} == {str(n) for n in range(1, 26)}
    assert sum(len(e.openings) for e in facts.elements) == 48
    hosts = {e.global_id for e in facts.elements}
    assert len(facts.embedded) == 254
    assert {e.host for e in facts.embedded} <= hosts


def test_units_with_their_steel(real: dict[str, ModelFacts]) -> None:
    facts = real["precast-with-embedded-parts"]
    concrete = [e for e in facts.elements if e.materials and e.materials[0].startswith("CONCRETE")]
    assert len(concrete) == 134
    assert all(e.assembly_mark for e in concrete)
    ids = {e.global_id for e in concrete}
    assert Counter(bar.kind for bar in facts.bars) == {"bar": 6, "fabric": 8}
    assert {bar.host for bar in facts.bars} <= ids
    assert sum(bar.mass for bar in facts.bars) == pytest.approx(
        2 * (2.217925 + 2 * 2.9862) + 8 * 0.920937, rel=1e-5
    )
    assert {e.host for e in facts.embedded} <= ids
    assert not any("CONCRETE" in e.material for e in facts.embedded)
    balcony = next(e for e in concrete if e.mark == "ba-1")
    assert (balcony.assembly_mark, balcony.presentation_layers) == ("BP-01-01", ("Balkon",))
    assert next(d.value for d in balcony.declared if d.name == "NetVolume") == pytest.approx(
        1.47687, abs=1e-4
    )


def test_a_roof_hands_its_layers_to_its_slab(real: dict[str, ModelFacts]) -> None:
    roof = next(e for e in real["two-houses"].elements if e.subrole == "ROOF")
    assert roof.ifc_class == "IfcSlab"
    assert roof.build_up is not None
    assert len(roof.build_up.layers) == 6
    assert len(roof.openings) == 4


def test_footings_without_material(real: dict[str, ModelFacts]) -> None:
    footings = [e for e in real["two-houses"].elements if e.role == "foundation"]
    assert {(e.subrole, e.materials) for e in footings} == {("STRIP_FOOTING", ())}
    volumes = [next(d.value for d in e.declared if d.name == "Volume") for e in footings]
    assert sum(volumes) == pytest.approx(16.528, abs=1e-3)


def test_hand_cases(shared_models: Path, tmp_path: Path) -> None:
    counts = {
        path.stem: Counter(e.role for e in read_model(path, tmp_path).elements)
        for path in (shared_models / "cases").glob("*.ifc")
    }
    frame = {"column": 4, "beam": 4, "slab": 1}
    assert counts == {
        "frame": frame,
        "frame-overlapping-feet-far-away": frame,
        "wall-with-openings": {"wall": 1, "slab": 1},
        "planks-and-topping": {"slab": 5},
        "twin-wall": {"wall": 1},
        "sloped-roof": {"slab": 1},
    }
