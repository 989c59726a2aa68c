"""What is asked of the solids stage and what it answers. No construction words: bodies, voids, slices."""

from msgspec import Struct

from takeoff.geometry.mesh import Mesh


class Slicing(Struct, frozen=True):
    """How a body is cut into slices by parallel planes.

    `axis` is the local axis of the element (0, 1, 2), None to find the axis by the body's own thickness.
    `offset` metres along it is where slice 1 begins, None to begin at the body's own face; slices follow in
    the direction `sense`. `bounds` are the (start, end) distances of every slice from that beginning, in order.
    `total` is the thickness of the whole build-up in metres.
    """

    axis: int | None
    sense: int
    offset: float | None
    bounds: tuple[tuple[float, float], ...]
    total: float


class SolidRequest(Struct, frozen=True):
    """One element's geometry: products whose bodies make it, products that void it, and the slices wanted.

    `key` is the caller's number for it. `hint` is a volume that somebody declared, m3, used only to decide
    which of several ways to believe when they disagree, and reported as such.
    """

    key: int
    body: tuple[int, ...]
    openings: tuple[int, ...] = ()
    slicing: Slicing | None = None
    hint: float | None = None

    def failed(self, reason: str) -> "SolidResult":
        """The result when no worker survives it."""
        return SolidResult(self.key, (), reason, lasting=False)


class Slice(Struct, frozen=True, eq=False):
    """A measured solid: `gross` volume m3 before voids, `net` volume m3 after, and the net mesh.

    Mesh labels: 0 own surface, i the i-th opening of the request.
    """

    gross: float
    net: float
    mesh: Mesh


class SolidResult(Struct, frozen=True, eq=False):
    """What became of a request.

    `slices` has one entry for each slice asked (one for an unsliced body), None where a slice is empty.
    `condition` is empty when all is well, else says in a few words why there is no (certain) result.
    `remarks` are (kind, message) pairs for findings. `seconds` is the time that it took. `lasting` is false
    where a crash or a limit of time or memory decided, so that another run may come out otherwise.
    """

    key: int
    slices: tuple[Slice | None, ...]
    condition: str = ""
    remarks: tuple[tuple[str, str], ...] = ()
    seconds: float = 0.0
    opening_volumes: tuple[float, ...] = ()
    lasting: bool = True
