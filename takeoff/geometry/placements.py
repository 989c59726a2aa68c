"""Placements of a model as 4x4 matrices (float64, metres), kept exact for sites thousands of km away.

The rules are those of ISO 16739-1: axes of a placement are orthogonalised with the Z axis leading, a mapped
item is moved by its target after its origin, a mirrored operator is allowed.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np

from takeoff.geometry.mesh import Floats
from takeoff.geometry.refusals import Nonsense, Unplaced, Unread, number

Entity = Any
"""An ifcopenshell entity; the library carries no types."""


def determinant(linear: Floats) -> float:
    """Determinant of a (3, 3) matrix; the model's few directions are worked out once."""
    return _determinant(linear.tobytes())


@lru_cache(maxsize=4096)
def _determinant(content: bytes) -> float:
    return float(np.linalg.det(np.frombuffer(content).reshape(3, 3)))


def unit(vector: Sequence[float]) -> Floats:
    """A (2,) or (3,) direction as a (3,) unit vector. Raises Nonsense for a zero or infinite direction."""
    if vector is None or len(vector) not in (2, 3):
        raise Nonsense("a direction without two or three numbers")
    x, y = vector[0], vector[1]
    z = vector[2] if len(vector) > 2 else 0.0
    length = math.sqrt(x * x + y * y + z * z)
    if not math.isfinite(length) or length == 0.0:
        raise Nonsense("a direction has no length")
    return np.array([x / length, y / length, z / length])


def axes(z: Floats, x: Floats | None) -> Floats:
    """Right-handed axes as columns of a (3, 3) from unit `z` and a wish for `x` (made orthogonal to `z`)."""
    # Plain numbers: for three of them numpy costs more than the work.
    zx, zy, zz = z.tolist()
    if x is None:
        wx, wy, wz = (1.0, 0.0, 0.0) if abs(zx) < 1.0 - 1e-12 else (0.0, 1.0, 0.0)
    else:
        wx, wy, wz = x.tolist()
    along = wx * zx + wy * zy + wz * zz
    wx, wy, wz = wx - along * zx, wy - along * zy, wz - along * zz
    length = math.sqrt(wx * wx + wy * wy + wz * wz)
    if length < 1e-8:
        return axes(z, None)
    wx, wy, wz = wx / length, wy / length, wz / length
    return np.array(
        [
            [wx, zy * wz - zz * wy, zx],
            [wy, zz * wx - zx * wz, zy],
            [wz, zx * wy - zy * wx, zz],
        ]
    )


_STILL = np.eye(4)


def matrix_of(rotation: Floats, location: Floats) -> Floats:
    """A (4, 4) matrix of a (3, 3) linear part and a (3,) shift."""
    out = _STILL.copy()
    out[:3, :3] = rotation
    out[:3, 3] = location
    return out


def applied(matrix: Floats, points: Floats) -> Floats:
    """Points (n, 3) moved by a (4, 4) matrix."""
    return points @ matrix[:3, :3].T + matrix[:3, 3]


def axis_placement(placement: Entity, scale: float) -> Floats:
    """Matrix of an IfcAxis2Placement2D or 3D (None: identity); `scale` is metres in a file unit.

    Raises Unread for placements along curves, Nonsense for what is no placement.
    """
    if placement is None:
        return _STILL.copy()
    kind = placement.is_a()
    if kind not in ("IfcAxis2Placement2D", "IfcAxis2Placement3D"):
        if placement.is_a("IfcPlacement"):
            raise Unread(kind)
        raise Nonsense(f"{kind} in place of a position")
    # By position: Location, then Axis (of the 3D one), then RefDirection. By name costs three times as much.
    point = placement[0]
    axis, reference = (placement[1], placement[2]) if kind.endswith("3D") else (None, placement[1])
    if point is None:
        raise Unplaced("a position without a location")
    if not point.is_a("IfcCartesianPoint"):
        raise Unread(f"{point.is_a()} as a location")
    out = _STILL.copy()
    coordinates = point[0]
    if coordinates is None or len(coordinates) not in (2, 3):
        raise Nonsense("a location without two or three coordinates")
    out[: len(coordinates), 3] = coordinates
    out[:3, 3] *= scale
    if axis is not None or reference is not None:
        out[:3, :3] = _frame(
            axis[0] if axis is not None else None, reference[0] if reference is not None else None
        )
    return out


@lru_cache(maxsize=4096)
def _frame(axis: tuple[float, ...] | None, reference: tuple[float, ...] | None) -> Floats:
    """Axes (3, 3) of a placement's two directions, which a model has few of. Not to be written into."""
    z = unit(axis) if axis is not None else np.array([0.0, 0.0, 1.0])
    return axes(z, unit(reference) if reference is not None else None)


def operator(target: Entity, scale: float) -> Floats:
    """Matrix of an IfcCartesianTransformationOperator2D or 3D, mirrored and not uniform ones included.

    Raises Nonsense for scales that are not more than zero.
    """
    location = np.zeros(3)
    coordinates = target.LocalOrigin[0]
    location[: len(coordinates)] = coordinates
    factor = _factor(target, "Scale", 1.0)
    z = unit(target.Axis3[0]) if getattr(target, "Axis3", None) else np.array([0.0, 0.0, 1.0])
    x = unit(target.Axis1[0]) if target.Axis1 else None
    if x is None and target.Axis2:
        x = np.cross(unit(target.Axis2[0]), z)
    frame = axes(z, x)
    if target.Axis2 and float(frame[:, 1] @ unit(target.Axis2[0])) < 0.0:
        frame[:, 1] *= -1.0
    factors = np.array([factor, factor, factor])
    if target.is_a("IfcCartesianTransformationOperator3DnonUniform"):
        factors[1] = _factor(target, "Scale2", factor)
        factors[2] = _factor(target, "Scale3", factor)
    elif target.is_a("IfcCartesianTransformationOperator2DnonUniform"):
        factors[1] = _factor(target, "Scale2", factor)
    return matrix_of(frame * factors, location * scale)


def _factor(target: Entity, name: str, other: float) -> float:
    """A scale of a transformation, `other` where it has none. Raises Nonsense where it is not more than zero."""
    value = getattr(target, name)
    if value is None:
        return other
    if number(value, f"a transformation with {name}") <= 0.0:
        raise Nonsense(f"a transformation with {name} of {value:g}")
    return float(value)


def mapping(item: Entity, scale: float) -> Floats:
    """Matrix of an IfcMappedItem: its source's origin first, then its target."""
    return operator(item.MappingTarget, scale) @ axis_placement(item.MappingSource.MappingOrigin, scale)


class Placements:
    """Object placements of one file, each worked out once.

    `scale` is metres in a file unit. Kinds that are not read here (grids, alignments) are asked of the
    geometry kernel.
    """

    def __init__(self, scale: float) -> None:
        self.scale = scale
        self._known: dict[int, Floats] = {}
        self._steps: dict[int, Floats] = {}
        self._empty: set[int] = set()

    def says_nothing(self, placement: Entity) -> bool:
        """Whether a placement, or one that it is relative to, is missing or names no position.

        Tells of those that were worked out before.
        """
        if placement is None:
            return True
        for _ in range(len(self._known) if self._empty else 0):
            if placement is None:
                return False
            if placement.id() in self._empty:
                return True
            placement = self._parent(placement)
        return False

    def absolute(self, placement: Entity) -> Floats:
        """Matrix from the object's own coordinates to the model's, (4, 4)."""
        if placement is None:
            return _STILL.copy()
        chain = []
        while placement is not None and placement.id() not in self._known:
            chain.append(placement)
            if len(chain) > 1000:
                raise ValueError("a placement refers to itself")
            placement = self._parent(placement)
        matrix = self._known[placement.id()] if placement is not None else _STILL.copy()
        for step in reversed(chain):
            matrix = matrix @ self._step(step)
            self._known[step.id()] = matrix
        return matrix

    def relative(self, base: Entity, other: Entity) -> Floats:
        """Matrix from `other`'s coordinates to `base`'s; exact where `other` is placed relative to `base`."""
        if base is not None:
            matrix = _STILL.copy()
            step = other
            for _ in range(100):
                if step is None:
                    break
                if step.id() == base.id():
                    return matrix
                matrix = self._step(step) @ matrix
                step = self._parent(step)
        there = self.absolute(base)
        back = np.linalg.inv(there[:3, :3])
        moved = self.absolute(other)
        return matrix_of(back @ moved[:3, :3], back @ (moved[:3, 3] - there[:3, 3]))

    @staticmethod
    def _parent(placement: Entity) -> Entity:
        return getattr(placement, "PlacementRelTo", None) if placement.is_a("IfcLocalPlacement") else None

    def _step(self, placement: Entity) -> Floats:
        """Matrix of one placement relative to its parent."""
        key = placement.id()
        if key not in self._steps:
            self._steps[key] = self._read(placement)
        return self._steps[key]

    def _read(self, placement: Entity) -> Floats:
        if placement.is_a("IfcLocalPlacement"):
            if placement.RelativePlacement is None:
                self._empty.add(placement.id())
            try:
                return axis_placement(placement.RelativePlacement, self.scale)
            except Unplaced:
                return self._nowhere(placement)
            except Unread:
                if placement.PlacementRelTo is not None:
                    raise
        if placement.is_a("IfcGridPlacement"):
            from takeoff.geometry.grids import grid_place

            try:
                grid, matrix = grid_place(placement, self.scale)
                return self.absolute(grid.ObjectPlacement) @ matrix
            except (Unread, Nonsense, TypeError, AttributeError):
                return self._nowhere(placement)
        import ifcopenshell.geom

        try:
            shape: Any = ifcopenshell.geom.create_shape(ifcopenshell.geom.settings(), placement)
            return np.array(shape.matrix, dtype=np.float64).reshape((4, 4), order="F")
        except RuntimeError:
            return self._nowhere(placement)

    def _nowhere(self, placement: Entity) -> Floats:
        """The place that is written beside one that cannot be read, else none: the bodies there are not lost."""
        written = getattr(placement, "CartesianPosition", None)
        if written is not None:
            return axis_placement(written, self.scale)
        self._empty.add(placement.id())
        return _STILL.copy()
