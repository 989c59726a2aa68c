"""Foundations: pads, blinding, strips that cross, what stands on them, and what hangs over."""

from build import rectangle

from cases.case import Case, CaseModel


# Pad 1.6 x 1.6 x 0.5 under a column 0.4 x 0.4 x 3.0: pad side 6.4 x 0.5 = 3.2, ground 2.56, top 2.56 - 0.16 =
# 2.4; column side 1.6 x 3.0 = 4.8, its foot on concrete.
def column_on_pad(m: CaseModel) -> None:
    m.footing(rectangle(-0.8, -0.8, 0.8, 0.8), 0.5, -0.5)
    m.column((0, 0), 0.4, 0.4, 3.0)


# Column 0.6 x 0.6 x 3.0 that hangs 0.1 over the pad 0.8 x 0.8 x 0.4 that it stands on: soffit 0.1 x 0.6 =
# 0.06, the rest in contact (0.3), nothing assumed seated. Pad side 3.2 x 0.4 = 1.28, top 0.64 - 0.3 = 0.34.
def overhang(m: CaseModel) -> None:
    m.footing(rectangle(-0.2, -0.4, 0.6, 0.4), 0.4, -0.4)
    m.column((0, 0), 0.6, 0.6, 3.0)


# Pad 2.0 x 2.0 x 0.5 on blinding 2.2 x 2.2 x 0.05, which is modelled as a slab on the ground. Pad side 8 x
# 0.5 = 4, nothing of it on the ground; blinding edge 8.8 x 0.05 = 0.44, ground 4.84, top 4.84 - 4 = 0.84.
def blinding(m: CaseModel) -> None:
    low = rectangle(-1.1, -1.1, 1.1, 1.1)
    m.slab(low, 0.05, -0.55, name="Blinding", material="Concrete C12/15", PredefinedType="BASESLAB")
    m.footing(rectangle(-1, -1, 1, 1), 0.5, -0.5)


# Strips A 6.0 x 0.6 x 0.3 and B 4.0 x 0.6 x 0.3 crossing at right angles. A, the larger, keeps 0.6 x 0.6 x
# 0.3 = 0.108.
#   A: net 1.08; sides 13.2 x 0.3 - 2 x 0.6 x 0.3 = 3.6
#   B: net 0.72 - 0.108 = 0.612; sides 2 x 3.4 x 0.3 + ends 2 x 0.6 x 0.3 = 2.4
#   ground and top (6.0 + 3.4) x 0.6 = 5.64
def strips(m: CaseModel) -> None:
    m.footing(rectangle(0, 0, 6, 0.6), 0.3, -0.3, name="A", PredefinedType="STRIP_FOOTING")
    m.footing(rectangle(2.7, -1.7, 3.3, 2.3), 0.3, -0.3, name="B", PredefinedType="STRIP_FOOTING")


# Wall 5.0 x 0.2 x 2.5 on a strip 5.4 x 0.6 x 0.3; strip side 12 x 0.3 = 3.6, top 3.24 - 1.0 = 2.24; wall
# sides 25, ends 1.0. The strip is of no stated material: it is concrete all the same, cast in place by
# assumption, and that is a finding.
def no_material(m: CaseModel) -> None:
    m.footing(rectangle(-0.2, -0.3, 5.2, 0.3), 0.3, -0.3, name="Strip", material=None, made=None)
    m.wall((0, 0), (5, 0), 0.2, 2.5)


# A pile 0.3 x 0.3 x 4.0 below a cap 1.0 x 1.0 x 0.6 into which it reaches 0.1. Both are foundations; the cap
# is the larger and keeps: pile net 0.09 x 3.9 = 0.351; the ground is its form: 1.2 x 3.9 = 4.68 and its foot
# 0.09; cap net 0.6, side 2.4, underside on the ground less the pile's head 1.0 - 0.09 = 0.91.
def pile_in_cap(m: CaseModel) -> None:
    m.footing(rectangle(-0.5, -0.5, 0.5, 0.5), 0.6, -0.6, PredefinedType="PILE_CAP")
    m.prism("IfcPile", rectangle(-0.15, -0.15, 0.15, 0.15), 4.0, (0, 0, -4.5))


CASES = (
    Case(
        "column on a pad",
        column_on_pad,
        {
            "foundation": {"net": 1.28, "foundation-side": 3.2, "ground": 2.56, "free": 2.4},
            "column": {"net": 0.48, "column-side": 4.8, "free": 0.16, "seated": 0.0},
        },
    ),
    Case(
        "column that hangs over its support",
        overhang,
        {
            "foundation": {"net": 0.256, "foundation-side": 1.28, "ground": 0.64, "free": 0.34},
            "column": {"net": 1.08, "column-side": 7.2, "soffit": 0.06, "seated": 0.0},
        },
    ),
    Case(
        "pad on blinding",
        blinding,
        {
            "foundation": {"net": 2.0, "foundation-side": 4.0, "ground": 0.0, "free": 4.0},
            "slab": {"net": 0.242, "slab-edge": 0.44, "ground": 4.84, "free": 0.84},
        },
    ),
    Case(
        "strips that cross",
        strips,
        {
            "foundation": {"net": 1.692, "foundation-side": 6.0, "ground": 5.64, "free": 5.64},
            "A": {"net": 1.08, "foundation-side": 3.6},
            "B": {"net": 0.612, "foundation-side": 2.4},
        },
    ),
    Case(
        "strip without a material",
        no_material,
        {
            "foundation": {"net": 0.972, "foundation-side": 3.6, "ground": 3.24, "free": 2.24},
            "wall": {"net": 2.5, "wall-side": 25.0, "wall-end": 1.0, "seated": 0.0},
            "cast-in-place": {"net": 3.472},
        },
        findings=(("", ("Strip",)),),
    ),
    Case(
        "pile in its cap",
        pile_in_cap,
        {"foundation": {"net": 0.951, "foundation-side": 2.4, "ground": 0.91, "free": 1.0}},
    ),
)
