"""Cast against the ground: walls before what holds the ground, and faces that a rule names."""

from build import rectangle

from cases.case import Case, CaseModel

# A lining 5.0 x 0.3 x 3.0: net 4.5; one side 15 against what holds the ground, the other 15 formed; ends 2 x 0.3 x
# 3.0 = 1.8; top 1.5 free.
LINING = {"net": 4.5, "wall-side": 15.0, "wall-end": 1.8, "against-ground": 15.0, "free": 1.5, "seated": 1.5}


# Against a diaphragm wall 5.0 x 0.6 x 8.0 of concrete, from -5 to 3. The diaphragm wall is cast in its trench: sides
# 80 less the 15 in contact, ends 9.6, underside 3.0: 77.6 against the ground; top 3.0 free; no form at all.
def diaphragm(m: CaseModel) -> None:
    m.wall((0, 0), (5, 0), 0.3, 3.0, name="Lining")
    m.wall((0, -0.45), (5, -0.45), 0.6, 8.0, base=-5.0, name="Diaphragm wall D1")


# Against sheet piles modelled as a flat wall of steel.
def sheet(m: CaseModel) -> None:
    m.wall((0, 0), (5, 0), 0.3, 3.0, name="Lining")
    m.wall(
        (-1, -0.25), (6, -0.25), 0.2, 7.0, base=-3.0, name="Sheet pile wall", material="Steel S355", made=None
    )


# Against sheet piles modelled with their profile: troughs 0.3 deep, flats of 0.4 every 1.2 m touch the lining.
def profiled_sheet(m: CaseModel) -> None:
    m.wall((0, 0), (5, 0), 0.3, 3.0, name="Lining")
    near, far = [], []
    for i in range(6):
        x = -0.6 + 1.2 * i
        for dx, y in ((0.0, -0.45), (0.3, -0.45), (0.5, -0.15), (0.9, -0.15), (1.1, -0.45), (1.2, -0.45)):
            near.append((x + dx, y))
            far.append((x + dx, y - 0.01))
    outline = [*dict.fromkeys(far), *reversed(list(dict.fromkeys(near)))]
    m.prism("IfcWall", outline, 7.0, (0, 0, -3.0), name="Sheet pile wall", material="Steel S355", made=None)


# Against secant piles of radius 0.4 at 0.6 that touch it in lines: all of the side is held.
def secant(m: CaseModel) -> None:
    m.wall((0, 0), (5, 0), 0.3, 3.0, name="Lining")
    for i in range(10):
        m.product(
            "IfcPile", m.extrusion(m.circle(0.4), 8.0), at=(-0.2 + 0.6 * i, -0.55, -5.0),
            name=f"Secant pile {i + 1}", material="Concrete C30/37", made="In-Situ",
        )  # fmt: skip


# Against contiguous piles of radius 0.4 at 1.0: gaps of 0.2 between them are closed, all of the side is held.
def contiguous(m: CaseModel) -> None:
    m.wall((0, 0), (5, 0), 0.3, 3.0, name="Lining")
    for i in range(6):
        m.product(
            "IfcPile", m.extrusion(m.circle(0.4), 8.0), at=(1.0 * i, -0.55, -5.0),
            name=f"Contiguous pile {i + 1}", material="Concrete C30/37", made="In-Situ",
        )  # fmt: skip


# A room 6.0 x 4.3 of four walls 0.3 x 3.0, the south one marked as cast against the ground: its outer side 18 needs
# no form; inside 18 - 2 x 0.3 x 3.0 = 16.2, ends 1.8. The others: north 34.2 + 1.8, west and east 2 x 2 x 3.7 x 3.0 =
# 44.4 without ends.
def blind(m: CaseModel) -> None:
    marked = {"Pset_Own": {"Blind side": True}}
    m.wall((0, 0), (6, 0), 0.3, 3.0, name="South", properties=marked)
    m.wall((0, 4), (6, 4), 0.3, 3.0, name="North")
    m.wall((0.15, 0.15), (0.15, 3.85), 0.3, 3.0, name="West")
    m.wall((5.85, 0.15), (5.85, 3.85), 0.3, 3.0, name="East")


# A wall alone, marked: which side it is nobody can tell, so there is a finding; one side of 12 is formed.
def blind_alone(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 3.0, name="Wall", ObjectType="RW 200 blind-side")


# A pad cast against earth: 1.2 x 1.2 x 0.5, its sides 2.4 against the ground.
def trench_filled(m: CaseModel) -> None:
    m.footing(rectangle(0, 0, 1.2, 1.2), 0.5, -0.5, name="Pad cast against earth")


CASES = (
    Case(
        "lining before a diaphragm wall",
        diaphragm,
        {
            "wall": {"net": 28.5, "wall-side": 15.0, "wall-end": 1.8},
            "Lining": LINING,
            "Diaphragm wall D1": {
                "net": 24.0,
                "formwork": 0.0,
                "against-ground": 77.6,
                "free": 3.0,
                "contact": 15.0,
            },
        },
        findings=(),
    ),
    Case(
        "lining before a sheet pile wall",
        sheet,
        {"wall": LINING | {"parts": 2}, "not-concrete": {"parts": 1}},
    ),
    Case("lining before profiled sheet piles", profiled_sheet, {"wall": LINING}),
    Case("lining before secant piles", secant, {"Lining": LINING, "wall": LINING}, unformed=("foundation",)),
    Case("lining before contiguous piles", contiguous, {"wall": LINING}, unformed=("foundation",)),
    Case(
        "wall of a room, blind on its outer side",
        blind,
        {
            "wall": {"wall-side": 16.2 + 34.2 + 44.4, "wall-end": 3.6, "against-ground": 18.0},
            "South": {"wall-side": 16.2, "wall-end": 1.8, "against-ground": 18.0},
        },
    ),
    Case(
        "blind wall alone",
        blind_alone,
        {"wall": {"wall-side": 12.0, "wall-end": 1.2, "against-ground": 12.0}},
        findings=(("ground-side", ("Wall",)),),
    ),
    Case(
        "pad cast against earth",
        trench_filled,
        {
            "foundation": {
                "net": 0.72,
                "foundation-side": 0.0,
                "against-ground": 2.4,
                "ground": 1.44,
                "free": 1.44,
            }
        },
    ),
)
