"""Pieces: repetition groups, sizes, assemblies, openings, checks, against hand values."""

import re
from collections import defaultdict
from pathlib import Path

import manifold3d
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from takeoff.findings import InputError
from takeoff.geometry.mesh import Mesh, volume
from takeoff.measuring.boxes import tightest_box, to_triangles
from takeoff.measuring.congruence import group_congruent
from takeoff.measuring.handling import load_handling
from takeoff.measuring.joint_rules import load_joint_rules
from takeoff.measuring.pieces import PieceRules, make_pieces
from takeoff.measuring.plan import ElementPlan, PartPlan
from takeoff.measuring.records import MeasuredPart
from takeoff.measuring.shapes import moments, shape_of
from takeoff.reading.facts import ElementFacts, Embedded
from takeoff.templates import template_path

Solid = manifold3d.Manifold
HANDLING = load_handling(template_path("handling.toml"))
RULES = PieceRules(HANDLING, load_joint_rules(template_path("joints.toml")))


def box(low, high):
    return Solid.cube(tuple(np.subtract(high, low).tolist())).translate(low)


def rod(radius, length, middle, segments=96):
    """A round bar across the panel (along y)."""
    return Solid.cylinder(length, radius, radius, segments).rotate((90, 0, 0)).translate(middle)


def mesh_of(solid):
    raw = solid.to_mesh64()
    return Mesh.of(np.array(raw.vert_properties)[:, :3], np.array(raw.tri_verts).astype(np.int64))


def moved(mesh, seed):
    """The mesh rotated and shifted at random, with vertices and triangles renumbered."""
    rng = np.random.default_rng(seed)
    turn = Rotation.random(random_state=seed).as_matrix()
    order = rng.permutation(len(mesh.vertices))
    faces = np.argsort(order)[mesh.faces][rng.permutation(len(mesh.faces))]
    return Mesh.of((mesh.vertices @ turn.T + rng.normal(0.0, 40.0, 3))[order], faces)


def six_shapes():
    """Panels 3.0 x 0.2 x 2.7: plain, a window, the window 100 mm further, a window and a recess on one face,
    its mirror image, a round hole."""
    plain = box((0, 0, 0), (3, 0.2, 2.7))
    window = plain - box((0.5, -1, 0.9), (1.7, 1, 2.1))
    recess = window - box((2.0, 0.15, 0.3), (2.4, 1, 0.5))
    return [
        plain,
        window,
        plain - box((0.6, -1, 0.9), (1.8, 1, 2.1)),
        recess,
        recess.mirror((1, 0, 0)),
        plain - rod(0.1, 2.0, (1.0, 1.0, 1.0)),
    ]


def part_of(global_id, solid_volume, method="precast", role="wall", **more):
    fixed = {
        "model": "m.ifc",
        "part": 1,
        "ifc_class": "IfcWall",
        "name": "",
        "type_name": "",
        "mark": "",
        "storey": "Ground",
        "subrole": "",
        "evidence": "",
        "material": "Concrete",
        "strength_class": "C30/37",
    }
    return MeasuredPart(
        global_id=global_id, method=method, role=role, net_volume_m3=solid_volume, **{**fixed, **more}
    )


def pieces_of(solids, embedded=(), facts=None, **more):
    """Pieces of solids by GlobalId; `more` goes to every part."""
    meshes, parts = {}, []
    for global_id, solid in solids.items():
        mesh = solid if isinstance(solid, Mesh) else mesh_of(solid)
        meshes["m.ifc", global_id, 1, 1] = mesh
        parts.append(part_of(global_id, volume(mesh), **more))
    plans = [
        ElementPlan(fact, fact.role, "", (PartPlan(1, "precast", ""),)) for fact in (facts or {}).values()
    ]
    made = make_pieces(parts, meshes, plans, {"m.ifc": list(embedded)}, RULES)
    return made.rows, made.findings


def test_forty_panels_in_six_shapes_group_rightly_when_turned_renumbered_and_retriangulated():
    shapes = six_shapes()
    meshes = []
    for number in range(40):
        solid = shapes[number % 6]
        meshes.append(moved(mesh_of(solid.refine(1 + number % 3)), number))
    grouping = group_congruent(meshes)
    assert grouping.groups == tuple(number % 6 for number in range(40))
    assert grouping.mirrors == {4: 3}


def test_rows_of_forty_panels_have_the_same_labels_whatever_the_order():
    shapes = six_shapes()
    solids = {f"G{n:02d}": moved(mesh_of(shapes[n % 6]), n) for n in range(40)}
    rows, _ = pieces_of(solids)
    again, _ = pieces_of(dict(reversed(solids.items())))
    assert rows == again
    counts = defaultdict(int)
    for row in rows:
        counts[row.repetition_group] += 1
        assert row.repetition_count == sum(other.repetition_group == row.repetition_group for other in rows)
        assert (row.length_m, row.width_m, row.thickness_m) == pytest.approx((3.0, 2.7, 0.2), abs=1e-6)
    assert len(counts) == 6
    assert sorted(counts.values()) == [6, 6, 7, 7, 7, 7]
    mirrored = {row.repetition_group: row.mirror_of for row in rows if row.mirror_of}
    recessed = {row.repetition_group for row in rows if int(row.global_id[1:]) % 6 in (3, 4)}
    assert len(mirrored) == 1
    assert set(mirrored) | set(mirrored.values()) == recessed
    by_shape = {int(row.global_id[1:]) % 6: row.openings for row in rows}
    assert by_shape == {0: 0, 1: 1, 2: 1, 3: 1, 4: 1, 5: 1}


@pytest.mark.parametrize(("longer", "groups"), [(0.0009, 1), (0.0011, 2)])
def test_congruent_to_one_millimetre(longer, groups):
    one = mesh_of(box((0, 0, 0), (3, 0.2, 2.7)))
    other = moved(mesh_of(box((0, 0, 0), (3 + longer, 0.2, 2.7))), 5)
    assert len(group_congruent([one, other]).leaders) == groups


@pytest.mark.parametrize(("off", "groups"), [(0.0009, 1), (0.001, 1), (0.0011, 2)])
@pytest.mark.parametrize("what", ["window", "recess", "round hole", "bore"])
def test_what_lies_otherwise_by_more_than_a_millimetre_is_another_shape(what, off, groups):
    plain = box((0, 0, 0), (3, 0.2, 2.7))

    def shape(by, segments):
        cut = {
            "window": box((0.5 + by, -1, 0.9), (1.7 + by, 1, 2.1)),
            "recess": box((0.5, 0.15, 0.9), (1.7, 1, 2.1 + by)),
            "round hole": rod(0.1, 2.0, (1.0, 1.0, 1.0 + by), segments),
            "bore": rod(0.1 + by / 2, 2.0, (1.0, 1.0, 1.0), segments),
        }[what]
        return mesh_of(plain - cut)

    meshes = [shape(0.0, 96), moved(shape(off, 96), 4), moved(shape(0.0, 64), 5)]
    assert group_congruent(meshes).groups == (0, groups - 1, 0)


def test_round_holes_of_one_size_at_other_places_are_other_shapes():
    plain = box((0, 0, 0), (3, 0.2, 2.7))
    solids = [plain - rod(0.1, 2.0, (x, 1.0, 1.0)) for x in (1.0, 1.004, 1.2)]
    assert group_congruent([mesh_of(s) for s in solids]).groups == (0, 1, 2)


def test_round_columns_group_without_corners():
    columns = [Solid.cylinder(h, 0.2, 0.2, 96) for h in (3.0, 3.0, 3.2)]
    assert group_congruent([moved(mesh_of(c), i) for i, c in enumerate(columns)]).groups == (0, 0, 1)


def test_time_grows_with_the_number_of_pieces_not_its_square(monkeypatch):
    """Two hundred walls that all differ: each is compared with few others, counted by calls."""
    from takeoff.measuring import congruence

    calls = []
    original = congruence.same_shape

    def counted(*args, **more):
        calls.append(1)
        return original(*args, **more)

    monkeypatch.setattr(congruence, "same_shape", counted)
    meshes = [mesh_of(box((0, 0, 0), (2 + 0.02 * n, 0.2, 2.7))) for n in range(200)]
    assert len(group_congruent(meshes).leaders) == 200
    assert len(calls) < 4 * 200


@pytest.mark.parametrize("seed", range(6))
def test_tightest_box_of_a_turned_box_is_exact(seed):
    axes, extents = tightest_box(moved(mesh_of(box((0, 0, 0), (7.31, 0.185, 2.93))), seed).vertices)
    assert sorted(extents) == pytest.approx([0.185, 2.93, 7.31], abs=1e-6)
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)


def test_box_of_flat_points_is_refused():
    with pytest.raises(ValueError, match="plane"):
        tightest_box(np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], dtype=float))


def test_moments_of_a_box_by_hand():
    """Second moment about the centre along an edge a of a box: V a^2 / 12."""
    solid, centre, second = moments(mesh_of(box((10, 20, 30), (12, 23, 34))).corners)
    assert solid == pytest.approx(24.0)
    assert centre == pytest.approx([11.0, 21.5, 32.0])
    assert second == pytest.approx(np.diag([8.0, 18.0, 32.0]), abs=1e-9)


def test_corners_and_edges_do_not_depend_on_the_triangles():
    coarse = shape_of(mesh_of(six_shapes()[3]))
    fine = shape_of(mesh_of(six_shapes()[3].refine(3)))
    assert len(coarse.corners) == len(fine.corners) == 8 + 8 + 8
    assert coarse.radii == pytest.approx(fine.radii, abs=1e-9)


def test_distance_to_triangles_by_hand():
    triangle = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]]], dtype=float)
    points = np.array([[0.2, 0.2, 0.5], [2, 0, 0], [1, 1, 0], [-3, -4, 0]], dtype=float)
    assert to_triangles(points, triangle) == pytest.approx([0.5, 1.0, np.sqrt(0.5), 5.0])


def test_weight_face_and_checks_of_one_panel():
    rows, findings = pieces_of({"A": box((0, 0, 0), (6, 0.2, 3)) - box((1, -1, 1), (2, 1, 2))})
    (row,) = rows
    assert row.volume_m3 == pytest.approx(3.4)
    assert row.weight_t == pytest.approx(8.5)
    assert row.largest_face_m2 == pytest.approx(17.0)
    assert row.openings == 1
    assert re.fullmatch(r"W-[2-9B-Z]{4}-\d{3}", row.mark)
    assert row.transport_check == "upright on a low-loader"
    assert row.lift_check == "lifting weight 11.5 t of 20 t"
    assert [finding.kind for finding in findings] == ["mark-made"]


def test_light_concrete_weighs_less():
    (row,), _ = pieces_of({"A": box((0, 0, 0), (2, 0.2, 1))}, strength_class="LC25/28")
    assert row.weight_t == pytest.approx(0.4 * 1.8)


def test_heavy_and_wide_pieces_are_one_finding_a_limit():
    solids = {name: box((0, 0, 0), (9, 0.35, 4)) for name in "AB"}
    solids["C"] = box((0, 0, 0), (10, 0.35, 4))
    rows, findings = pieces_of(solids)
    rows = sorted(rows, key=lambda row: row.length_m)
    assert rows[0].transport_check.startswith("over: weight 31.5 t of 24 t, width 4.00 m")
    kinds = [finding.kind for finding in findings]
    assert kinds.count("piece-over-road-limit") == 1
    assert kinds.count("piece-over-lift-limit") == 1
    (road,) = [finding for finding in findings if finding.kind == "piece-over-road-limit"]
    assert (road.global_id, road.worth) == ("C", 3.0)
    shapes = [rows[2].repetition_group, rows[0].repetition_group]
    assert f"3 pieces are over the limits of transport (groups {shapes[0]}, {shapes[1]})" in road.message


def test_slabs_travel_flat_and_only_walls_stand():
    plank = {"A": box((0, 0, 0), (8, 3, 0.06))}
    (row,), _ = pieces_of(plank, role="slab")
    assert row.transport_check == "over: width 3.00 m of 2.5 m flat"
    (row,), _ = pieces_of({"A": box((0, 0, 0), (8, 2.4, 0.06))}, role="slab")
    assert row.transport_check == "flat"


def test_tilt_up_panels_have_no_road_and_their_own_limit():
    (row,), findings = pieces_of({"A": box((0, 0, 0), (9, 0.2, 9))}, method="tilt-up")
    assert row.weight_t == pytest.approx(40.5)
    assert row.repetition_group.startswith("TW-")
    # Inserts: 40.5 t by 6 t, rounded up; braces: 9 m by 6 m, rounded up.
    assert (row.inserts, row.braces) == (7, 2)
    assert row.transport_check == "cast on site, no road transport"
    assert "of 60 t" in row.lift_check
    assert "piece-over-lift-limit" not in {finding.kind for finding in findings}


def test_door_at_the_edge_counts_and_a_recess_or_core_does_not():
    wall = box((0, 0, 0), (4, 0.2, 3))
    door, niche = box((1, -1, -1), (2, 1, 2.1)), box((3, 0.1, 1), (3.5, 1, 1.5))
    solid = wall - door - niche
    mesh = mesh_of(solid)
    labels = np.zeros(len(mesh.faces), dtype=np.int64)
    middle = mesh.corners.mean(axis=1)
    inside = (middle[:, 1] > 1e-9) & (middle[:, 1] < 0.2 - 1e-9) & (middle[:, 2] > 1e-9)
    labels[inside & (middle[:, 0] > 0.99) & (middle[:, 0] < 2.01)] = 1
    labels[inside & (middle[:, 0] > 2.99) & (middle[:, 0] < 3.51) & (middle[:, 2] < 2.9)] = 2
    assert set(labels) == {0, 1, 2}
    (row,), _ = pieces_of({"A": Mesh(mesh.vertices, mesh.faces, labels)})
    assert row.openings == 1

    unit = box((0, 0, 0), (6, 1.2, 0.2))
    for i in range(5):
        unit -= Solid.cylinder(8, 0.07, 0.07, 48).rotate((0, 90, 0)).translate((-1, 0.2 + 0.2 * i, 0.1))
    (row,), _ = pieces_of({"S": unit}, role="slab")
    assert row.openings == 0
    assert (row.length_m, row.width_m, row.thickness_m) == pytest.approx((6.0, 1.2, 0.2), abs=1e-6)


def test_leaves_of_one_twin_wall_are_one_piece():
    meshes = {
        ("m.ifc", "A", 1, 1): mesh_of(box((0, 0, 0), (5, 0.06, 3))),
        ("m.ifc", "A", 3, 1): mesh_of(box((0, 0.24, 0), (5, 0.3, 3))),
    }
    parts = [part_of("A", 0.9, part=1), part_of("A", 0.9, part=3)]
    core = part_of("A", 2.7, part=2, method="cast-in-place")
    (row,) = make_pieces([*parts, core], meshes, [], {}, RULES).rows
    assert (row.length_m, row.width_m, row.thickness_m) == pytest.approx((5.0, 3.0, 0.3))
    assert row.volume_m3 == pytest.approx(1.8)
    assert row.parts == "A/1; A/3"


def stair_assembly():
    """A flight with two strings that touch it, and a loose nib 1 m away."""
    return {
        "flight": box((0, 0, 0), (3, 1, 0.2)),
        "left": box((0, -0.1, 0), (3, 0, 0.3)),
        "right": box((0, 1.003, 0), (3, 1.1, 0.3)),
    }


def facts_in(assembly, names, **more):
    return {
        name: ElementFacts(
            model="m.ifc",
            step_id=1,
            global_id=name,
            ifc_class="IfcSlab",
            role="stair",
            assembly=assembly,
            assembly_mark="TR-01",
            **more,
        )
        for name in names
    }


def test_an_assembly_with_one_main_body_is_one_piece_with_its_mark_and_fixings():
    solids = stair_assembly()
    facts = facts_in("ASM", solids)
    embedded = [
        Embedded("e1", "IfcDiscreteAccessory", "Lifting anchor", "Steel", "flight"),
        Embedded("e2", "IfcDiscreteAccessory", "anker", "Steel", "left"),
        Embedded("e3", "IfcDiscreteAccessory", "M16 socket", "Steel", "ASM"),
        Embedded("e4", "IfcDiscreteAccessory", "M16 socket", "Steel", "elsewhere"),
    ]
    rows, findings = pieces_of(solids, embedded, facts, role="stair", assembly="ASM")
    (row,) = rows
    assert row.mark == "TR-01"
    assert row.global_id == "flight"
    assert row.volume_m3 == pytest.approx(0.6 + 0.09 + 3 * 0.097 * 0.3)
    assert (row.length_m, row.width_m, row.thickness_m) == pytest.approx((3.0, 1.2, 0.3))
    assert row.embedded == "2 anchor, 1 socket"
    assert row.repetition_group.startswith("ST-")
    assert findings == ()


def test_panels_that_one_assembly_holds_stay_pieces_of_their_own():
    solids = {f"P{i}": box((3 * i, 0, 0), (3 * i + 3, 0.2, 2.7)) for i in range(3)}
    rows, findings = pieces_of(solids, facts=facts_in("ASM", solids), assembly="ASM")
    assert [row.repetition_count for row in rows] == [3, 3, 3]
    assert "assembly-of-several-pieces" in {finding.kind for finding in findings}


def test_two_leaves_modelled_as_elements_of_one_assembly_are_one_piece():
    solids = {"L": box((0, 0, 0), (5, 0.06, 3)), "R": box((0, 0.24, 0), (5, 0.3, 2.8))}
    rows, _ = pieces_of(solids, assembly="ASM")
    assert len(rows) == 1
    apart, _ = pieces_of({"L": solids["L"], "R": solids["R"].translate((4.5, 0, 0))}, assembly="ASM")
    assert len(apart) == 2


def test_a_mark_on_two_shapes_is_a_finding():
    solids = {"A": box((0, 0, 0), (3, 0.2, 2.7)), "B": box((0, 0, 0), (4, 0.2, 2.7))}
    facts = {
        name: ElementFacts("m.ifc", 1, name, "IfcWall", role="wall", mark="P7", storey_elevation=0.0)
        for name in solids
    }
    rows, findings = pieces_of(solids, facts=facts)
    assert {row.mark for row in rows} == {"P7"}
    assert "mark-on-different-shapes" in {finding.kind for finding in findings}


def test_a_precast_part_without_a_shape_is_a_finding():
    made = make_pieces([part_of("A", None, condition="open shell")], {}, [], {}, RULES)
    assert made.rows == ()
    assert [finding.kind for finding in made.findings] == ["piece-not-measured"]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("payload = 24.0", "payload = -1.0", "road.payload"),
        ("payload = 24.0", 'payload = "much"', "road.payload"),
        ("payload = 24.0", "load = 24.0", "road.payload"),
        ("[road]", "[road", "no valid TOML"),
    ],
)
def test_faults_of_a_handling_file_are_named(tmp_path: Path, old, new, says):
    text = template_path("handling.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "handling.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match=says) as caught:
        load_handling(path)
    assert str(path) in str(caught.value)


def test_groups_by_shape_are_the_designers_marks_on_a_real_model(shared_models):
    """A model whose designer gave each shape its mark: grouping by shape alone finds the same."""
    from takeoff.pipeline import measure

    run = measure([next((shared_models / "models").glob("precast-with-embedded-parts.*"))])
    pieces = run.measurement.pieces
    assert len(pieces) == 106
    assert len({(row.mark, row.repetition_group) for row in pieces}) == 56
    assert len({row.mark for row in pieces}) == len({row.repetition_group for row in pieces}) == 56
    flight = next(row for row in pieces if row.mark == "TR-02-01")
    assert len(flight.parts.split("; ")) == 3
    balcony = next(row for row in pieces if row.mark == "BP-01-01")
    assert balcony.embedded == "5 pipe, 4 anchor, 4 recess former, 2 insulation, 1 anti-slip strip"
    # As declared, with its rims; the round holes in it are measured within 0.1 %.
    assert balcony.volume_m3 == pytest.approx(1.476873 + 2 * 0.005006, rel=1e-3)


def test_hollow_core_with_cores_is_no_finding_and_without_is():
    """1.2 x 0.2 m with six cores of 150 mm: 6 x 0.0177 of 0.24 m2 are void, 44 %."""
    unit = box((0, 0, 0), (6, 1.2, 0.2))
    cored = unit
    for n in range(6):
        core = Solid.cylinder(8.0, 0.075, 0.075, 48).rotate((0, 90, 0)).translate((-1, 0.1 + 0.2 * n, 0.1))
        cored -= core
    for solid, kinds in ((unit, ["hollow-core-drawn-solid"]), (cored, [])):
        _, found = pieces_of({"A": solid}, role="slab", subrole="HOLLOWCORE")
        assert [finding.kind for finding in found if finding.kind == "hollow-core-drawn-solid"] == kinds


def test_openings_in_both_walls_of_an_angle_count_and_cores_do_not():
    """A window of 1.0 x 1.2 m in the one, 0.8 x 1.0 m in the other: two openings, 4.4 + 3.6 m around them."""
    angle = box((0, 0, 0), (3, 0.2, 3)) + box((0, 0, 0), (0.2, 2, 3))
    angle -= box((1, -1, 1), (2, 1, 2.2))
    angle -= box((-1, 0.7, 1), (1, 1.5, 2))
    cored = box((0, 0, 0), (6, 1.2, 0.2))
    for y in (0.2, 0.6, 1.0):
        cored -= Solid.cylinder(8, 0.07, 0.07, 48).rotate((0, 90, 0)).translate((-1, y, 0.1))
    for seed in range(3):
        rows, _ = pieces_of({"A": moved(mesh_of(angle), seed)})
        assert rows[0].openings == 2
        assert rows[0].opening_edges_m == pytest.approx(8.0, abs=1e-4)
    rows, _ = pieces_of({"B": cored}, role="slab")
    assert rows[0].openings == 0
