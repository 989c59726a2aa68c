"""The archive above its basement: ground floor, stair, walls, gables, roof, canopy and yard."""

import math

from archive import (
    AXES,
    BASE,
    BAY,
    IN_SITU,
    LENGTH,
    MIDDLE,
    PLAIN,
    PRECAST,
    STEEL,
    TILT_UP,
    UNDER_FLOOR,
    WIDTH,
    Archive,
)
from ifc_writer import rectangle

PLANK = 0.06
RISERS, GOING = 17, 0.26
SLOPE = math.radians(12.0)
EAVES = 3.2
"""Underside of the roof at the outer face of the long walls."""

ROOF = 0.2 / math.cos(SLOPE)
"""Upright thickness of the roof slabs, which are 0.2 thick across."""

GABLE = 0.18


def under_roof(y: float) -> float:
    """Height of the roof's underside at a distance `y` across the building."""
    return EAVES + min(y, WIDTH - y) * math.tan(SLOPE)


def write_hall(m: Archive) -> None:
    """Everything from the ground floor up, and the works outside."""
    m.storey("Ground floor", 0.0)
    _floor(m)
    m.into("Basement")
    _stair(m)
    m.into("Ground floor")
    _long_walls(m)
    _gables(m)
    m.storey("Roof", EAVES)
    _roof(m)
    m.into("Ground floor")
    _canopy(m)
    _yard(m)


def _floor(m: Archive) -> None:
    planks = []
    width = (BAY - 0.2) / 5
    for low, high in ((0.2, MIDDLE), (MIDDLE, WIDTH - 0.2)):
        for i in range(5):
            x = 0.2 + width * i
            body = m.extrusion(rectangle(0, 0, width, high - low), PLANK)
            name = f"Plank {len(planks) + 1}"
            at = (x, low, UNDER_FLOOR)
            plank = m.product("IfcSlab", body, name=name, at=at, material=PRECAST, PredefinedType="FLOOR")
            m.casting(plank, "PRECAST")
            m.piece(plank, f"PL{len(planks) + 1:02d}")
            m.declare(plank, NetVolume=width * (high - low) * PLANK)
            planks.append(plank)
    m.type(planks, "Plank 60", predefined_type="FLOOR")
    # The topping thickens to the full depth of the floor where the planks end short on the walls.
    top = m.extrusion(rectangle(0, 0, BAY, WIDTH), -UNDER_FLOOR - PLANK, (0, 0, UNDER_FLOOR + PLANK))
    outer = [
        (0, 0),
        (BAY, 0),
        (BAY, 0.2),
        (0.2, 0.2),
        (0.2, WIDTH - 0.2),
        (BAY, WIDTH - 0.2),
        (BAY, WIDTH),
        (0, WIDTH),
    ]
    edge = m.extrusion(outer, PLANK, (0, 0, UNDER_FLOOR))
    topping = m.cast("IfcSlab", top, edge, name="Topping", PredefinedType="FLOOR")
    m.casting(topping, "INSITU")
    bay = m.slab(
        rectangle(BAY, 0, LENGTH, WIDTH),
        -UNDER_FLOOR,
        UNDER_FLOOR,
        name="Stair bay",
        material=IN_SITU,
        made=None,
        PredefinedType="FLOOR",
    )
    m.box_void(bay, (12.6, 0.6, -0.1), (14.0, 0.9 + RISERS * GOING, 0.35), name="Stair opening")
    m.void(bay, m.extrusion(m.circle(0.15), 0.45), at=(13.5, 7.5, -0.1), name="Riser duct")
    m.type([topping, bay], "Floor 250", predefined_type="FLOOR")


def _stair(m: Archive) -> None:
    """One precast flight along y, 1.2 m wide, that ends flush with the edge of the stair bay."""
    rise = -BASE / RISERS
    line = [(0.0, 0.0)]
    for i in range(RISERS):
        line += [(GOING * i, rise * (i + 1)), (GOING * (i + 1), rise * (i + 1))]
    run, drop = RISERS * GOING, -BASE + UNDER_FLOOR
    foot = run - drop * GOING / rise
    section = [*line, (run, drop), (foot, 0.0)]
    body = m.extrusion(section, 1.2, axes=((1, 0, 0), (0, 1, 0)))
    flight = m.product(
        "IfcStairFlight", body, name="Flight", at=(12.7, 0.9, BASE), material=PRECAST, filed=False
    )
    m.casting(flight, "PRECAST")
    m.piece(flight, "ST01")
    stair = m.product("IfcStair", name="Basement stair")
    m.aggregate(stair, [flight])


def _long_walls(m: Archive) -> None:
    """Cast walls whose heads a plane cuts to the slope of the roof."""
    walls = []
    length = LENGTH - 2 * GABLE
    for name, y, lean in (("South hall wall", 0.1, -1.0), ("North hall wall", WIDTH - 0.1, 1.0)):
        tall = m.extrusion(rectangle(0, -0.1, length, 0.1), EAVES + 0.5)
        plane = m.half_space((0, 0.1 * lean, EAVES), (0, lean * math.sin(SLOPE), math.cos(SLOPE)))
        wall = m.cast("IfcWall", m.cut(tall, plane), name=name, at=(GABLE, y, 0.0))
        for x in (1.5, 4.5, 7.5, 10.5):
            m.box_void(wall, (x, -0.3, 1.2), (x + 1.8, 0.3, 2.4), name="Window")
        walls.append(wall)
    m.type(walls, "Hall wall 200", predefined_type="STANDARD")


def _gables(m: Archive) -> None:
    """Three tilt-up panels to a gable, 20 mm apart, standing on the floor and 0.3 above the roof."""
    panels = []
    for side, x in (("west", 0.0), ("east", LENGTH - GABLE)):
        for i, (low, high) in enumerate(((0.0, 2.99), (3.01, 5.99), (6.01, WIDTH))):
            corners = [low, high] if not low < MIDDLE < high else [low, MIDDLE, high]
            head = [(y, under_roof(y) + ROOF + 0.3) for y in reversed(corners)]
            body = m.extrusion([(low, 0.0), (high, 0.0), *head], GABLE, axes=((1, 0, 0), (0, 1, 0)))
            name = f"Gable {side} {i + 1}"
            panel = m.product("IfcWall", body, name=name, at=(x, 0, 0), material=TILT_UP)
            if side == "west" and i == 1:
                m.box_void(panel, (-0.1, 3.3, -0.1), (0.3, 5.7, 2.7), name="Gate")
            elif i != 1:
                near = 0.9 if i == 0 else WIDTH - 2.1  # the outer panels mirror one another
                m.box_void(panel, (-0.1, near, 1.2), (0.3, near + 1.2, 2.4), name="Window")
            m.properties(panel, "Sample_Identity", {"Mark": f"TU{len(panels) + 1:02d}"})
            panels.append(panel)
    m.type(panels, "Tilt-up panel 180", predefined_type="STANDARD")


def _roof(m: Archive) -> None:
    length = LENGTH - GABLE
    for name, low, high in (("Roof south", -0.3, MIDDLE), ("Roof north", MIDDLE, WIDTH + 0.3)):
        line = [(y, under_roof(y)) for y in (low, high)]
        section = [*line, *((y, z + ROOF) for y, z in reversed(line))]
        roof = m.profile_along(
            "IfcSlab",
            section,
            (GABLE, 0, 0),
            (length, 0, 0),
            name=name,
            material=IN_SITU,
            made=None,
            PredefinedType="ROOF",
        )
        m.casting(roof, "INSITU")
    half, foot, side = 0.15, under_roof(MIDDLE) - 0.6, under_roof(MIDDLE - 0.15)
    ridge = [(-half, foot), (half, foot), (half, side), (0.0, under_roof(MIDDLE)), (-half, side)]
    m.profile_along(
        "IfcBeam",
        ridge,
        (GABLE, MIDDLE, 0),
        (length, MIDDLE, 0),
        name="Ridge beam",
        material=PLAIN,
        made=None,
    )
    m.into("Ground floor")
    for i, x in enumerate(AXES):
        m.round_column((x, MIDDLE), 0.2, foot, name=f"Round column {i + 1}", material=PLAIN, made=None)


def _canopy(m: Archive) -> None:
    """Three pads, one of no stated material, under steel posts and a steel beam."""
    for i, y in enumerate((1.5, MIDDLE, 7.5)):
        pad = rectangle(-3.6, y - 0.6, -2.4, y + 0.6)
        material = None if i == 2 else IN_SITU
        m.footing(
            pad, 0.4, -0.9, name=f"Pad {i + 1}", material=material, made=None, PredefinedType="PAD_FOOTING"
        )
        m.column((-3.0, y), 0.14, 0.14, 3.3, -0.5, name=f"Post {i + 1}", material=STEEL, made=None)
    m.beam((-3.0, 1.4), (-3.0, 7.6), 0.12, 0.24, 3.04, name="Canopy beam", material=STEEL, made=None)


def _yard(m: Archive) -> None:
    """A yard wall of no stated material on a cast strip."""
    m.footing(
        rectangle(18.0, 0.0, 18.6, 8.0),
        0.3,
        -0.8,
        name="Yard strip",
        material=IN_SITU,
        made=None,
        PredefinedType="STRIP_FOOTING",
    )
    m.wall((18.3, 0.2), (18.3, 7.8), 0.2, 2.0, -0.5, name="Yard wall", material=None, made=None)
