"""Bodies in equal situations are measured once: the figures are those of measuring every body by itself."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import shapely
from assemblies import measured_things
from cases import CASES, CaseModel
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from meshes import box, cylinder, mesh
from msgspec.structs import replace
from tower import write_tower

from takeoff.findings import InputError
from takeoff.geometry.facets import make_facets
from takeoff.geometry.patterns import body_patterns
from takeoff.geometry.surfaces import Surfaces, make_surfaces
from takeoff.isolation.spread import at_once
from takeoff.measuring import measure as measuring
from takeoff.measuring.figures import Figures, Scene
from takeoff.measuring.repeats import measure_figures
from takeoff.pipeline import measure
from takeoff.settings import Settings


class Seen:
    """The scenes of all that was measured, and how many bodies were measured by themselves."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.scenes: list[Scene] = []
        self.singly = 0
        figures = Scene.figures

        def counted(scene: Scene, numbers: Sequence[int]) -> Figures:
            self.singly += len(numbers)
            return figures(scene, numbers)

        def kept(scene: Scene, spread) -> Figures:  # type: ignore[no-untyped-def]
            self.scenes.append(scene)
            return measure_figures(scene, at_once)

        monkeypatch.setattr(Scene, "figures", counted)
        monkeypatch.setattr(measuring, "measure_figures", kept)

    @property
    def last(self) -> Scene:
        """The scene that was measured last."""
        return self.scenes[-1]


@pytest.fixture
def seen(monkeypatch: pytest.MonkeyPatch) -> Seen:
    return Seen(monkeypatch)


def _numbers(value):  # type: ignore[no-untyped-def]
    """A row's fields in an order of their own: words first, then figures, rounded as a sort needs it."""
    fields = [getattr(value, name) for name in type(value).__struct_fields__]
    return [f"{field:.7f}" if isinstance(field, float) else str(field) for field in fields]


def _same_rows(one, two) -> None:  # type: ignore[no-untyped-def]
    assert len(one) == len(two)
    for a, b in zip(sorted(one, key=_numbers), sorted(two, key=_numbers), strict=True):
        for name in type(a).__struct_fields__:
            x, y = getattr(a, name), getattr(b, name)
            assert x == (pytest.approx(y, rel=1e-6, abs=1e-6) if isinstance(y, float) else y), (name, a, b)


def _compare(scene: Scene) -> None:
    """Figures with every body measured by itself, and with equal situations measured once."""
    plain = scene.figures(range(len(scene.bodies)))
    once = measure_figures(scene, at_once)
    assert list(once.sizes) == list(plain.sizes)
    assert list(once.formed) == list(plain.formed)
    assert list(once.left_in) == list(plain.left_in)
    for number, size in plain.sizes.items():
        other = once.sizes[number]  # outlines are put together on a grid of 1e-6 m that does not move along
        for name in ("length", "width", "height", "thickness", "plan_area"):
            assert getattr(other, name) == pytest.approx(getattr(size, name), rel=1e-5, abs=1e-5)
        assert shapely.symmetric_difference(other.outline, size.outline).area < 1e-5
        assert other.outline.geom_type == size.outline.geom_type
    for number, holes in plain.pierced.items():
        # which of two equal faces is the near one is a matter of rounding
        assert [(h.rim, set(h.faces), h.label) for h in once.pierced[number]] == [
            (h.rim, set(h.faces), h.label) for h in holes
        ]
        for name in ("area", "girth", "volume"):
            assert [getattr(h, name) for h in once.pierced[number]] == pytest.approx(
                [getattr(h, name) for h in holes], rel=1e-6
            )
    for number, left in plain.left_in.items():
        assert once.left_in[number].count == left.count
        assert [h.rim for h in once.left_in[number].formwork] == [h.rim for h in left.formwork]
        assert once.left_in[number].concrete == pytest.approx(left.concrete)
        assert once.left_in[number].floor == pytest.approx(left.floor)
    for number, body in plain.formed.items():
        other = once.formed[number]
        _same_rows(other.rows, body.rows)
        _same_rows(other.surfaces, body.surfaces)
        for name in ("area", "seated", "no_floor", "by_thickness"):
            assert getattr(other, name) == pytest.approx(getattr(body, name), rel=1e-6, abs=1e-6)
        assert other.cramped == pytest.approx(body.cramped, abs=1e-6)
        assert dict(other.effects) == pytest.approx(dict(body.effects), rel=1e-6, abs=1e-6)


def test_typical_storeys_are_measured_once(seen: Seen, tmp_path: Path) -> None:
    """Storeys are equal but for the lowest two and the highest."""
    path = tmp_path / "tower.ifc"
    write_tower(path, 400, bays=2)
    measure([path], Settings(cache=False, processes=1))
    assert len(seen.last.bodies) > 350
    assert seen.singly < 0.4 * len(seen.last.bodies)
    _compare(seen.last)


@pytest.mark.parametrize(("turn", "offset"), [(0.0, (0.0, 0.0, 0.0)), (33.7, (3.9e6, -8.8e5, 120.0))])
def test_hand_cases_that_occur_again_are_measured_once(seen: Seen, tmp_path: Path, turn, offset) -> None:  # type: ignore[no-untyped-def]
    model = CaseModel("IFC4", "mm", turn, offset, name="twice")
    for index, case in enumerate([*CASES, *CASES]):
        model.add(case, index)
    measure([model.save(tmp_path / "twice.ifc")], Settings(cache=False, processes=1))
    assert seen.singly < 0.9 * len(seen.last.bodies)
    _compare(seen.last)


def test_real_models_have_the_figures_of_each_body_by_itself(seen: Seen, shared_models: Path) -> None:
    found = 0
    for path in sorted((shared_models / "models").glob("*.ifczip")):
        seen.scenes.clear()
        try:
            measure([path], Settings(cache=False, processes=1))
        except InputError:  # steel and masonry
            continue
        found += 1
        _compare(seen.last)
    assert found >= 5


STEP = st.integers(0, 4).map(lambda n: n * 0.5)
SIZE = st.integers(1, 4).map(lambda n: n * 0.5)
BOX = st.builds(lambda low, size: box(low, size), st.tuples(STEP, STEP, STEP), st.tuples(SIZE, SIZE, SIZE))
ROUND = st.builds(
    lambda low, high: cylinder(low, 0.35, high, 64), st.tuples(STEP, STEP, STEP), st.sampled_from([0.5, 2.0])
)
LEANING = st.builds(lambda solid, by: solid.rotate((0, by, 0)), BOX, st.sampled_from([20.0, 70.0]))
ROLE = st.sampled_from(("foundation", "slab", "column", "wall", "beam", "stair"))
METHOD = st.sampled_from(("cast-in-place", "cast-in-place", "cast-in-place", "precast", "unresolved"))
THING = st.tuples(ROLE, METHOD, st.one_of(BOX, BOX, ROUND))
LEANING_THING = st.tuples(ROLE, METHOD, st.one_of(BOX, ROUND, LEANING))
"""Leaning things that touch others leave slits by rounding, which tell pieces of an edge apart or not: they come once,
or alone."""
CALM = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)


@CALM
@given(
    st.lists(THING, min_size=1, max_size=5),
    st.lists(LEANING_THING, max_size=3),
    st.integers(2, 4),
    st.sampled_from([(0.0, 0.0, 3.0), (0.1, 0.0, 2.7), (7.3, -1.1, 0.0), (11.0, 3.7, 2.3)]),
    st.sampled_from([0.0, 33.7]),
)
def test_an_assembly_that_occurs_again_with_other_things_about(seen: Seen, things, more, times, shift, turn):  # type: ignore[no-untyped-def]
    placed = [
        (role, how, solid.translate(tuple(number * length for length in shift)).rotate((0, 0, turn)))
        for number in range(times)
        for role, how, solid in things
    ]
    measured_things([*placed, *((role, how, solid.rotate((0, 0, turn))) for role, how, solid in more)])
    _compare(seen.last)


ROOM = (
    ("slab", "cast-in-place", ((0, 0, 3), (4, 4, 0.2))),
    ("wall", "cast-in-place", ((0, 0, 0), (4, 0.2, 3))),
)
APART = {
    "nothing": ((), 2),
    "a neighbour": ((("beam", "cast-in-place", ((10, 4, 3), (4, 0.3, 0.2))),), 3),
    "what stands below": ((("foundation", "cast-in-place", ((11, 1, -1), (1, 1, 0.5))),), 3),
    "what stands above": ((("column", "cast-in-place", ((11, 1, 3.2), (0.3, 0.3, 3))),), 3),
}


@pytest.mark.parametrize("what", APART)
def test_whatever_has_a_say_tells_bodies_apart(seen: Seen, what: str) -> None:
    """Two rooms far apart; something stands at the second slab only."""
    more, singly = APART[what]
    things = [
        (role, how, box((low[0] + at, *low[1:]), size)) for at in (0, 10) for role, how, (low, size) in ROOM
    ]
    things += [(role, how, box(low, size)) for role, how, (low, size) in more]
    measured_things(things)
    assert seen.singly == singly + len(more)
    _compare(seen.last)


def test_a_method_or_a_role_tells_neighbours_apart(seen: Seen) -> None:
    """Under a convention that relieves both sides a precast or a cast beam takes the same; rows name the method."""
    things = [("slab", "cast-in-place", box((at, 0, 3), (4, 4, 0.2))) for at in (0, 10, 20)]
    things += [
        (role, how, box((at, 0, 2.5), (4, 0.3, 0.5)))
        for at, role, how in (
            (0, "beam", "cast-in-place"),
            (10, "beam", "precast"),
            (20, "wall", "cast-in-place"),
        )
    ]
    measured_things(things)
    assert seen.singly == len(things)
    _compare(seen.last)


def test_floors_far_below_count_only_where_a_soffit_hangs_over_them(seen: Seen) -> None:
    """Slabs over equal floors are equal whatever lies below those; over open shafts they are not."""

    def column(at: float, depths: Sequence[float], wide: float):  # type: ignore[no-untyped-def]
        floors = [("slab", "cast-in-place", box((at, 0, 12), (2, 2, 0.2)))]
        return floors + [("slab", "precast", box((at, 0, 12 - depth), (wide, 2, 0.2))) for depth in depths]

    closed = [*column(0, (3,), 2), *column(10, (3, 9), 2), *column(20, (3, 7, 9), 2)]
    measured_things(closed)
    tops = [number for number, body in enumerate(seen.last.bodies) if body.method == "cast-in-place"]
    assert len(tops) == 3
    assert seen.singly == 2
    _compare(seen.last)
    seen.singly = 0
    measured_things([*column(0, (3,), 1), *column(10, (3, 9), 1), *column(20, (3, 7, 9), 1)])
    assert seen.singly == 4
    _compare(seen.last)


def test_noise_in_coordinates_tells_no_bodies_apart(seen: Seen) -> None:
    things = [
        (
            "slab",
            "cast-in-place",
            box((0, 0, 3), (4.1, 3.3, 0.2)).translate((number * 7.7, number / 3.0, 0.0)),
        )
        for number in range(50)
    ]
    measured_things(things)
    assert seen.singly <= 3
    assert np.isclose(
        sum(size.plan_area for size in measure_figures(seen.last, at_once).sizes.values()), 50 * 13.53
    )
    _compare(seen.last)


NO_TRAIT = ("part", "patch", "of_facet", "edge_bound", "axes")
"""Where something stands in the tables, and what follows from the number of the frame: no traits of a surface."""


def _surfaces() -> Surfaces:
    return make_surfaces(make_facets([mesh(box((0, 0, 0), (1, 2, 3)) - cylinder((0.5, 1, -1), 0.3, 5))]))


@pytest.mark.parametrize("name", [name for name in Surfaces.__struct_fields__ if name not in NO_TRAIT])
def test_a_pattern_holds_all_that_a_surface_is(name: str) -> None:
    """A new field of a surface has to be put into the pattern, or named above."""
    surfaces = _surfaces()
    rows, bound = np.arange(len(surfaces)), np.array([0, len(surfaces)])
    value = getattr(surfaces, name)
    changed = value.copy()
    if name == "polygon":
        changed[:] = shapely.transform(value, lambda corners: corners * 1.001)
    elif name == "edges":
        changed = value[::-1]
    elif value.dtype == bool:
        changed = ~value
    else:
        changed += 1
    if name == "rise":
        changed = value * 0.9
    plain = body_patterns(surfaces, rows, bound).pattern
    assert body_patterns(replace(surfaces, **{name: changed}), rows, bound).pattern != plain
    assert body_patterns(_surfaces(), rows, bound).pattern == plain
