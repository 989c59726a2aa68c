"""Marks and labels that are made stay in a revision; outlines, moulds, upper sides, settings."""

import numpy as np
import pytest
from build import Model
from msgspec.structs import replace
from scipy.spatial.transform import Rotation
from test_pieces import HANDLING, box, mesh_of, moved, pieces_of, rod, six_shapes

from takeoff.geometry.mesh import Mesh
from takeoff.measuring.congruence import group_congruent
from takeoff.measuring.moulds import mould_rows
from takeoff.measuring.piece_codes import handedness, piece_numbers, shape_codes
from takeoff.measuring.piece_sizes import piece_sizes, upper_side
from takeoff.measuring.records import PieceRow
from takeoff.measuring.rims import rim_runs
from takeoff.measuring.shapes import shape_of
from takeoff.pipeline import measure
from takeoff.settings import Settings


def hand(mesh, up):
    return handedness(mesh, shape_of(mesh), up)


def labels(rows):
    return {row.global_id: (row.repetition_group, row.mark) for row in rows}


def test_inserted_pieces_and_shapes_leave_the_marks_of_the_others():
    solids = {f"G{n:02d}": moved(mesh_of(six_shapes()[n % 6]), n) for n in range(12)}
    before = labels(pieces_of(solids)[0])
    # A larger shape (it comes first in any list), a smaller one, a twin of an existing one, with early names.
    added = {
        "A1": mesh_of(box((0, 0, 0), (5, 0.2, 2.7))),
        "A2": mesh_of(box((0, 0, 0), (1, 0.2, 0.5))),
        "A3": moved(mesh_of(six_shapes()[2]), 77),
    }
    after = labels(pieces_of({**added, **solids})[0])
    assert {name: after[name] for name in before} == before
    assert len({mark for _, mark in after.values()}) == 15
    assert after["A3"][0] == before["G02"][0]


def test_codes_do_not_depend_on_place_turn_or_triangles():
    shapes = six_shapes()
    for number, shape in enumerate(shapes):
        codes = set()
        for seed in range(4):
            mesh = moved(mesh_of(shape.refine(1 + seed % 2)), 10 * number + seed)
            size = piece_sizes([mesh], True)
            codes |= set(
                shape_codes([mesh], [shape_of(mesh)], [(size.length, size.width, size.thickness)], [None])
            )
        assert len(codes) == 1


def test_mirror_images_have_opposite_hands_and_symmetric_shapes_none():
    shapes = six_shapes()
    recess, mirrored = mesh_of(shapes[3]), mesh_of(shapes[4])
    assert hand(recess, None) == -hand(mirrored, None) != 0
    assert hand(moved(recess, 3), None) == hand(recess, None)
    assert hand(mesh_of(shapes[0]), None) == 0
    # A window alone: turned about its own plane the panel is its mirror image.
    assert hand(mesh_of(shapes[1]), None) == 0


def test_numbers_within_a_group_come_from_the_place_alone():
    places = np.array([[1.25 * n, 7.5 * (n % 3), 3.0 * (n % 2)] for n in range(30)])
    numbers = piece_numbers(places)
    assert len(set(numbers)) == 30
    assert all(len(number) == 3 for number in numbers)
    fewer = piece_numbers(places[:20])
    assert sum(one == other for one, other in zip(numbers, fewer, strict=False)) >= 19
    order = np.random.default_rng(1).permutation(30)
    assert piece_numbers(places[order]) == [numbers[n] for n in order]
    # What rounding, feet and a turn do to places changes none.
    assert piece_numbers(places + np.random.default_rng(2).normal(0.0, 1e-7, places.shape)) == numbers


def test_no_global_id_decides_a_mark_or_a_group():
    """Pieces of six shapes and three that lie at the limit of likeness, under other GlobalIds in another order."""
    solids = [moved(mesh_of(six_shapes()[n % 6]), n) for n in range(24)]
    solids += [moved(mesh_of(box((0, 0, 0), (4 + n * 8e-4, 0.2, 2.5))), 50 + n) for n in range(5)]

    def found(seed):
        order = np.random.default_rng(seed).permutation(len(solids))
        ids = {f"G{place:02d}": int(number) for place, number in enumerate(order)}
        rows = pieces_of({name: solids[number] for name, number in ids.items()})[0]
        return {
            ids[row.global_id]: (row.repetition_group, row.mark, row.mirror_of, row.mould) for row in rows
        }

    first = found(0)
    assert len({mark for _, mark, _, _ in first.values()}) == 29
    assert all(found(seed) == first for seed in (1, 2, 3))


def test_the_shape_that_most_pieces_are_like_leads_its_group():
    """Panels 0.8 mm apart in a chain: A is like B and B like C, A not like C."""
    chain = [mesh_of(box((0, 0, 0), (4 + n * 8e-4, 0.2, 2.5))) for n in range(3)]

    def groups(*numbers):
        solids = [moved(chain[n], seed) for seed, n in enumerate(numbers)]
        found = group_congruent(solids)
        return found.groups, tuple(numbers[leader] for leader in found.leaders)

    # One of each: the middle one is like both others.
    for order in ((0, 1, 2), (2, 0, 1), (1, 2, 0)):
        assert groups(*order) == ((0, 0, 0), (1,))
    # Of two that are like as many the one that there are more of leads, and of two of these the larger.
    assert groups(0, 1, 1) == groups(1, 0, 1) == ((0, 0, 0), (1,))
    assert groups(0, 1) == groups(1, 0) == ((0, 0), (1,))
    # The ends of a chain of four, 0.8 mm each: two in the middle take as many, the larger leads, the smallest is apart.
    chain.append(mesh_of(box((0, 0, 0), (4 + 3 * 8e-4, 0.2, 2.5))))
    assert groups(0, 1, 2, 3) == ((0, 1, 1, 1), (0, 2))
    assert groups(3, 2, 1, 0) == ((0, 0, 0, 1), (2, 0))


def test_thin_triangles_leave_no_slits_in_an_outline():
    """The kernel's own triangles between a round hole and the rim: 2 (3 + 2.7) m and a 96-gon of radius 0.1."""
    for seed in range(12):
        size = piece_sizes([moved(mesh_of(six_shapes()[5]), seed)], True)
        assert size.outline == pytest.approx(11.4, abs=1e-5)
        assert size.opening_edges == pytest.approx(2 * 96 * 0.1 * np.sin(np.pi / 96), abs=1e-5)
        assert size.outline_area == pytest.approx(8.1, abs=1e-5)
        assert size.openings == 1


def panel_rows(
    path, rotate=0.0, offset=(0.0, 0.0, 0.0), unit="mm", name="a", absolute=False, without=(), moved=()
):
    """Pieces of a row of 24 panels on two storeys, by their number; the name of a model decides its GlobalIds."""
    m = Model("IFC4", unit, rotate, offset, name=name, absolute=absolute)
    numbers = [number for number in range(24) if number not in without]
    for storey in range(2):
        m.storey(f"Level {storey}", 3.0 * storey)
        for number in sorted(numbers, key=lambda number: (number * 7) % 24 if name != "a" else number):
            if number % 2 == storey:
                x, length = 5.0 * (number // 2), 4.0 if number % 3 else 3.5
                y = 12.0 if number in moved else 0.0
                wall = m.wall(
                    (x, y), (x + length, y), 0.2, 2.7, 3.0 * storey, name=f"{number}", made="Precast"
                )
                if number % 4 == 0:
                    m.box_void(wall, (0.5, -1, 1), (1.5, 1, 2))
    run = measure([m.save(path / f"{name}.ifc")], Settings(processes=1))
    names = {part.global_id: int(part.name) for part in run.measurement.parts}
    rows = run.measurement.pieces
    assert len({row.mark for row in rows}) == len(rows) == len(numbers)
    return {names[row.global_id]: row.mark for row in rows}, {row.global_id for row in rows}


@pytest.mark.parametrize(
    "placed",
    [
        {},
        {"rotate": 33.7, "offset": (4.0e6, 1.0e5, 30.0), "unit": "ft"},
        {"rotate": -71.0, "offset": (12.0, -3.0, 0.0), "absolute": True},
    ],
)
def test_an_export_with_other_global_ids_order_and_place_gives_the_same_marks(tmp_path, placed):
    before, ids = panel_rows(tmp_path)
    after, renewed = panel_rows(tmp_path, name="b", **placed)
    assert not ids & renewed
    assert after == before


def test_a_piece_that_is_added_taken_away_or_moved_leaves_the_marks_of_the_others(tmp_path):
    before, _ = panel_rows(tmp_path)
    after, _ = panel_rows(tmp_path, name="b", without=(3, 10), moved=(7,))
    assert after == {number: mark for number, mark in before.items() if number not in (3, 10, 7)} | {
        7: after[7]
    }
    assert after[7] != before[7]


def test_equal_houses_in_two_files_keep_their_marks_apart(tmp_path):
    """The same walls at the same places of two buildings 50 m apart: the file's name decides, not the GlobalId."""

    def marks(seed):
        paths = []
        for number, file in enumerate(("east", "west")):
            m = Model(
                "IFC4", "mm", 12.0, (50.0 * number, 0.0, 0.0), name=f"{file}{(seed * (1 - 2 * number)) % 7}"
            )
            m.storey("Ground", 0.0)
            for wall in range(6):
                m.wall((0, 5.0 * wall), (4, 5.0 * wall), 0.2, 2.7, name=f"{wall}", made="Precast")
            paths.append(m.save(tmp_path / f"{seed}" / f"{file}.ifc"))
        run = measure(paths, Settings(processes=1)).measurement
        names = {(part.model, part.global_id): (part.model, part.name) for part in run.parts}
        found = {names[row.model, row.global_id]: row.mark for row in run.pieces}
        assert len(set(found.values())) == len(found) == 12
        return found

    for seed in range(3):
        (tmp_path / f"{seed}").mkdir()
    assert marks(0) == marks(1) == marks(2)


def plank(holes):
    solid = box((0, 0, 0), (6, 2.4, 0.06))
    for x, y in holes:
        solid -= box((x, y, -1), (x + 0.4, y + 0.3, 1))
    return solid


def turned_about(axis_turn, mesh):
    turn = Rotation.from_euler(*axis_turn, degrees=True).as_matrix()
    return Mesh.of(mesh.vertices @ turn.T, mesh.faces)


def test_a_plank_keeps_its_top_and_a_wall_may_face_either_way():
    """A plank with a notch at one corner and its mirror image: the second is the first laid face down."""
    left, right = mesh_of(plank([(0.5, 0.2)])), mesh_of(plank([(0.5, 2.4 - 0.2 - 0.3)]))
    again = turned_about(("z", 137.0), left)
    ups = [upper_side(mesh) for mesh in (left, right, again)]
    kept = group_congruent([left, right, again], ups=ups)
    assert kept.groups == (0, 1, 0)
    assert kept.mirrors == {1: 0}
    free = group_congruent([left, right, again])
    assert free.groups == (0, 0, 0)
    # The kernel's own copy laid face down has the same vertices in the same order and is still another piece.
    down = turned_about(("x", 180.0), left)
    assert group_congruent([left, down], ups=[upper_side(left), upper_side(down)]).groups == (0, 1)


def test_rows_of_mirrored_planks_name_each_other():
    rows, _ = pieces_of({"A": plank([(0.5, 0.2)]), "B": plank([(0.5, 1.9)])}, role="slab")
    assert len({row.repetition_group for row in rows}) == 2
    assert {row.mirror_of for row in rows} == {"", min(row.repetition_group for row in rows)}


def test_outline_of_a_gabled_panel_with_a_door_and_a_window():
    """Outline by hand: 6 + 3 + 3 up the gable twice sqrt(3^2+1.5^2), less the door's width, plus its two jambs and
    head; the window's rim apart."""
    panel = box((0, 0, 0), (6, 0.2, 4.5))
    for x in (0.0, 6.0):  # the two slopes from (0 | 6, 3) to (3, 4.5)
        cutter = box((-5, -1, 0), (5, 1, 5)).rotate(
            (0, -26.565051177077986 if x == 0.0 else 26.565051177077986, 0)
        )
        panel -= cutter.translate((x, 0, 3))
    panel -= box((1, -1, -1), (2, 1, 2.1))
    panel -= box((4, -1, 1), (5, 1, 2))
    size = piece_sizes([mesh_of(panel)], True)
    slope = np.hypot(3.0, 1.5)
    assert size.outline == pytest.approx(6 + 2 * 3 + 2 * slope + 2 * 2.1, abs=1e-6)
    assert size.opening_edges == pytest.approx(4.0, abs=1e-6)
    assert size.outline_area == pytest.approx(6 * 3 + 0.5 * 6 * 1.5 - 2.1, abs=1e-6)


def test_one_mould_makes_other_lengths_and_openings_but_not_other_sections():
    solids = {
        "A": box((0, 0, 0), (6, 0.2, 2.7)),
        "B": box((0, 0, 0), (4, 0.2, 2.7)) - rod(0.3, 2, (2, 1, 1)),
        "C": box((0, 0, 0), (6, 0.2, 2.5)),
        "D": box((0, 0, 0), (6, 0.2, 2.7)) + box((0, 0.2, 0), (6, 0.4, 0.2)),
    }
    moulds = {row.global_id: row.mould for row in pieces_of(solids)[0]}
    assert moulds == {"A": "W 2700x200", "B": "W 2700x200", "C": "W 2500x200", "D": "W 2700x400 (5800 cm2)"}


def test_light_pieces_are_set_by_hand_and_have_no_connections():
    rows, _ = pieces_of(
        {"A": box((0, 0, 0), (1.25, 0.15, 0.07)), "B": box((0, 0, 0), (4, 0.3, 0.5))}, role="beam"
    )
    assert {row.global_id: (row.setting, row.connections) for row in rows} == {
        "A": ("small", 0.0),
        "B": ("crane", 2.0),
    }


def test_panels_belong_to_the_family_that_makes_most_of_them():
    """Panels 3.0 m high and 2.5, 4 and 6 m long are one family, set to length; only the 2.0 x 2.4 m one is apart."""
    solids = {
        name: box((0, 0, 0), (length, 0.2, height))
        for name, length, height in (("A", 2.5, 3.0), ("B", 4.0, 3.0), ("C", 6.0, 3.0), ("D", 2.0, 2.4))
    }
    rows = {row.global_id: row for row in pieces_of(solids)[0]}
    found = {name: (row.mould, round(row.mould_length_m, 6)) for name, row in rows.items()}
    assert found == {
        "A": ("W 3000x200", 2.5),
        "B": ("W 3000x200", 4.0),
        "C": ("W 3000x200", 6.0),
        "D": ("W 2000x200", 2.4),
    }


def test_sections_of_one_size_and_area_are_two_families():
    """An L and an inverted T, both 0.6 x 0.4 m of 0.16 m2, are not cast in one mould; their lengths may differ."""
    ledge, web = (0, 0, 0), 0.2
    angle = box(ledge, (6, 0.6, 0.2)) + box((0, 0, 0.2), (6, web, 0.4))
    longer = box(ledge, (7, 0.6, 0.2)) + box((0, 0.4, 0.2), (7, 0.6, 0.4))
    tee = box(ledge, (6, 0.6, 0.2)) + box((0, 0.2, 0.2), (6, 0.2 + web, 0.4))
    rows = {
        row.global_id: row.mould for row in pieces_of({"A": angle, "B": longer, "C": tee}, role="beam")[0]
    }
    assert rows["A"] == rows["B"] != rows["C"]
    assert all(name.startswith("B 600x400 (1600 cm2)") for name in rows.values())


def flight(risers, going, width):
    """A flight of stairs along x: risers of 0.17 m, underside straight, 0.2 m below the inner corners."""
    steps = box((0, 0, 0), (risers * going, width, 0.17))
    for n in range(1, risers):
        steps += box((n * going, 0, 0), (risers * going, width, (n + 1) * 0.17))
    turn = float(np.degrees(np.arctan2(0.17, going)))
    below = box((-9, -1, -9), (9, width + 1, -0.2)).rotate((0, -turn, 0))
    return steps - below


def test_the_section_that_a_mould_keeps_may_be_seen_from_the_side():
    """Angles of two walls: of one section they differ in height, else they need another mould. Flights of one profile
    differ in width."""

    def angle(thickness, height):
        return box((0, 0, 0), (3, thickness, height)) + box((0, 0, 0), (thickness, 2, height))

    rows = {
        row.global_id: row
        for row in pieces_of({"A": angle(0.2, 2.8), "B": angle(0.2, 2.5), "C": angle(0.25, 2.8)})[0]
    }
    assert rows["A"].mould == rows["B"].mould != rows["C"].mould
    assert (rows["A"].mould_length_m, rows["B"].mould_length_m) == (pytest.approx(2.8), pytest.approx(2.5))
    stairs = {"A": flight(8, 0.28, 1.2), "B": flight(8, 0.28, 1.0), "C": flight(9, 0.28, 1.2)}
    rows = {row.global_id: row for row in pieces_of(stairs, role="stair")[0]}
    assert rows["A"].mould == rows["B"].mould != rows["C"].mould
    assert (rows["A"].mould_length_m, rows["B"].mould_length_m) == (pytest.approx(1.2), pytest.approx(1.0))


def test_moulds_by_hand():
    """120 panels of one height in two lengths: 100 uses ask for 2 moulds, 40 days at one a day for 3. Two shapes,
    three moulds: no change. 30 stairs in two shapes: one mould, one change. Hollow core has none, sills are bought."""
    panel = PieceRow("m", "", "", "precast", "wall", "", 6.0, 3.0, 0.2, 3.6, 9.0, 18.0, 0, "", 1)

    def several(number, group, mould, **own):
        return [
            replace(panel, global_id=f"{group}{n}", repetition_group=group, mould=mould, **own)
            for n in range(number)
        ]

    pieces = [
        *several(90, "W1", "W 3000x200", mould_length_m=6.0),
        *several(30, "W2", "W 3000x200", mould_length_m=4.0, length_m=4.0),
        *several(20, "S1", "ST 1", role="stair", mould_length_m=4.0),
        *several(10, "S2", "ST 1", role="stair", mould_length_m=4.4),
        *several(40, "H1", "S 1200x200", role="slab", subrole="HOLLOWCORE", mould_length_m=9.0),
        *several(12, "B1", "B 1", role="beam", setting="small", mould_length_m=1.0),
    ]  # fmt: skip
    rows = {row.mould: row for row in mould_rows(pieces, HANDLING.moulds)}
    assert set(rows) == {"W 3000x200", "ST 1", "S 1200x200"}
    wall, stair, core = rows["W 3000x200"], rows["ST 1"], rows["S 1200x200"]
    assert (wall.pieces, wall.shapes, wall.moulds, wall.changes) == (120, 2, 3, 0)
    assert (wall.shortest_m, wall.longest_m, wall.width_m, wall.adjustable) == (4.0, 6.0, 3.0, True)
    assert wall.pieces_per_mould == pytest.approx(40.0)
    assert wall.contact_m2 == pytest.approx(6 * 3 + 2 * (6 + 3) * 0.2)
    assert wall.basis.startswith("the time decides")
    assert (stair.pieces, stair.moulds, stair.changes) == (30, 1, 1)
    assert (core.moulds, core.pieces_per_mould, core.changes, core.basis) == (0, None, 0, "beds of the works")


def cylinder(radius, height, segments):
    return rod(radius, height, (0, 0, 0), segments).rotate((-90, 0, 0))


def arc_wall(segments, radius=5.0, thickness=0.2, turn=60.0, height=3.0):
    """A wall that is an arc in plan, each side cut into so many flat ones."""
    outside = cylinder(radius + thickness, height, segments)
    inside = cylinder(radius, height, segments)
    wedge = box((0, 0, 0), (10, 10, height)).rotate((0, 0, turn - 90.0))
    quarter = box((0, 0, 0), (10, 10, height))
    solid = (outside - inside) ^ quarter ^ wedge
    return solid


def code_of(mesh):
    size = piece_sizes([mesh], True)
    return shape_codes([mesh], [shape_of(mesh)], [(size.length, size.width, size.thickness)], [None])[0]


def test_codes_of_curved_pieces_do_not_depend_on_the_tessellation():
    """Arc walls and round columns from coarse to fine, turned and shifted; other radii, angles, heights: other codes.

    Segments are multiples of 12, so that the ends of the arc, at 0 and 60 degrees, lie on the true circle.
    """
    walls = [moved(mesh_of(arc_wall(n)), seed) for seed, n in enumerate((36, 48, 72, 144, 360))]
    codes = {code_of(wall) for wall in walls}
    assert len(codes) == 1
    columns = [moved(mesh_of(cylinder(0.25, 3.0, n)), n) for n in (36, 50, 64, 128)]
    assert len({code_of(column) for column in columns}) == 1
    others = [
        arc_wall(72, radius=5.1),
        arc_wall(72, thickness=0.21),
        arc_wall(72, turn=65.0),
        arc_wall(72, height=3.01),
        cylinder(0.26, 3.0, 64),
        cylinder(0.25, 3.1, 64),
    ]
    found = {code_of(mesh_of(solid)) for solid in others}
    assert len(found | codes | {code_of(columns[0])}) == len(others) + 2


def test_rims_of_a_cylinder_and_an_arc_wall_by_hand():
    """A cylinder has two circles. The arc wall has eight straight edges and four arcs of 60 degrees: chords of the
    radius itself, rises of r (1 - cos 30)."""
    runs = rim_runs(shape_of(mesh_of(cylinder(0.25, 3.0, 60))))
    assert [(run.chord, run.rise) for run in runs] == [(0.0, pytest.approx(0.5, abs=1e-6))] * 2
    runs = rim_runs(shape_of(mesh_of(arc_wall(60))))
    straight = sorted(round(run.chord, 4) for run in runs if run.rise == 0.0)
    assert straight == [0.2] * 4 + [3.0] * 4
    arcs = sorted((round(run.chord, 4), round(run.rise, 4)) for run in runs if run.rise)
    flat = 1 - np.cos(np.radians(30))
    assert arcs == [(5.0, round(5 * flat, 4))] * 2 + [(5.2, round(5.2 * flat, 4))] * 2
