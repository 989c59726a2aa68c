"""Joint data: what goes into joints, connections by rule, least bearings."""

from math import ceil
from pathlib import Path
from typing import Annotated, Literal, Protocol

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from takeoff.data_files import load_table

CAST_ON = ("topping", "cast-on")
"""Kinds that are no joints but tops of pieces that concrete is cast on."""

Kind = Literal["bed", "bearing", "vertical", "slab", "wall-to-slab", "topping", "cast-on"]
Method = Literal["precast", "tilt-up", "cast-in-place", "unresolved"]
Role = Literal["wall", "slab", "column", "beam", "foundation", "stair"]


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


Kinds = Annotated[tuple[Kind, ...], BeforeValidator(_as_list)]
Methods = Annotated[tuple[Method, ...], BeforeValidator(_as_list)]
Roles = Annotated[tuple[Role, ...], BeforeValidator(_as_list)]
Texts = Annotated[tuple[str, ...], BeforeValidator(_as_list)]
Figure = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]


class Member(Protocol):
    """What rules ask of a piece or of what it meets."""

    @property
    def method(self) -> str:
        """How it is made."""
        ...

    @property
    def role(self) -> str:
        """Its role."""
        ...

    @property
    def subrole(self) -> str:
        """Its predefined type."""
        ...


class _Rule(BaseModel):
    """Which pieces, and what they meet: an empty list means any."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    method: Methods = ()
    role: Roles = ()
    subrole: Texts = ()
    other_method: Methods = ()
    other_role: Roles = ()

    def fits(self, piece: Member, other: Member | None) -> bool:
        """Whether the rule is for such a piece and what it meets."""
        own = ((self.method, piece.method), (self.role, piece.role), (self.subrole, piece.subrole))
        theirs = (
            (self.other_method, other.method if other else ""),
            (self.other_role, other.role if other else ""),
        )
        return all(not wanted or value in wanted for wanted, value in (*own, *theirs))


class JointRule(_Rule):
    """What goes into a joint: width (mm) where it is drawn closed, fill, lines of sealant, connections."""

    kind: Kinds
    width_mm: Figure = 0.0
    fill: bool = False
    sealant: Annotated[int, Field(ge=0)] = 0
    connections_per_metre: Figure = 0.0


class ConnectionRule(_Rule):
    """Connections of a piece, by number or by metre of its length."""

    per_piece: Figure = 0.0
    per_metre: Figure = 0.0
    at_least: Figure = 0.0

    @model_validator(mode="after")
    def _one_way(self) -> "ConnectionRule":
        if self.other_method or self.other_role:
            raise ValueError("connections of a piece do not ask what it meets; use connections_per_metre")
        if bool(self.per_piece) and bool(self.per_metre):
            raise ValueError("give per_piece or per_metre, not both")
        return self

    def number_for(self, length: float) -> float:
        """Whole number for a piece of this length, m."""
        return float(ceil(max(self.per_piece + self.per_metre * length, self.at_least) - 1e-6))


class BearingRule(_Rule):
    """Least bearing along the span, mm."""

    least_mm: Figure


class JointRules(BaseModel):
    """The whole of a joints file."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    closed_mm: Figure
    joint: tuple[JointRule, ...]
    connection: tuple[ConnectionRule, ...] = ()
    bearing: tuple[BearingRule, ...] = ()

    def joint_for(self, kind: str, piece: Member, other: Member) -> JointRule | None:
        """The first rule for a joint of this kind."""
        return next((rule for rule in self.joint if kind in rule.kind and rule.fits(piece, other)), None)

    def connections_for(self, piece: Member, length: float) -> float:
        """Connections of a piece by the first rule that fits it."""
        found = next((rule for rule in self.connection if rule.fits(piece, None)), None)
        return found.number_for(length) if found else 0.0

    def least_bearing(self, piece: Member, support: Member) -> float | None:
        """Least bearing of a piece on a support, m, None where no rule fits."""
        found = next((rule for rule in self.bearing if rule.fits(piece, support)), None)
        return found.least_mm / 1e3 if found else None


def load_joint_rules(path: Path) -> JointRules:
    """Read a joints file (TOML). Raises InputError naming the file, the entry and what is wrong with it."""
    return load_table(path, JointRules)
