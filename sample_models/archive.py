"""The sample building: a small municipal archive, invented, with the gaps that real models have.

A basement of 15 x 9 m on a raft, its long walls cast, its short walls twin walls; planks with topping as
ground floor and a cast stair bay; above, cast long walls, tilt-up gables, a cast pitched roof on round
columns; outside, pads of a steel canopy and a yard wall on a strip. Lengths in metres; 0.00 is the top of the
ground floor.

What the model deliberately leaves open or gets wrong, for the findings:

- the yard wall has no material, and neither has one of the pads;
- the round columns and the ridge beam are of concrete, but nothing says how they are made;
- basement column C2 is there twice, once more from a second author;
- the south basement wall declares its volume without deducting the openings;
- basement beam B2 is of a precast material, where the standard property says cast in place.
"""

from collections.abc import Mapping
from typing import Any

from ifc_shapes import Entity
from ifc_writer import Model, rectangle

IN_SITU = "Concrete C30/37 cast in place"
WATERTIGHT = "Concrete C35/45 cast in place, watertight"
PRECAST = "Precast concrete C40/50"
TILT_UP = "Tilt-up concrete C30/37"
PLAIN = "Concrete C30/37"
LEAN = "Lean concrete C12/15"
BLOCK = "Concrete block masonry"
STEEL = "Steel S355"

LENGTH, WIDTH = 15.0, 9.0
BASE = -3.0
"""Top of the raft."""

UNDER_FLOOR = -0.25
"""Underside of the ground floor, top of the basement walls."""

AXES = (4.0, 8.0, 12.0)
"""The columns stand on these x, on the middle line."""

MIDDLE = WIDTH / 2

BAY = 12.0
"""The planks of the ground floor end at this x; beyond lies the cast stair bay."""


class Archive(Model):
    """The model with the habits of this office: casting methods, marks and declared quantities."""

    def casting(self, element: Entity, method: str, **more: Any) -> None:
        """State how an element is made (INSITU or PRECAST) as the schema's standard property set does."""
        if self.schema == "IFC2X3":
            word: dict[str, Any] = {"ConstructionMethod": {"INSITU": "In-Situ", "PRECAST": "Precast"}[method]}
        else:
            word = {"CastingMethod": [method]}
        self.properties(element, "Pset_ConcreteElementGeneral", word | more)

    def piece(self, element: Entity, mark: str) -> None:
        """Give a piece its mark."""
        self.properties(element, "Pset_PrecastConcreteElementFabrication", {"PieceMark": mark})

    def declare(self, element: Entity, **volumes: float) -> None:
        """Declare volumes in m3, by the names of the standard base quantities."""
        name = element.is_a().removeprefix("Ifc")
        set_name = "BaseQuantities" if self.schema == "IFC2X3" else f"Qto_{name}BaseQuantities"
        values: Mapping[str, tuple[str, float]] = {key: ("volume", value) for key, value in volumes.items()}
        self.quantities(element, set_name, values)

    def cast(self, ifc_class: str, *items: Entity, material: str = IN_SITU, **words: Any) -> Entity:
        """An element whose material says that it is cast in place."""
        return self.product(ifc_class, *items, material=material, **words)


def write_basement(m: Archive) -> None:
    """Blinding, raft, walls, columns, beams, partition: all below the ground floor."""
    m.storey("Basement", BASE)
    foot = rectangle(-0.4, -0.4, LENGTH + 0.4, WIDTH + 0.4)
    m.slab(foot, 0.05, BASE - 0.40, name="Blinding", material=LEAN, made=None, PredefinedType="BASESLAB")
    raft = m.slab(
        rectangle(-0.3, -0.3, LENGTH + 0.3, WIDTH + 0.3),
        0.35,
        BASE - 0.35,
        name="Raft",
        material=WATERTIGHT,
        made=None,
        PredefinedType="BASESLAB",
    )
    ratio = ("IfcMassDensityMeasure", 115.0)
    m.casting(raft, "INSITU", ReinforcementVolumeRatio=ratio)
    m.declare(raft, NetVolume=15.6 * 9.6 * 0.35, GrossVolume=15.6 * 9.6 * 0.35)
    _long_walls(m)
    _twin_walls(m)
    _basement_frame(m)
    block = {"name": "Store partition", "material": BLOCK, "made": None}
    m.wall((5.0, 0.3), (5.0, 4.325), 0.15, 2.4, BASE, **block)


def _long_walls(m: Archive) -> None:
    height = UNDER_FLOOR - BASE
    words = {"material": WATERTIGHT, "made": None}
    south = m.wall((0, 0.15), (LENGTH, 0.15), 0.3, height, BASE, name="South wall", Tag="W1", **words)
    for x in (2.0, 8.5):
        m.box_void(south, (x, -0.3, 1.5), (x + 1.6, 0.3, 2.3), name="Light well")
    north = m.wall((0, 8.85), (LENGTH, 8.85), 0.3, height, BASE, name="North wall", Tag="W2", **words)
    for wall in (south, north):
        m.casting(wall, "INSITU")
    gross = LENGTH * 0.3 * height
    m.declare(south, NetVolume=gross, GrossVolume=gross)
    m.declare(north, NetVolume=gross, GrossVolume=gross)
    m.type([south, north], "Basement wall 300", predefined_type="STANDARD")


def _twin_walls(m: Archive) -> None:
    """Three panels of 2.8 m on each short side: leaves of 60 mm about a core of 180 mm."""
    panels = []
    layers = ((PRECAST, 0.06), (WATERTIGHT, 0.18), (PRECAST, 0.06))
    for side, x in (("west", 0.15), ("east", LENGTH - 0.15)):
        for i in range(3):
            y = 0.3 + 2.8 * i
            name = f"Twin wall {side} {i + 1}"
            wall = m.wall(
                (x, y), (x, y + 2.8), 0.3, UNDER_FLOOR - BASE, BASE, name=name, material=None, made=None
            )
            m.layers(wall, layers, axis=1, sense=1, offset=-0.15)
            m.piece(wall, f"DW{len(panels) + 1:02d}")
            panels.append(wall)
    m.box_void(panels[4], (0.8, -0.3, 1.4), (1.6, 0.3, 2.0), name="Service duct")
    m.type(panels, "Twin wall 300", predefined_type="STANDARD")


def _basement_frame(m: Archive) -> None:
    height = UNDER_FLOOR - BASE
    columns = []
    for i, x in enumerate(AXES):
        column = m.column(
            (x, MIDDLE),
            0.35,
            0.35,
            height,
            BASE,
            name=f"C{i + 1}",
            Tag=f"C{i + 1}",
            made=None,
            material=IN_SITU,
        )
        m.declare(column, NetVolume=0.35 * 0.35 * height)
        columns.append(column)
    m.type(columns, "Column 350 x 350", predefined_type="COLUMN")
    m.column((AXES[1], MIDDLE), 0.35, 0.35, height, BASE, name="C2 (survey)", made=None, material=IN_SITU)
    _column_cage(m, columns[0], height)
    main = m.beam(
        (0.3, MIDDLE), (12.175, MIDDLE), 0.35, 0.5, UNDER_FLOOR, name="B1", material=IN_SITU, made=None
    )
    trimmer = m.beam((BAY, 0.3), (BAY, 8.7), 0.35, 0.5, UNDER_FLOOR, name="B2", material=PRECAST, made=None)
    for beam in (main, trimmer):
        beam.Tag = beam.Name
        m.casting(beam, "INSITU")
    m.type([main, trimmer], "Downstand beam 350 x 500", predefined_type="BEAM")


def _column_cage(m: Archive, column: Entity, height: float) -> None:
    """Four bars of 20 mm and links of 10 mm at 200 mm, which belong to the column."""
    reach = 0.175 - 0.045
    cage = [
        m.bar(
            [(sx * reach, sy * reach, 0.03), (sx * reach, sy * reach, height - 0.03)],
            0.020,
            name="Column bar 20",
            at=(AXES[0], MIDDLE, BASE),
        )
        for sx in (-1, 1)
        for sy in (-1, 1)
    ]
    ring = [(-reach, -reach, 0.1), (reach, -reach, 0.1), (reach, reach, 0.1), (-reach, reach, 0.1)]
    cage.append(
        m.bar(
            [*ring, (-reach, -reach + 0.02, 0.1)],
            0.010,
            count=13,
            spacing=(0.0, 0.0, 0.2),
            name="Column link 10",
            role="LIGATURE",
            at=(AXES[0], MIDDLE, BASE),
        )
    )
    m.aggregate(column, cage)
