"""What is asked of the workers about terrain and what they answer."""

from msgspec import Struct

from takeoff.geometry.mesh import Mesh


class TerrainRequest(Struct, frozen=True):
    """A product (STEP id) whose shape is terrain. `key` is the caller's number for it."""

    key: int
    product: int

    def failed(self, reason: str) -> "TerrainResult":
        """The result when no worker survives it."""
        return TerrainResult(self.key, None, reason, lasting=False)


class TerrainResult(Struct, frozen=True, eq=False):
    """What became of a request: `mesh` in metres relative to the run's origin, open or closed, turned either way.

    None where there is no terrain; `condition` then says why, empty where the shape is no more than a plan of the
    site. `remarks` tell in words what was left out. `by_lines`: made of contours or points. `lasting` as of a
    `SolidResult`.
    """

    key: int
    mesh: Mesh | None
    condition: str = ""
    remarks: tuple[str, ...] = ()
    by_lines: bool = False
    lasting: bool = True
