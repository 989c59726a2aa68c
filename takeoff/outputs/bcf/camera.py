"""A camera that frames a box."""

import math

import numpy as np
from msgspec import Struct

from takeoff.geometry.mesh import Floats

FIELD_OF_VIEW = 60.0
"""Degrees; BCF 2.1 allows 45 to 60."""
LEAST_RADIUS = 1.0
"""Metres; a smaller thing is shown with something around it."""
MARGIN = 1.1
"""How much further away the camera stands than it must."""
LOOKING = np.array([1.0, 2.0, -1.0]) / math.sqrt(6.0)
"""From the front, a little from the left and from above: shows tops, sides and ends."""


class Camera(Struct, frozen=True, eq=False):
    """Position in metres and unit vectors (3,) each."""

    position: Floats
    direction: Floats
    up: Floats


def framing(box: Floats) -> Camera:
    """A camera from which the whole of a box (2, 3) is seen, whatever the shape of the window."""
    centre = box.mean(axis=0)
    radius = max(float(np.linalg.norm(box[1] - box[0])) / 2.0, LEAST_RADIUS)
    distance = MARGIN * radius / math.sin(math.radians(FIELD_OF_VIEW / 2.0))
    right = np.cross(LOOKING, [0.0, 0.0, 1.0])
    up = np.cross(right, LOOKING)
    return Camera(centre - distance * LOOKING, LOOKING, up / np.linalg.norm(up))
