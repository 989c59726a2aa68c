"""Representation items made into closed solids: read directly where possible, else by the geometry kernel."""

import math
from collections.abc import Iterator
from typing import Any

import manifold3d
import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from takeoff.geometry.booleans import BooleanFailed, bare, join, lumps, manifold, mesh_of, split
from takeoff.geometry.curves import curve_points, ring
from takeoff.geometry.extrusions import Crossing, all_untangled, extrusion, prism
from takeoff.geometry.flush import Planes, aligned
from takeoff.geometry.folds import folded, is_box_like
from takeoff.geometry.mesh import Floats, Mesh, volume
from takeoff.geometry.pipes import pipe
from takeoff.geometry.placements import applied, axis_placement, determinant, mapping
from takeoff.geometry.primitives import primitive
from takeoff.geometry.profiles import turned
from takeoff.geometry.refusals import Nonsense, Sheet, Unplaced, Unread
from takeoff.geometry.repair import NO_VOLUME, mend
from takeoff.geometry.revolutions import revolution
from takeoff.geometry.sectioned import sectioned
from takeoff.geometry.shells import faceted
from takeoff.geometry.sweeps import check_sweep
from takeoff.geometry.tessellation import KERNELS, tessellate
from takeoff.told import Quantity, told

Entity = Any

_FACETED = (
    "IfcFacetedBrep",
    "IfcFacetedBrepWithVoids",
    "IfcFaceBasedSurfaceModel",
    "IfcShellBasedSurfaceModel",
    "IfcTriangulatedFaceSet",
    "IfcPolygonalFaceSet",
)

_NOT_SOLID = (
    "IfcGeometricSet",
    "IfcCurve",
    "IfcPoint",
    "IfcBoundingBox",
    "IfcTextLiteral",
    "IfcAnnotationFillArea",
    "IfcPlacement",
)
"""Classes of items that make no solid and are passed over."""


_BENT = 1e-3
"""Share of a body's volume that its faces may leave open by not being flat before it is told."""

EXTRUSION = "extrusion"
"""The way of a solid that is one valid shell by construction."""


class NoSolid(Exception):
    """An item cannot be made into a closed solid; the text says why in a few words.

    `size` is the volume of its box, m3, infinite where it has none.
    """

    def __init__(self, reason: str, size: float = math.inf) -> None:
        super().__init__(reason)
        self.size = size


class Empty(NoSolid):
    """What an item says is plain and holds nothing: faces without volume between them, a boolean that leaves none."""


class Solid(Struct, frozen=True):
    """A closed mesh of one item with the remarks of making it.

    `rivals` are meshes that other ways gave and whose volumes differ, with the name of the way; `way` names
    how `mesh` came.
    """

    mesh: Mesh
    remarks: tuple[tuple[str, str], ...] = ()
    way: str = "own reading"
    rivals: tuple[tuple[str, Mesh], ...] = ()


class Items:
    """Items of one file. `scale` is metres in a file unit, `angle` radians in a file angle.

    `kernels` are the geometry kernels that may be asked, in this order.
    """

    def __init__(self, scale: float, angle: float, kernels: tuple[str, ...] = KERNELS) -> None:
        self.scale = scale
        self.angle = angle
        self.kernels = kernels

    def solids(self, item: Entity) -> list[Solid]:
        """The solids of a representation item that is not mapped, metres, in the representation's coordinates.

        Raises NoSolid when the item should make a solid and does not. Items that make none give none.
        """
        if any(item.is_a(kind) for kind in _NOT_SOLID):
            return []
        kind = item.is_a()
        if item.is_a("IfcSurface"):
            raise NoSolid(f"{kind} is a surface, no solid")
        sheet = Sheet(self.scale, self.angle)
        try:
            if kind in _FACETED:
                return self._faceted(item)
            if item.is_a("IfcBooleanResult"):
                return [self._boolean(item, sheet)]
            if kind == "IfcCsgSolid":
                return self.solids(item.TreeRootExpression)
            if item.is_a("IfcCsgPrimitive3D"):
                return [Solid(primitive(item, self.scale))]
            if kind in ("IfcRevolvedAreaSolid", "IfcSectionedSolidHorizontal"):
                meshes = (
                    revolution(item, sheet) if kind == "IfcRevolvedAreaSolid" else [sectioned(item, sheet)]
                )
                return [replace(_mended(mesh), remarks=tuple(sheet.notes)) for mesh in meshes]
            if item.is_a("IfcSweptDiskSolid"):
                return [self._pipe(item, sheet)]
            check_sweep(item, sheet)
            meshes = extrusion(item, sheet)
            return [Solid(mesh, tuple(sheet.notes), EXTRUSION) for mesh in meshes]
        except (Unread, BooleanFailed) as problem:
            if isinstance(problem, Unplaced):
                sheet.doubt("placement-missing", f"{problem}: taken at the origin of what it is in")
            return [self._by_kernel(item, str(problem), sheet)]
        except RecursionError as problem:
            raise NoSolid(f"{kind} is part of itself or nested too deep") from problem
        except (ValueError, TypeError, AttributeError, IndexError) as problem:
            raise NoSolid(f"{kind} makes no solid: {problem}") from problem

    def leaves(
        self, item: Entity, matrix: Floats | None = None, above: tuple[int, ...] = ()
    ) -> Iterator[tuple[Entity, Floats | None]]:
        """An item, or those that a mapped item stands for, each with the matrix (4, 4) that moves it, if any.

        Raises NoSolid for mapped items that make no sense or contain themselves.
        """
        if not item.is_a("IfcMappedItem"):
            yield item, matrix
            return
        if item.id() in above:
            raise NoSolid("a mapped item that contains itself")
        try:
            step = mapping(item, self.scale)
            parts = item.MappingSource.MappedRepresentation.Items
        except (Unread, ValueError, TypeError, AttributeError) as problem:
            raise NoSolid(f"a mapped item makes no sense: {problem}") from problem
        if not parts:
            raise NoSolid("a mapped item of nothing")
        whole = step if matrix is None else matrix @ step
        for part in parts:
            yield from self.leaves(part, whole, (*above, item.id()))

    def _faceted(self, item: Entity) -> list[Solid]:
        outer, *voids = faceted(item, self.scale)
        solid = _mended(outer.mesh)
        if outer.bent > _BENT * volume(solid.mesh):
            text = told(
                "faces are not flat, by up to {}: cut otherwise, the body would measure up to {} more or less",
                Quantity(outer.rise * 1000, "mm", ".1f", size=True),
                Quantity(outer.bent, "m3", ".4f"),
            )
            solid = replace(solid, remarks=(*solid.remarks, ("faces-not-flat", text)))
        if not voids:
            return [solid]
        body, remarks = manifold(solid.mesh), list(solid.remarks)
        for void in voids:
            # A void's faces may look either way; as a solid of its own it is turned outward and cut.
            hollow = _mended(void.mesh)
            body = split(body, manifold(hollow.mesh))[1]
            remarks += [
                (kind, told("a cavity: {}", text)) for kind, text in hollow.remarks if kind != "inside-out"
            ]
        return [Solid(mesh_of(body), tuple(remarks))]

    def _pipe(self, item: Entity, sheet: Sheet) -> Solid:
        try:
            solid = _mended(pipe(item, sheet))
        except Unread:
            check_sweep(item, sheet)
            raise
        return replace(solid, remarks=tuple(dict.fromkeys([*sheet.notes, *solid.remarks])))

    def _by_kernel(self, item: Entity, reason: str, sheet: Sheet) -> Solid:
        """Tessellation of one item by the first kernel that gives a closed mesh, compared with the others'.

        A kernel is wrong without a word (it leaves boolean trees uncut, bends pipes into themselves), so what only
        one of them can do is told.
        """
        found, failures = asked(item, self.scale, self.kernels, every=True)
        if not found:
            raise NoSolid(f"{item.is_a()} cannot be made into a solid ({reason}; {failures[0]})")
        (way, first), *others = found
        rivals = tuple((name, solid.mesh) for name, solid in others if not agree(first.mesh, solid.mesh))
        try:
            remarks = [*sheet.notes, *first.remarks, *_folds(first.mesh)]
        except BooleanFailed as problem:
            raise NoSolid(f"{item.is_a()} cannot be made into a solid ({reason}; {problem})") from problem
        if len(found) == 1 and len(self.kernels) > 1:
            value = Quantity(volume(first.mesh), "m3", ".4f")
            text = told("{}: only one way of measuring gave a volume ({}: {})", item.is_a(), way, value)
            remarks.append(("measured-one-way", text))
        if item.is_a("IfcBooleanResult") and self._uncut(item, first.mesh):
            text = f"a cut could not be followed ({reason}), and the kernels' has no effect: check the volume"
            remarks.append(("cut-without-effect", text))
        return Solid(first.mesh, tuple(remarks), way, rivals)

    def _uncut(self, item: Entity, result: Mesh) -> bool:
        """Whether a difference or intersection is as large as its first operand."""
        if item.Operator == "UNION":
            return False
        try:
            whole = union(self.solids(item.FirstOperand))
        except (NoSolid, BooleanFailed, IndexError):
            return True
        return agree(whole, result)

    def _boolean(self, item: Entity, sheet: Sheet) -> Solid:
        """A boolean tree with its operands apart, combined and proved here.

        Where nothing is removed although the operands' boxes meet, the kernels are asked too.
        """
        parts = self.solids(item.FirstOperand)
        if not parts:
            raise Unread("a first operand that is no solid")
        first = union(parts)
        remarks = [remark for part in parts for remark in part.remarks]
        rivals = [rival for part in parts for rival in part.rivals]
        second = item.SecondOperand
        if second.is_a("IfcHalfSpaceSolid"):
            if item.Operator == "UNION":
                raise Nonsense("a half-space that is added has no end")
            cutters = self._half_space(second, first, sheet)
            remarks += sheet.notes
        else:
            try:
                others = self.solids(second)
            except Empty as problem:
                if item.Operator == "INTERSECTION":
                    raise
                text = f"an operand of a {item.Operator.lower()} holds nothing ({problem}): the other one is left"
                return Solid(first, (*remarks, ("cut-without-effect", text)), rivals=tuple(rivals))
            if not others:
                raise Unread("a second operand that is no solid")
            cutters = [solid.mesh for solid in others]
            remarks += [remark for solid in others for remark in solid.remarks]
            rivals += [rival for solid in others for rival in solid.rivals]
        result = _combined(first, cutters, item.Operator)
        if result.is_empty() or result.volume() < 1e-9:
            raise Empty("the boolean result is empty")
        mesh = mesh_of(result)
        unchanged = item.Operator == "DIFFERENCE" and abs(volume(first) - volume(mesh)) <= 1e-9 * volume(
            first
        )
        if rivals or (unchanged and any(_boxes_meet(first, cutter) for cutter in cutters)):
            found, _ = asked(item, self.scale, self.kernels, every=True)
            if any(agree(mesh, solid.mesh) for _, solid in found):
                found = []
            return Solid(mesh, tuple(remarks), rivals=tuple((name, solid.mesh) for name, solid in found))
        return Solid(mesh, tuple(remarks))

    def _half_space(self, item: Entity, body: Mesh, sheet: Sheet) -> list[Mesh]:
        """A half-space as a prism that reaches beyond the body; bounded by its polygon where it has one."""
        surface = item.BaseSurface
        if surface.is_a() != "IfcPlane":
            raise Unread(f"a half-space of {surface.is_a()}")
        plane = axis_placement(surface.Position, self.scale)
        if item.AgreementFlag:
            # The material lies against the normal of the surface: turn the frame over.
            plane = plane @ np.diag([1.0, -1.0, -1.0, 1.0])
        box = body.box()
        corners = np.array(
            [[box[i, 0], box[j, 1], box[k, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)]
        )
        solid = _beyond(plane, corners)
        if item.is_a() != "IfcPolygonalBoundedHalfSpace":
            return [solid]
        frame = axis_placement(item.Position, self.scale)
        outline = turned(ring(curve_points(item.PolygonalBoundary, sheet)), False)
        heights = (np.concatenate([corners, solid.vertices]) - frame[:3, 3]) @ frame[:3, 2]
        low, high = float(heights.min()) - 1.0, float(heights.max()) + 1.0
        way = np.array([0.0, 0.0, high - low])
        try:
            columns = [prism([outline], way)]
        except Crossing:
            columns = [prism(area, way) for area in all_untangled([[outline]], sheet)]
        columns = [moved(column.moved(np.array([0.0, 0.0, low])), frame) for column in columns]
        cut = [split(manifold(column), manifold(solid))[0] for column in columns]
        return [mesh_of(part) for part in cut if not part.is_empty()]


def asked(
    item: Entity, scale: float, kernels: tuple[str, ...], every: bool
) -> tuple[list[tuple[str, Solid]], list[str]]:
    """What the kernels make of an item: closed solids by kernel, and why the others failed.

    Stops at the first solid unless `every` kernel is to be asked.
    """
    found: list[tuple[str, Solid]] = []
    failures: list[str] = []
    for kernel in kernels:
        if found and not every:
            break
        try:
            mended = mend(tessellate(item, kernel, scale=scale))
        except RuntimeError as problem:
            failures.append(str(problem).splitlines()[0])
            continue
        if mended.condition:
            failures.append(f"{kernel}: {mended.condition}")
        else:
            found.append((kernel, Solid(mended.mesh, mended.remarks, kernel)))
    return found, failures


def agree(one: Mesh, other: Mesh, tolerance: float = 2e-4) -> bool:
    """Whether two meshes have the same volume, within a share that leaves room for curved faces."""
    first, second = volume(one), volume(other)
    return abs(first - second) <= tolerance * max(abs(first), abs(second))


def _box_volume(mesh: Mesh) -> float:
    size = float(np.ptp(mesh.vertices, axis=0).prod()) if len(mesh.vertices) else math.inf
    return size if math.isfinite(size) else math.inf


def _boxes_meet(one: Mesh, other: Mesh) -> bool:
    a, b = one.box(), other.box()
    return bool((a[0] < b[1] - 1e-4).all() and (b[0] < a[1] - 1e-4).all())


def _beyond(plane: Floats, corners: Floats) -> Mesh:
    """Box on the positive side of a plane's frame (4, 4), larger than (n, 3) corners in every direction."""
    local = (corners - plane[:3, 3]) @ plane[:3, :3]
    margin = 1.0 + float(np.ptp(local, axis=0).max())
    low, high = local.min(axis=0) - margin, local.max(axis=0) + margin
    outline = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    return moved(prism([outline], np.array([0.0, 0.0, max(high[2], 0.0) + margin])), plane)


def _combined(first: Mesh, others: list[Mesh], operator: str) -> Any:
    """Manifold of a boolean between a solid and others, proved. Raises Unread for an unknown operator."""
    body = manifold(first)
    if operator == "UNION":
        return join([body, *(lump for other in others for lump in lumps(other))])
    if operator == "DIFFERENCE":
        for other in others:
            for lump in lumps(aligned(other, Planes(first))):
                body = split(body, lump)[1]
        return body
    if operator == "INTERSECTION":
        pieces = [split(body, lump)[0] for other in others for lump in lumps(other)]
        return manifold3d.Manifold.batch_boolean(pieces, manifold3d.OpType.Add)
    raise Unread(f"boolean {operator}")


def _mended(mesh: Mesh) -> Solid:
    """A mesh from the file as a closed solid. Raises NoSolid where it cannot be one."""
    mended = mend(mesh)
    if mended.condition:
        kind = Empty if mended.condition == NO_VOLUME else NoSolid
        raise kind(mended.condition, _box_volume(mended.mesh))
    return Solid(mended.mesh, (*mended.remarks, *_folds(mended.mesh)))


def _folds(mesh: Mesh) -> tuple[tuple[str, str], ...]:
    """A remark for each shell that passes through itself. Raises BooleanFailed where there is no solid."""
    if is_box_like(mesh):
        return ()
    for part in manifold(mesh).decompose():
        if part.volume() > 0.0 and folded(part, mesh_of(part)):
            text = "the surface passes through itself: what lies within it twice counts twice; check the body"
            return (("surface-folded", text),)
    return ()


def moved(mesh: Mesh, matrix: Floats) -> Mesh:
    """The mesh moved by a (4, 4) matrix; its faces are turned back where the matrix mirrors."""
    faces = mesh.faces
    if determinant(matrix[:3, :3]) < 0.0:
        faces = np.ascontiguousarray(faces[:, ::-1])
    return Mesh(applied(matrix, mesh.vertices), faces, mesh.labels)


def solid_moved(solid: Solid, matrix: Floats) -> Solid:
    """The solid and its rivals moved by a (4, 4) matrix."""
    rivals = tuple((name, moved(mesh, matrix)) for name, mesh in solid.rivals)
    return Solid(moved(solid.mesh, matrix), solid.remarks, solid.way, rivals)


def is_one_shell(solids: list[Solid]) -> bool:
    """Whether the solids are a single one that is a valid shell by construction."""
    return len(solids) == 1 and solids[0].way == EXTRUSION


def union(solids: list[Solid]) -> Mesh:
    """One mesh of several solids; what they share counts once. Raises BooleanFailed."""
    solids = _each_once(solids)
    if is_one_shell(solids):
        return solids[0].mesh
    parts = [lump for solid in solids for lump in solid_lumps(solid)]
    return solids[0].mesh if len(solids) == len(parts) == 1 else mesh_of(join(parts))


def _each_once(solids: list[Solid]) -> list[Solid]:
    """The solids without exact repetitions, which large ones take long to be joined with."""
    if len(solids) < 2:
        return solids
    return list({(s.mesh.vertices.tobytes(), s.mesh.faces.tobytes()): s for s in reversed(solids)}.values())[
        ::-1
    ]


def solid_lumps(solid: Solid) -> list[Any]:
    """The separate shells of a solid, for booleans. Raises BooleanFailed."""
    return [bare(solid.mesh)] if solid.way == EXTRUSION else lumps(solid.mesh)
