"""What measuring hands out: the tables, and behind them what draws them."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from msgspec import Struct

from takeoff.later import Later
from takeoff.measuring.ground_level import GroundLevel
from takeoff.measuring.records import Measurement

if TYPE_CHECKING:
    from takeoff.geometry.surfaces import Surfaces
    from takeoff.measuring.bodies import Body
    from takeoff.measuring.formwork import FormedBody
    from takeoff.measuring.panelling import PanelSolid


class Drawing(Struct, frozen=True, eq=False):
    """The bodies with their surfaces. `formed` has what became of the faces of those that are formed, by place;
    `panels` the pieces that bodies were divided into by rule."""

    bodies: "tuple[Body, ...]"
    surfaces: "Surfaces"
    formed: "Later[Mapping[int, FormedBody]]"
    panels: "tuple[PanelSolid, ...]" = ()


class Measured(Struct, frozen=True, eq=False):
    """The tables and the level of the ground; the drawing is made anew when a run that came from the cache needs it."""

    measurement: Measurement
    ground: GroundLevel
    drawing: Later[Drawing]

    @property
    def bodies(self) -> "tuple[Body, ...]":
        """All bodies that were measured."""
        return self.drawing.value.bodies

    @property
    def surfaces(self) -> "Surfaces":
        """The surfaces of all bodies in one table."""
        return self.drawing.value.surfaces

    @property
    def formed(self) -> "Mapping[int, FormedBody]":
        """Formwork and faces of the bodies that are formed, by place in `bodies`."""
        return self.drawing.value.formed.value

    @property
    def panels(self) -> "tuple[PanelSolid, ...]":
        """The pieces that bodies were divided into by rule."""
        return self.drawing.value.panels
