"""The pieces that bodies are divided into by rule, drawn in place of those bodies when the reader asks for it."""

from collections.abc import Mapping, Sequence
from typing import Any

from msgspec import Struct

from takeoff.geometry.facets import make_facets
from takeoff.geometry.surfaces import make_surfaces
from takeoff.measuring.panelling import PanelSolid
from takeoff.measuring.records import PieceRow
from takeoff.outputs.page.faces import Faces, make_faces


class Division(Struct, frozen=True, eq=False):
    """Faces of all pieces of divisions, and for each of their bodies the piece that it belongs to."""

    faces: Faces
    panel_of_body: tuple[PanelSolid, ...]

    def tell(
        self, content: dict[str, Any], places: Mapping[tuple[str, str, int], int], pieces: Sequence[PieceRow]
    ) -> None:
        """Add the bodies to the page's `bodies`, with the row of the piece of each in `panel_of_body` (-1 for a
        body as modelled); `divided` has the bodies that the pieces replace."""
        rows = {
            (row.model, row.global_id, int(row.panel.split()[0])): n
            for n, row in enumerate(pieces)
            if row.panel
        }
        replaced = {places.get(part, -1) for panel in self.panel_of_body for part in panel.parts}
        modelled = content["bodies"]
        content["divided"] = [n for n, part in enumerate(modelled) if part >= 0 and part in replaced]
        content["panel_of_body"] = [-1] * len(modelled) + [
            rows[panel.model, panel.global_id, panel.panel] for panel in self.panel_of_body
        ]
        content["bodies"] = modelled + [places.get(panel.parts[0], -1) for panel in self.panel_of_body]


def make_division(panels: Sequence[PanelSolid]) -> Division | None:
    """The division ready to draw, None where nothing is divided."""
    owners = tuple(panel for panel in panels for _ in panel.bodies)
    if not owners:
        return None
    meshes = [mesh for panel in panels for mesh in panel.bodies]
    return Division(make_faces(make_surfaces(make_facets(meshes)), meshes, {}), owners)
