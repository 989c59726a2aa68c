"""Forms that stay: steel sheet and precast shells, as elements, as coverings and as layers."""

from build import rectangle

from cases.case import Case, CaseModel

# A slab 4 x 3 x 0.15 all over a form that stays: no soffit; edge 14 x 0.15 = 2.1.
ON_DECK = {"net": 1.8, "slab-soffit": 0.0, "slab-edge": 2.1, "permanent-formwork": 12.0, "free": 12.0}


# Profiled sheet as an element: crests of 0.1 every 0.3 m touch the slab, the sheet covers all of it.
def profiled(m: CaseModel) -> None:
    upper, lower = [], []
    for i in range(10):
        x = 0.3 * i
        for dx, z in ((0.0, -0.05), (0.08, -0.05), (0.1, 0.0), (0.2, 0.0), (0.22, -0.05), (0.3, -0.05)):
            upper.append((x + dx, z))
            lower.append((x + dx, z - 0.001))
    outline = [*dict.fromkeys(lower), *reversed(list(dict.fromkeys(upper)))]
    # the section's first coordinate points to the left of the way: pushed along -y it grows along +x
    sheet = m.profile_along(
        "IfcPlate", outline, (0, 4, 3), (0, 0, 3), name="Metal deck", material="Steel", made=None
    )
    assert sheet
    m.slab(rectangle(0, 0, 3, 4), 0.15, 3.0)


# Steel sheet as a covering under the slab, flat.
def covering(m: CaseModel) -> None:
    m.prism(
        "IfcCovering", rectangle(0, 0, 4, 3), 0.002, (0, 0, 2.998), name="Profiled sheet", material="Steel decking",
        made=None, PredefinedType="CEILING",
    )  # fmt: skip
    m.slab(rectangle(0, 0, 4, 3), 0.15, 3.0)


# Steel sheet as the lowest layer, 0.01 of 0.16: the concrete is 0.15 thick.
def layer(m: CaseModel) -> None:
    slab = m.slab(rectangle(0, 0, 4, 3), 0.16, 2.99, material=None, made=None)
    m.layers(slab, (("Steel decking", 0.01), ("In-situ concrete C30/37", 0.15)), axis=2, sense=1, offset=0.0)


# Half slabs of 0.06 as elements, 2 of 2.0 x 3.0, with a topping of 0.15 over both.
def half_slabs(m: CaseModel) -> None:
    for x in (0, 2):
        m.slab(rectangle(x, 0, x + 2, 3), 0.06, 2.94, name="Half slab plank", made="Precast")
    m.slab(rectangle(0, 0, 4, 3), 0.15, 3.0, name="Topping")


# Leaves of a twin wall as elements of 0.06 beside a core 4.0 x 0.2 x 3.0: sides 24 on the leaves, ends 1.2.
def leaves(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 3.0, name="Core")
    m.wall((0, 0.13), (4, 0.13), 0.06, 3.0, name="Leaf 1", made="Precast")
    m.wall((0, -0.13), (4, -0.13), 0.06, 3.0, name="Leaf 2", made="Precast")


# A precast shell as a covering on one side of a cast wall 4.0 x 0.2 x 3.0: 12 m2 permanent, 12 formed; the shell's
# own concrete 4.0 x 0.05 x 3.0 = 0.6 is precast.
def shell_covering(m: CaseModel) -> None:
    m.wall((0, 0), (4, 0), 0.2, 3.0, name="Wall")
    m.prism(
        "IfcCovering", rectangle(0, 0.1, 4, 0.15), 3.0, name="Precast shell", material="Precast concrete C40/50",
        made=None, PredefinedType="CLADDING",
    )  # fmt: skip


# A precast column and a cast wall that butts against it: contact, no shell. Wall side 2 x 3.8 x 3.0, one end 0.6.
def no_shell(m: CaseModel) -> None:
    m.column((0, 0), 0.4, 0.4, 3.0, made="Precast")
    m.wall((0.2, 0), (4, 0), 0.2, 3.0, name="Wall")


# Layers of a twin wall: the core 0.15 of 4.0 x 0.29 x 3.0 has 24 on the leaves, and ends 0.9.
def twin_layers(m: CaseModel) -> None:
    wall = m.wall((0, 0), (4, 0), 0.29, 3.0, name="Twin", material=None, made=None)
    stack = (
        ("Precast concrete C40/50", 0.07),
        ("In-situ concrete C30/37", 0.15),
        ("Precast concrete C40/50", 0.07),
    )
    m.layers(wall, stack, axis=1, sense=1, offset=-0.145)


CASES = (
    Case("slab on profiled sheet", profiled, {"slab": ON_DECK}),
    Case("slab on sheet as a covering", covering, {"slab": ON_DECK}),
    Case("slab with sheet as a layer", layer, {"slab": ON_DECK, "cast-in-place": {"net": 1.8}}),
    Case(
        "topping on half slabs",
        half_slabs,
        {
            "slab": {"net": 2.52, "slab-soffit": 0.0, "slab-edge": 2.1},
            "Topping": ON_DECK,
            "precast": {"net": 0.72},
        },
    ),
    Case(
        "core between leaves",
        leaves,
        {
            "wall": {"net": 3.84, "wall-side": 0.0, "wall-end": 1.2},
            "Core": {"permanent-formwork": 24.0, "contact": 0.0},
        },
    ),
    Case(
        "precast shell as a covering",
        shell_covering,
        {
            "wall": {"net": 3.0, "wall-side": 12.0, "wall-end": 1.2},
            "Wall": {"permanent-formwork": 12.0, "contact": 0.0},
            "precast": {"net": 0.6},
        },
    ),
    Case(
        "precast column is no shell",
        no_shell,
        {
            "column": {"net": 0.48},
            "wall": {
                "net": 2.28,
                "wall-side": 22.8,
                "wall-end": 0.6,
                "contact": 0.6,
                "permanent-formwork": 0.0,
            },
        },
    ),
    Case(
        "twin wall's leaves as forms",
        twin_layers,
        {
            "wall": {
                "net": 3.48,
                "wall-side": 0.0,
                "wall-end": 0.9,
                "permanent-formwork": 24.0,
                "contact": 0.0,
            },
        },
    ),
)
