"""What is asked of the workers about terrain and what they answer."""

from dataclasses import dataclass

from takeoff.geometry.mesh import Mesh


@dataclass(frozen=True, slots=True)
class TerrainRequest:
    """A product (STEP id) whose shape is terrain. `key` is the caller's number for it."""

    key: int
    product: int

    def failed(self, reason: str) -> "TerrainResult":
        """The result when no worker survives it."""
        return TerrainResult(self.key, None, reason, lasting=False)


@dataclass(frozen=True, slots=True, eq=False)
class TerrainResult:
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

    def __reduce__(self) -> tuple:
        """Pickled by what it is made of."""
        given = (self.key, self.mesh, self.condition, self.remarks, self.by_lines, self.lasting)
        return TerrainResult, given
