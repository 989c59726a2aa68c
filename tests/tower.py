"""A made tower for benchmarks: columns, beams, slabs and walls with openings that meet, as plain STEP text."""

import hashlib
import math
from pathlib import Path

_HEAD = """ISO-10303-21;
HEADER;
FILE_DESCRIPTION(('ViewDefinition [DesignTransferView]'),'2;1');
FILE_NAME('tower.ifc','2026-01-01T00:00:00',(''),(''),'','','');
FILE_SCHEMA(('IFC4'));
ENDSEC;
DATA;
"""
_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz_$"


class _Writer:
    def __init__(self) -> None:
        self.lines: list[str] = []

    def add(self, text: str) -> int:
        number = len(self.lines) + 1
        self.lines.append(f"#{number}={text};")
        return number


def _guid(seed: str) -> str:
    value = int.from_bytes(hashlib.md5(seed.encode()).digest(), "big")
    text = ""
    for place in range(22):
        text = _ALPHABET[value & (3 if place == 21 else 63)] + text
        value >>= 6
    return text


def write_tower(path: Path, elements: int, bays: int = 6, bay: float = 6.0, storey: float = 3.2) -> int:
    """Write a tower of about `elements` elements to `path`; returns how many it has.

    A floor of `bays` x `bays` bays has a column at each grid point, beams along both directions of the grid,
    a slab for each bay and four walls with a window and a door each.
    """
    w = _Writer()
    w.add("IFCSIUNIT(*,.LENGTHUNIT.,.MILLI.,.METRE.)")
    w.add("IFCSIUNIT(*,.AREAUNIT.,$,.SQUARE_METRE.)")
    w.add("IFCSIUNIT(*,.VOLUMEUNIT.,$,.CUBIC_METRE.)")
    w.add("IFCSIUNIT(*,.PLANEANGLEUNIT.,$,.RADIAN.)")
    units = w.add("IFCUNITASSIGNMENT((#1,#2,#3,#4))")
    zero = w.add("IFCCARTESIANPOINT((0.,0.,0.))")
    up = w.add("IFCDIRECTION((0.,0.,1.))")
    east = w.add("IFCDIRECTION((1.,0.,0.))")
    north = w.add("IFCDIRECTION((0.,1.,0.))")
    world = w.add(f"IFCAXIS2PLACEMENT3D(#{zero},#{up},#{east})")
    context = w.add(f"IFCGEOMETRICREPRESENTATIONCONTEXT($,'Model',3,1.E-05,#{world},$)")
    body = w.add(f"IFCGEOMETRICREPRESENTATIONSUBCONTEXT('Body','Model',*,*,*,*,#{context},$,.MODEL_VIEW.,$)")
    project = w.add(f"IFCPROJECT('{_guid('project')}',$,'tower',$,$,$,$,(#{context}),#{units})")
    site_place = w.add(f"IFCLOCALPLACEMENT($,#{world})")
    building = w.add(f"IFCBUILDING('{_guid('building')}',$,'Tower',$,$,#{site_place},$,$,.ELEMENT.,$,$,$)")
    w.add(f"IFCRELAGGREGATES('{_guid('agg0')}',$,$,$,#{project},(#{building}))")
    material = w.add("IFCMATERIAL('In-situ concrete C30/37',$,$)")
    per_floor = (bays + 1) ** 2 + 2 * bays * (bays + 1) + bays * bays + 4
    floors = max(1, math.ceil(elements / per_floor))
    storeys, everything = [], []

    def place(x: float, y: float, z: float, along: int = 0) -> int:
        point = w.add(f"IFCCARTESIANPOINT(({x * 1e3:.1f},{y * 1e3:.1f},{z * 1e3:.1f}))")
        axes = w.add(f"IFCAXIS2PLACEMENT3D(#{point},#{up},#{north if along else east})")
        return w.add(f"IFCLOCALPLACEMENT(#{site_place},#{axes})")

    def prism(length: float, width: float, height: float, centred: bool = False) -> int:
        x0, y0 = (-length / 2, -width / 2) if centred else (0.0, -width / 2)
        corners = [(x0, y0), (x0 + length, y0), (x0 + length, y0 + width), (x0, y0 + width)]
        points = [w.add(f"IFCCARTESIANPOINT(({x * 1e3:.1f},{y * 1e3:.1f}))") for x, y in corners]
        line = w.add(f"IFCPOLYLINE(({','.join(f'#{p}' for p in [*points, points[0]])}))")
        profile = w.add(f"IFCARBITRARYCLOSEDPROFILEDEF(.AREA.,$,#{line})")
        solid = w.add(f"IFCEXTRUDEDAREASOLID(#{profile},#{world},#{up},{height * 1e3:.1f})")
        shape = w.add(f"IFCSHAPEREPRESENTATION(#{body},'Body','SweptSolid',(#{solid}))")
        return w.add(f"IFCPRODUCTDEFINITIONSHAPE($,$,(#{shape}))")

    for floor in range(floors):
        base = floor * storey
        own: list[int] = []

        def element(kind: str, seed: str, where: int, shape: int, tail: str, into: list[int] = own) -> int:
            number = w.add(f"{kind}('{_guid(seed)}',$,'{seed}',$,$,#{where},#{shape},$,{tail})")
            into.append(number)
            return number

        for i in range(bays + 1):
            for j in range(bays + 1):
                shape = prism(0.4, 0.4, storey - 0.2, centred=True)
                element("IFCCOLUMN", f"column {floor} {i} {j}", place(i * bay, j * bay, base), shape, "$")
        for i in range(bays):
            for j in range(bays + 1):
                for along in (0, 1):
                    x, y = (i * bay, j * bay) if not along else (j * bay, i * bay)
                    shape = prism(bay, 0.3, 0.5)
                    where = place(x, y, base + storey - 0.7, along)
                    element("IFCBEAM", f"beam {floor} {i} {j} {along}", where, shape, "$")
        for i in range(bays):
            for j in range(bays):
                shape = prism(bay, bay, 0.2)
                where = place(i * bay, (j + 0.5) * bay, base + storey - 0.2)
                element("IFCSLAB", f"slab {floor} {i} {j}", where, shape, ".FLOOR.")
        for side in range(4):
            along = side % 2
            x, y = (0.2, 0.0) if side < 2 else ((0.2, bays * bay) if not along else (bays * bay, 0.2))
            if along and side < 2:
                x, y = 0.0, 0.2
            where = place(x, y, base, along)
            wall = element(
                "IFCWALL", f"wall {floor} {side}", where, prism(bay - 0.4, 0.25, storey - 0.7), "$"
            )
            for name, at, size in (("window", (0.8, 0.9), (1.5, 1.2)), ("door", (3.4, -0.1), (1.0, 2.2))):
                point = w.add(f"IFCCARTESIANPOINT(({at[0] * 1e3:.1f},0.,{at[1] * 1e3:.1f}))")
                axes = w.add(f"IFCAXIS2PLACEMENT3D(#{point},#{up},#{east})")
                local = w.add(f"IFCLOCALPLACEMENT(#{where},#{axes})")
                seed = f"{name} {floor} {side}"
                hole = w.add(
                    f"IFCOPENINGELEMENT('{_guid(seed)}',$,$,$,$,#{local},#{prism(size[0], 0.6, size[1])},$,$)"
                )
                w.add(f"IFCRELVOIDSELEMENT('{_guid('v' + seed)}',$,$,$,#{wall},#{hole})")
        level = place(0, 0, base)
        number = w.add(
            f"IFCBUILDINGSTOREY('{_guid(f's{floor}')}',$,'Level {floor}',$,$,#{level},$,$,.ELEMENT.,{base * 1e3:.1f})"
        )
        storeys.append(number)
        listed = ",".join(f"#{e}" for e in own)
        w.add(f"IFCRELCONTAINEDINSPATIALSTRUCTURE('{_guid(f'c{floor}')}',$,$,$,({listed}),#{number})")
        everything += own
    w.add(f"IFCRELAGGREGATES('{_guid('agg1')}',$,$,$,#{building},({','.join(f'#{s}' for s in storeys)}))")
    listed = ",".join(f"#{e}" for e in everything)
    w.add(f"IFCRELASSOCIATESMATERIAL('{_guid('mat')}',$,$,$,({listed}),#{material})")
    path.write_text(_HEAD + "\n".join(w.lines) + "\nENDSEC;\nEND-ISO-10303-21;\n", encoding="utf-8")
    return len(everything)
