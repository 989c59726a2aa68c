"""Methods on models that other people's programs exported."""

from collections import Counter
from pathlib import Path

import pytest

from takeoff.measuring.methods import load_rules
from takeoff.measuring.parts import plan_elements
from takeoff.measuring.plan import ElementPlan
from takeoff.reading.model import read_model
from takeoff.templates import template_path


def read_plans(shared_models: Path, tmp_path: Path, name: str) -> tuple[ElementPlan, ...]:
    found = sorted((shared_models / "models").glob(f"{name}.ifc*"))
    if not found:
        pytest.skip(f"no model {name}")
    return plan_elements([read_model(found[0], tmp_path)], load_rules(template_path("methods.toml")))


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("plank-floor", {"precast": 52, "cast-in-place": 6}),
        ("hollow-core-floor", {"precast": 44, "cast-in-place": 5, "not-concrete": 48}),
        ("precast-stairs", {"precast": 9}),
        ("precast-balconies", {"precast": 3}),
        ("planks-with-lattice-girders", {"precast": 25}),
        ("sand-lime-walls", {"not-concrete": 134}),
        ("steel-frame", {"not-concrete": 77}),
        ("house", {"cast-in-place": 14, "unresolved": 5, "not-concrete": 45}),
    ],
)
def test_parts_by_method(shared_models: Path, tmp_path: Path, name: str, wanted: dict[str, int]) -> None:
    plans = read_plans(shared_models, tmp_path, name)
    assert Counter(part.method for plan in plans for part in plan.parts) == wanted


def test_two_houses(shared_models: Path, tmp_path: Path) -> None:
    """Cast walls, footings and slabs on grade among block, brick and timber."""
    plans = read_plans(shared_models, tmp_path, "two-houses")
    cast = Counter(p.role for p in plans for part in p.parts if part.method == "cast-in-place")
    assert cast == {"wall": 7, "foundation": 7, "slab": 4}
    blocks = [p for plan in plans for p in plan.parts if "Concrete Block" in p.material]
    assert len(blocks) == 16
    assert {part.method for part in blocks} == {"not-concrete"}


def test_concrete_among_embedded_parts(shared_models: Path, tmp_path: Path) -> None:
    """Balconies, landings, stairs, sills and bands are pieces; steel, plastic and rubber beside them are not."""
    plans = read_plans(shared_models, tmp_path, "precast-with-embedded-parts")
    by_material: dict[str, set[str]] = {}
    for plan in plans:
        for part in plan.parts:
            by_material.setdefault(part.material.split("/")[0], set()).add(part.method)
    assert by_material["CONCRETE"] == {"precast"}
    assert by_material["STEEL"] == by_material["MISCELLANEOUS"] == {"not-concrete"}
    assert by_material["Undefined"] == {"unresolved"}
    told = {f.global_id for plan in plans for f in plan.findings if f.kind == "material-unknown"}
    assert len(told) == 6


def test_layers_of_hollow_core_units(shared_models: Path, tmp_path: Path) -> None:
    """Two units and a strip list their materials only: their layers are those of their type."""
    plans = read_plans(shared_models, tmp_path, "hollow-core-floor")
    units = [p for plan in plans for p in plan.parts if p.method == "precast"]
    assert {part.layers for part in units} == {(0.0, 0.2)}
    assert sum(f.kind == "layers-borrowed" for plan in plans for f in plan.findings) == 3
