"""All that a worker uses, in one import: read in before workers are forked, so that each has it at once."""

import ifcopenshell
import ifcopenshell.geom
import ifcopenshell.util.unit
import manifold3d
import shapely

import takeoff.geometry.bodies
import takeoff.geometry.cutting
import takeoff.geometry.worker

__all__ = ["ifcopenshell", "manifold3d", "shapely", "takeoff"]
