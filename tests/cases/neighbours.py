"""Concrete beside what is not concrete: steel, masonry, decking; and what nothing is said of."""

from build import box_mesh, rectangle

from cases.case import Case, CaseModel
from takeoff.measuring.plan import ROLES

# A column 0.4 x 0.4 x 3.0: net 0.48, sides 4.8.
COLUMN = {"net": 0.48, "column-side": 4.8, "free": 0.16, "seated": 0.16}


# A steel beam that butts against the column: the form stays.
def steel_touching(m: CaseModel) -> None:
    m.column((0, 0), 0.4, 0.4, 3.0)
    m.beam((0.2, 0), (4, 0), 0.2, 0.3, top=2.8, name="Steel beam", material="Steel S355", made=None)


# A steel beam let 0.1 into the column: concrete is not reduced for it, and the form stays.
def steel_let_in(m: CaseModel) -> None:
    m.column((0, 0), 0.4, 0.4, 3.0)
    m.beam((0.1, 0), (4, 0), 0.2, 0.3, top=2.8, name="Steel beam", material="Steel S355", made=None)


# A slab 4 x 3 x 0.2 over a masonry wall: the soffit stays whole at 12, edge 14 x 0.2 = 2.8.
def masonry_below(m: CaseModel) -> None:
    m.wall((0, 1.5), (4, 1.5), 0.2, 2.8, name="Block wall", material="Masonry - Concrete Block", made=None)
    m.slab(rectangle(0, 0, 4, 3), 0.2, 2.8)


# A slab 4 x 3 x 0.15 on steel decking of 1 mm that covers three quarters of it: the decking is the form of 9
# m2, the rest 3 is soffit; edge 14 x 0.15 = 2.1.
def decking(m: CaseModel) -> None:
    m.prism(
        "IfcPlate",
        rectangle(0, 0, 3, 3),
        0.001,
        (0, 0, 2.999),
        name="Steel decking",
        material="Galvanised steel decking",
        made=None,
    )
    m.slab(rectangle(0, 0, 4, 3), 0.15, 3.0)


# Not concrete: rows without figures.
def not_concrete(m: CaseModel) -> None:
    m.beam((0, 0), (4, 0), 0.1, 0.2, top=3.0, name="Joist", material="Timber C24", made=None)
    m.column((6, 0), 0.2, 0.2, 3.0, name="Post", material="Steel S355", made=None)
    m.wall((0, 3), (4, 3), 0.24, 2.5, name="Brick wall", material="Brickwork", made=None)


# A wall of which nothing is said: measured 4.0 x 0.2 x 2.5 = 2.0, unresolved, with a finding.
def unresolved(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 2.5, name="Wall 17", material=None, made=None)


# A wall of concrete with no word on its making: cast in place by assumption, with a finding. 2.0 m3, sides
# 20, ends 1.0.
def assumed(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 2.5, name="Wall 18", material="Concrete C30/37", made=None)


# A proxy that is concrete by its material: a plinth 1.0 x 1.0 x 0.5 = 0.5 m3, taken in with a finding.
def proxy(m: CaseModel) -> None:
    body = m.brep(*box_mesh((0, 0, 0), (1, 1, 0.5)))
    m.member("IfcBuildingElementProxy", body, name="Concrete plinth")


CASES = (
    Case(
        "steel beam against a column",
        steel_touching,
        {"column": COLUMN, "beam": {"net": 0.0, "gross": 0.0, "parts": 1}, "not-concrete": {"parts": 1}},
    ),
    Case("steel beam let into a column", steel_let_in, {"column": COLUMN, "not-concrete": {"parts": 1}}),
    Case(
        "slab over a masonry wall",
        masonry_below,
        {
            "slab": {"net": 2.4, "slab-soffit": 12.0, "slab-edge": 2.8, "free": 12.0},
            "wall": {"net": 0.0},
            "not-concrete": {"parts": 1},
        },
    ),
    Case(
        "slab on steel decking",
        decking,
        {
            "slab": {
                "net": 1.8,
                "slab-soffit": 3.0,
                "slab-edge": 2.1,
                "free": 12.0,
                "permanent-formwork": 9.0,
            }
        },
    ),
    Case(
        "timber, steel and brick",
        not_concrete,
        {
            "not-concrete": {"parts": 3, "net": 0.0, "gross": 0.0, "formwork": 0.0},
            "beam": {"parts": 1},
            "column": {"parts": 1},
            "wall": {"parts": 1},
        },
    ),
    Case(
        "wall of which nothing is said",
        unresolved,
        {"unresolved": {"net": 2.0, "parts": 1}, "wall": {"net": 2.0}},
        findings=(("material", ("Wall 17",)),),
        unformed=("wall",),
    ),
    Case(
        "concrete with no word on its making",
        assumed,
        {"cast-in-place": {"net": 2.0}, "wall": {"net": 2.0, "wall-side": 20.0, "wall-end": 1.0}},
        findings=(("method-assumed", ("Wall 18",)),),
    ),
    Case(
        "proxy of concrete",
        proxy,
        {"cast-in-place": {"net": 0.5}, "Concrete plinth": {"net": 0.5}},
        findings=(("proxy", ("Concrete plinth",)),),
        unformed=ROLES,
    ),
)
