"""Placements of a model as 4x4 matrices (float64, metres), kept exact for sites thousands of km away.

The rules are those of ISO 16739-1: axes of a placement are orthogonalised with the Z axis leading, a mapped
item is moved by its target after its origin, a mirrored operator is allowed.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from takeoff.geometry.mesh import Floats

Entity = Any
"""An ifcopenshell entity; the library carries no types."""


def unit(vector: Sequence[float]) -> Floats:
    """A (2,) or (3,) direction as a (3,) unit vector. Raises ValueError for a zero or infinite direction."""
    out = np.zeros(3)
    out[: len(vector)] = vector
    length = float(np.linalg.norm(out))
    if not np.isfinite(length) or length == 0.0:
        raise ValueError("a direction has no length")
    return out / length


def axes(z: Floats, x: Floats | None) -> Floats:
    """Right-handed axes as columns of a (3, 3) from unit `z` and a wish for `x` (made orthogonal to `z`)."""
    if x is None:
        x = np.array([1.0, 0.0, 0.0]) if abs(z[0]) < 1.0 - 1e-12 else np.array([0.0, 1.0, 0.0])
    across = x - z * float(z @ x)
    if float(across @ across) < 1e-16:
        return axes(z, None)
    across = across / np.linalg.norm(across)
    return np.column_stack([across, np.cross(z, across), z])


def matrix_of(rotation: Floats, location: Floats) -> Floats:
    """A (4, 4) matrix of a (3, 3) linear part and a (3,) shift."""
    out = np.eye(4)
    out[:3, :3] = rotation
    out[:3, 3] = location
    return out


def applied(matrix: Floats, points: Floats) -> Floats:
    """Points (n, 3) moved by a (4, 4) matrix."""
    return points @ matrix[:3, :3].T + matrix[:3, 3]


def axis_placement(placement: Entity, scale: float) -> Floats:
    """Matrix of an IfcAxis2Placement2D or 3D (None: identity); `scale` is metres in a file unit.

    Raises ValueError for any other kind of placement.
    """
    if placement is None:
        return np.eye(4)
    kind = placement.is_a()
    location = np.zeros(3)
    if kind not in ("IfcAxis2Placement2D", "IfcAxis2Placement3D"):
        raise ValueError(f"{kind} is not read")
    if not placement.Location.is_a("IfcCartesianPoint"):
        raise ValueError(f"{placement.Location.is_a()} as a location is not read")
    coordinates = placement.Location[0]
    location[: len(coordinates)] = coordinates
    if kind == "IfcAxis2Placement2D":
        x = unit(placement.RefDirection[0]) if placement.RefDirection else None
        return matrix_of(axes(np.array([0.0, 0.0, 1.0]), x), location * scale)
    z = unit(placement.Axis[0]) if placement.Axis else np.array([0.0, 0.0, 1.0])
    x = unit(placement.RefDirection[0]) if placement.RefDirection else None
    return matrix_of(axes(z, x), location * scale)


def operator(target: Entity, scale: float) -> Floats:
    """Matrix of an IfcCartesianTransformationOperator2D or 3D, mirrored and not uniform ones included."""
    location = np.zeros(3)
    coordinates = target.LocalOrigin[0]
    location[: len(coordinates)] = coordinates
    factor = target.Scale if target.Scale else 1.0
    z = unit(target.Axis3[0]) if getattr(target, "Axis3", None) else np.array([0.0, 0.0, 1.0])
    x = unit(target.Axis1[0]) if target.Axis1 else None
    if x is None and target.Axis2:
        x = np.cross(unit(target.Axis2[0]), z)
    frame = axes(z, x)
    if target.Axis2 and float(frame[:, 1] @ unit(target.Axis2[0])) < 0.0:
        frame[:, 1] *= -1.0
    factors = np.array([factor, factor, factor])
    if target.is_a("IfcCartesianTransformationOperator3DnonUniform"):
        factors[1] = target.Scale2 or factor
        factors[2] = target.Scale3 or factor
    elif target.is_a("IfcCartesianTransformationOperator2DnonUniform"):
        factors[1] = target.Scale2 or factor
    return matrix_of(frame * factors, location * scale)


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

    def absolute(self, placement: Entity) -> Floats:
        """Matrix from the object's own coordinates to the model's, (4, 4)."""
        if placement is None:
            return np.eye(4)
        chain = []
        while placement is not None and placement.id() not in self._known:
            chain.append(placement)
            if len(chain) > 1000:
                raise ValueError("a placement refers to itself")
            placement = self._parent(placement)
        matrix = self._known[placement.id()] if placement is not None else np.eye(4)
        for step in reversed(chain):
            matrix = matrix @ self._step(step)
            self._known[step.id()] = matrix
        return matrix

    def relative(self, base: Entity, other: Entity) -> Floats:
        """Matrix from `other`'s coordinates to `base`'s; exact where `other` is placed relative to `base`."""
        if base is not None:
            matrix = np.eye(4)
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
            try:
                return axis_placement(placement.RelativePlacement, self.scale)
            except ValueError:
                if placement.PlacementRelTo is not None:
                    raise
        import ifcopenshell.geom

        shape: Any = ifcopenshell.geom.create_shape(ifcopenshell.geom.settings(), placement)
        return np.array(shape.matrix, dtype=np.float64).reshape((4, 4), order="F")
