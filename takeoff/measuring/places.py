"""Places: the box of an element and a little of its shape, by which it is known again under another GlobalId."""

from msgspec import Struct

Triple = tuple[float, float, float]


class Place(Struct, frozen=True):
    """The box of an element, metres: `low` and `high` corner in the coordinates that the models share.

    `offset` is how far the middle of the surface lies from the middle of the box, `lean` the product moments of
    the surface about its middle (xy, yz, zx), both as shares of the box's sides. They tell mirror images in one
    box apart (crossing braces, scissor stairs).
    """

    low: Triple
    high: Triple
    offset: Triple = (0.0, 0.0, 0.0)
    lean: Triple = (0.0, 0.0, 0.0)

    @property
    def centre(self) -> Triple:
        """The middle of the box."""
        x, y, z = ((a + b) / 2.0 for a, b in zip(self.low, self.high, strict=True))
        return x, y, z
