"""Elements find themselves again: by GlobalId, and by shape and place where an exporter renewed the ids."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from handed_back import SAMPLES, renew_ids
from msgspec.structs import replace

from takeoff import pipeline
from takeoff.measuring.identity import Matching, match_elements
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.whereabouts import Place, places_of


@dataclass
class Made:
    """A measurement of plain boxes, made by hand."""

    parts: list[MeasuredPart] = field(default_factory=list)
    places: dict[tuple[str, str], Place] = field(default_factory=dict)

    def box(
        self,
        name: str,
        at: Sequence[float],
        size: Sequence[float] = (0.4, 0.4, 3.0),
        role: str = "column",
        mark: str = "",
        model: str = "a.ifc",
        lean: tuple[float, float, float] = (0.0, 0.0, 0.0),
    ) -> None:
        volume = size[0] * size[1] * size[2]
        self.parts.append(
            MeasuredPart(
                model, name, 1, "IfcColumn", "column", "", mark, "0", role, "", "cast-in-place", "", "", "",
                gross_volume_m3=volume, net_volume_m3=volume,
                length_m=size[0], width_m=size[1], height_m=size[2],
            )
        )  # fmt: skip
        low = (float(at[0]), float(at[1]), float(at[2]))
        high = (low[0] + size[0], low[1] + size[1], low[2] + size[2])
        self.places[model, name] = Place(low, high, lean=lean)


def _match(old: Made, new: Made) -> Matching:
    return match_elements(old.parts, new.parts, old.places, new.places)


def _ids(matching: Matching) -> dict[str, tuple[str, str]]:
    return {pair.old[1]: (pair.new[1], pair.ground) for pair in matching.pairs}


def test_the_global_id_wins_over_place_and_shape() -> None:
    old, new = Made(), Made()
    old.box("one", (0, 0, 0))
    old.box("two", (5, 0, 0))
    new.box("two", (0, 0, 0))
    new.box("one", (9, 0, 0), (0.5, 0.5, 4.0))
    assert _ids(_match(old, new)) == {"one": ("one", "global-id"), "two": ("two", "global-id")}


def test_renewed_ids_are_matched_by_shape_and_place_and_the_rest_is_told() -> None:
    old, new = Made(), Made()
    for i in range(40):
        old.box(f"old{i}", (5.0 * (i % 8), 5.0 * (i // 8), 0))
        if i != 7:
            new.box(f"new{39 - i}", (5.0 * (i % 8) + 0.001, 5.0 * (i // 8), 0), model="b.ifc")
    new.box("extra", (100, 100, 0), model="b.ifc")
    matching = _match(old, new)
    assert _ids(matching) == {f"old{i}": (f"new{39 - i}", "shape-and-place") for i in range(40) if i != 7}
    assert matching.removed == (("a.ifc", "old7"),)
    assert matching.added == (("b.ifc", "extra"),)
    assert matching.shift == (0.0, 0.0, 0.0)


def test_a_model_exported_from_another_origin() -> None:
    # A grid of equal columns moved by one bay: by place alone every column would be taken for its neighbour.
    # Three other shapes tell by how much all was moved.
    old, new = Made(), Made()
    shift = np.array([5.0, 0.0, 0.0])
    spots = [(5.0 * i, 0.0, 0.0) for i in range(10)]
    for i, at in enumerate(spots):
        old.box(f"old{i}", at)
        new.box(f"new{i}", shift + at)
    for i, size in enumerate([(6.0, 0.3, 0.5), (7.0, 0.3, 0.6), (8.0, 0.3, 0.7)]):
        old.box(f"oldbeam{i}", (0, 3.0 * i, 3), size, "beam")
        new.box(f"newbeam{i}", (5.0, 3.0 * i, 3), size, "beam")
    matching = _match(old, new)
    assert matching.shift == pytest.approx((5.0, 0.0, 0.0))
    assert _ids(matching) == {
        pair: (pair.replace("old", "new"), "shape-and-place") for pair in _ids(matching)
    }
    assert len(matching.pairs) == 13


def test_a_changed_shape_in_its_place_a_moved_one_nearby_and_a_moved_mark() -> None:
    old, new = Made(), Made()
    old.box("wall", (0, 0, 0), (5.0, 0.2, 3.0), "wall")
    new.box("thicker", (0, 0, 0), (5.0, 0.3, 3.0), "wall")
    old.box("shoved", (20, 0, 0), (5.0, 0.2, 3.0), "wall")
    new.box("shoved on", (20, 1.5, 0), (5.0, 0.2, 3.0), "wall")
    old.box("marked", (40, 0, 0), mark="C7")
    new.box("marked elsewhere", (90, 0, 0), mark="C7")
    old.box("gone", (60, 0, 0))
    old.box("stays", (65, 0, 0))
    new.box("stays", (65, 0, 0))
    new.box("new far off", (120, 0, 0))  # the same shape and name, but not the only ones of that name
    matching = _match(old, new)
    assert _ids(matching) == {
        "stays": ("stays", "global-id"),
        "wall": ("thicker", "place"),
        "shoved": ("shoved on", "shape-nearby"),
        "marked": ("marked elsewhere", "shape-and-mark"),
    }
    assert [key[1] for key in (*matching.removed, *matching.added)] == ["gone", "new far off"]
    assert len(matching.renewed) == 3


def test_another_role_in_the_same_box_is_another_element() -> None:
    old, new = Made(), Made()
    old.box("slab", (0, 0, 0), (5, 5, 0.2), "slab")
    new.box("foundation", (0, 0, 0), (5, 5, 0.2), "foundation")
    assert not _match(old, new).pairs


def test_crossing_braces_in_one_box_are_told_apart() -> None:
    old, new = Made(), Made()
    rising, falling = (0.0, 0.0, 0.08), (0.0, 0.0, -0.08)
    for made, names in ((old, ("a", "b")), (new, ("d", "c"))):
        for name, lean in zip(names, (rising, falling) if made is old else (falling, rising), strict=True):
            made.box(name, (0, 0, 0), (3.0, 0.2, 3.0), "beam", lean=lean)
    assert _ids(_match(old, new)) == {"a": ("c", "shape-and-place"), "b": ("d", "shape-and-place")}


def test_without_places_shapes_with_a_mark_of_their_own_are_found() -> None:
    old, new = Made(), Made()
    old.box("old", (0, 0, 0), mark="B12")
    new.box("new", (50, 0, 0), mark="B12")
    old.box("twin", (3, 0, 0), mark="B13")
    new.box("twin1", (3, 0, 0), mark="B13")
    new.box("twin2", (6, 0, 0), mark="B13")
    matching = match_elements(old.parts, new.parts, {}, {})
    assert _ids(matching) == {"old": ("new", "shape-and-mark")}
    assert len(matching.removed) == 1
    assert len(matching.added) == 2


def test_same_ids_in_two_models_go_by_model_and_a_renamed_model_is_the_same() -> None:
    old, new = Made(), Made()
    for made in (old, new):
        made.box("id", (0, 0, 0), model="east.ifc")
        made.box("id", (9, 0, 0), model="west.ifc")
    matching = _match(old, new)
    assert [(pair.old, pair.new) for pair in matching.pairs] == [
        (("east.ifc", "id"), ("east.ifc", "id")),
        (("west.ifc", "id"), ("west.ifc", "id")),
    ]
    only = replace(old.parts[0], model="east rev B.ifc")
    renamed = match_elements(old.parts[:1], [only], old.places, {})
    assert renamed.pairs[0].ground == "global-id"


def test_an_element_that_was_not_measured_is_found_by_its_name() -> None:
    old, new = Made(), Made()
    old.box("old", (0, 0, 0), mark="plinth 3")
    new.box("new", (0, 0, 0), mark="plinth 3")
    bare = replace(old.parts[0], gross_volume_m3=None, net_volume_m3=None, method="not-concrete")
    matching = match_elements([bare], new.parts, {}, new.places)
    assert _ids(matching) == {"old": ("new", "name")}


@pytest.mark.parametrize("name", ["archive-ifc2x3", "archive-ifc4"])
def test_a_whole_model_with_new_ids(tmp_path: Path, name: str) -> None:
    source, renewed = SAMPLES / f"{name}.ifc", tmp_path / "renewed.ifc"
    ids = renew_ids(source, renewed)
    one, other = pipeline.measure([source]), pipeline.measure([renewed])
    matching = match_elements(
        one.measurement.parts,
        other.measurement.parts,
        places_of(one.measured.bodies, one.origin),
        places_of(other.measured.bodies, other.origin),
    )
    assert {pair.old[1]: pair.new[1] for pair in matching.pairs} == {
        part.global_id: ids[part.global_id] for part in one.measurement.parts
    }
    assert not matching.removed
    assert not matching.added
    grounds = {pair.old[1]: pair.ground for pair in matching.pairs}
    # One column is there twice, and the GlobalIds decide which of the two keeps the body: names tell them apart.
    measured = {p.global_id for p in one.measurement.parts if p.net_volume_m3 and not p.name.startswith("C2")}
    assert {grounds[name] for name in measured} == {"shape-and-place"}
