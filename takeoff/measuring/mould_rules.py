"""Mould data: how often a mould is used and how fast, by kind of piece."""

from typing import Annotated, Protocol

from pydantic import BaseModel, ConfigDict, Field

from takeoff.measuring.joint_rules import Roles, Texts

Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]


class Cast(Protocol):
    """What rules ask of a piece."""

    @property
    def role(self) -> str:
        """Its role."""
        ...

    @property
    def subrole(self) -> str:
        """Its predefined type."""
        ...

    @property
    def thickness_m(self) -> float:
        """Its thickness, m."""
        ...


class MouldKind(BaseModel):
    """Moulds for some pieces (an empty list means any, `most_thickness` is in m): castings that one lasts, castings
    a day.

    Without `own` the pieces are cast on beds that the works has anyway, and no mould is counted.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    role: Roles = ()
    subrole: Texts = ()
    most_thickness: Positive | None = None
    own: bool = True
    uses: Positive = 1.0
    per_day: Positive = 1.0

    def fits(self, piece: Cast) -> bool:
        """Whether the moulds are for such a piece."""
        if self.most_thickness is not None and piece.thickness_m > self.most_thickness + 1e-6:
            return False
        return (not self.role or piece.role in self.role) and (
            not self.subrole or piece.subrole in self.subrole
        )


class MouldRules(BaseModel):
    """Working days in which the pieces of one family are cast; of the kinds of moulds the first that fits counts."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    days: Positive = 1.0
    kind: tuple[MouldKind, ...] = ()

    def kind_for(self, piece: Cast) -> MouldKind | None:
        """The first kind for a piece, None where the file has none."""
        return next((kind for kind in self.kind if kind.fits(piece)), None)
