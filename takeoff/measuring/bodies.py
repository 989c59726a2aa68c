"""Bodies: the solids of parts with what measuring needs to know of each."""

from collections.abc import Iterable, Iterator, Sequence

from msgspec import Struct

from takeoff.geometry.mesh import Mesh
from takeoff.isolation import notes
from takeoff.measuring.plan import ElementPlan, PartPlan

CONCRETE = ("cast-in-place", "precast", "tilt-up", "unresolved")
"""Methods whose parts are (or may be) concrete and take part in overlaps, contacts and totals."""
PIECES = ("precast", "tilt-up")
FORMED = ("cast-in-place", "unresolved")
"""Methods whose surfaces need a form; an unresolved part is measured as if cast and billed apart."""


class Body(Struct, frozen=True, eq=False):
    """A solid of one part. `number` is the part's number in the element, unique there, lumps included.

    `gross` m3 before openings, `before` m3 after openings, `net` m3 after overlaps as well; `storey` where it
    stands. `openings` m3 removed by each opening of the element.
    """

    element: ElementPlan
    plan: PartPlan
    number: int
    lump: int
    mesh: Mesh
    gross: float
    before: float
    net: float
    storey: str
    storey_elevation: float | None
    openings: tuple[float, ...] = ()

    @property
    def key(self) -> tuple[str, str, int]:
        """Model, GlobalId and part number."""
        return self.element.facts.model, self.element.facts.global_id, self.number

    @property
    def role(self) -> str:
        """Role of the element."""
        return self.element.role

    @property
    def method(self) -> str:
        """How the part is made."""
        return self.plan.method

    @property
    def concrete(self) -> bool:
        """Whether the part counts as concrete."""
        return self.plan.method in CONCRETE

    @property
    def formed(self) -> bool:
        """Whether its surfaces are measured for formwork."""
        return self.plan.method in FORMED

    @property
    def base_slab(self) -> bool:
        """Whether the model says that it is a slab on the ground; one may be named so as well."""
        return self.element.subrole.upper() == "BASESLAB"

    @property
    def holds_ground(self) -> bool:
        """Whether it holds the ground back: what is cast against it needs no form there."""
        return self.element.ground is not None and self.element.ground.holds


def noted(numbers: Iterable[int], bodies: Sequence[Body]) -> Iterator[int]:
    """The numbers of bodies one after the other, each noted as what this process is at; see `notes.each`."""
    return notes.each(numbers, lambda number: bodies[number].key[:2])
