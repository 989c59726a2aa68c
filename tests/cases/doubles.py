"""Things modelled twice, pieces that collide, and bodies written in unusual ways."""

from build import box_mesh, rectangle

from cases.case import Case, CaseModel

WALL = {"net": 2.0, "wall-side": 20.0, "wall-end": 1.0, "free": 0.8, "seated": 0.8}


# The same wall 4.0 x 0.2 x 2.5 twice: one counts, and it is a finding.
def twice(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 2.5, name="Wall A")
    m.wall((0, 0), (4, 0), 0.2, 2.5, name="Wall B")


# Two precast panels 3.0 x 0.2 x 2.5 that overlap by 0.5: a finding. What each piece weighs cannot be known
# from such a model; the case asks for the bodies as drawn (2 x 1.5) and for the finding.
def pieces_collide(m: CaseModel) -> None:
    m.wall((0, 0), (3, 0), 0.2, 2.5, name="Panel 1", made="Precast")
    m.wall((2.5, 0), (5.5, 0), 0.2, 2.5, name="Panel 2", made="Precast")


# A precast panel 3.0 x 0.2 x 2.5 drawn through the end of a cast wall 4.0 x 0.2 x 2.5 by 0.5: the panel keeps
# its shape; the cast wall is 3.5 long: net 1.75; sides 2 x 3.5 x 2.5 = 17.5; one end 0.5, the other in
# contact.
def piece_into_cast(m: CaseModel) -> None:
    m.wall((0, 0), (3, 0), 0.2, 2.5, name="Panel", made="Precast")
    m.wall((2.5, 0), (6.5, 0), 0.2, 2.5, name="Cast")


# A precast block 0.4 x 0.4 x 0.5 wholly within a cast footing 2.0 x 2.0 x 1.0, which is cast around it: the block has
# 0.08, the footing 4.0 - 0.08 = 3.92; its sides 4 x 2.0 x 1.0 = 8.0; the faces of the block touch concrete.
def cast_around(m: CaseModel) -> None:
    m.footing(rectangle(-1, -1, 1, 1), 1.0, -1.0, name="Footing")
    m.footing(rectangle(-0.2, -0.2, 0.2, 0.2), 0.5, -0.75, name="Block", made="Precast")


# The wall as a mapped shape that is mirrored: -0.1 to 0.1 across, so the mirror image is the wall again.
def mirrored(m: CaseModel) -> None:
    source = m.source(m.extrusion(rectangle(0, -0.1, 4, 0.1), 2.5))
    m.member("IfcWall", m.mirrored(source))


# The wall as two solids in one body that overlap by half: counts once.
def two_solids(m: CaseModel) -> None:
    left, right = rectangle(0, -0.1, 3, 0.1), rectangle(1, -0.1, 4, 0.1)
    m.member("IfcWall", m.extrusion(left, 2.5), m.extrusion(right, 2.5))


# The wall clipped by a plane out of a taller one (3.0, cut at 2.5).
def clipped(m: CaseModel) -> None:
    tall = m.extrusion(rectangle(0, -0.1, 4, 0.1), 3.0)
    m.member("IfcWall", m.cut(tall, m.half_space((0, 0, 2.5), (0, 0, 1))))


# The wall as a surface model whose faces turn both ways.
def mixed_faces(m: CaseModel) -> None:
    points, faces = box_mesh((0, -0.1, 0), (4, 0.1, 2.5))
    faces = [face[::-1] if i % 2 else face for i, face in enumerate(faces)]
    m.member("IfcWall", m.surface_model(points, faces))


# The wall as a faceted solid turned inside out.
def inside_out(m: CaseModel) -> None:
    points, faces = box_mesh((0, -0.1, 0), (4, 0.1, 2.5))
    m.member("IfcWall", m.brep(points, [face[::-1] for face in faces]))


# A faceted box that lacks two neighbouring sides: nobody knows its volume; its row says so, and the good wall
# beside it is measured.
def open_shell(m: CaseModel) -> None:
    points, faces = box_mesh((0, 2.9, 0), (4, 3.1, 2.5))
    m.member("IfcWall", m.surface_model(points, faces[:-2]), name="Open")
    m.wall((0, 0), (4, 0), 0.2, 2.5)


CASES = (
    Case(
        "wall modelled twice",
        twice,
        {"wall": WALL | {"gross": 4.0, "overlap": 2.0}},
        findings=(("duplicate", ("Wall A", "Wall B")),),
    ),
    Case(
        "precast panels that collide",
        pieces_collide,
        {"wall": {"gross": 3.0}, "precast": {"gross": 3.0, "formwork": 0.0}},
        findings=(("overlap", ("Panel 1", "Panel 2")),),
    ),
    Case(
        "precast panel into a cast wall",
        piece_into_cast,
        {
            "wall": {"net": 3.25, "wall-side": 17.5, "wall-end": 0.5},
            "Panel": {"net": 1.5, "overlap": 0.0},
            "Cast": {"net": 1.75, "overlap": 0.25},
        },
    ),
    Case(
        "precast block that a footing is cast around",
        cast_around,
        {
            "foundation": {"net": 4.0, "foundation-side": 8.0},
            "Footing": {"net": 3.92, "overlap": 0.08, "foundation-side": 8.0, "ground": 4.0, "free": 4.0},
            "Block": {"net": 0.08, "overlap": 0.0, "formwork": 0.0},
        },
    ),
    Case("mirrored mapped body", mirrored, {"wall": WALL}),
    Case("two overlapping solids in a body", two_solids, {"wall": WALL}),
    Case("body clipped by a plane", clipped, {"wall": WALL}),
    Case("surface model with faces both ways", mixed_faces, {"wall": WALL}),
    Case("solid inside out", inside_out, {"wall": WALL}),
    Case(
        "open shell beside a good wall",
        open_shell,
        {"wall": WALL, "Open": {"net": 0.0, "parts": 1}},
        findings=(("", ("Open",)),),
    ),
)
