"""Hostile bodies: what a case is, the surroundings in which each is tried, and what may come out.

A case builds representation items and knows their volume by hand. Tried in every surrounding that suits it, the body
must have that volume, or something must be told of it; a sound body must have it.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import ifcopenshell
import numpy as np
from solid_models import SolidModel

from takeoff.geometry.solids import SolidRequest, SolidResult

Entity = Any
Build = Callable[[SolidModel], Entity]

FLAT, CURVED = 1e-6, 1e-3
"""Shares by which flat and curved bodies may differ from their volume by hand."""

REACH = 4.0
"""Bodies of cases lie within this of the origin in every direction, metres, unless they are `far`."""


@dataclass(frozen=True, slots=True)
class Case:
    """A body: how to build its item or items, its volume, m3, and what it is.

    `volume` None: nobody can say. `sound`: the file says plainly what is meant, so it must be measured. `far`: it
    reaches out of the box that surroundings leave for it. `solid`: booleans of the standard take it. `fine`: it has
    tens of thousands of facets and a coarser fellow that is tried everywhere, so it is tried where they matter: by
    itself, mapped twice and as a void.
    """

    name: str
    build: Build
    volume: float | None
    sound: bool = True
    tolerance: float = FLAT
    far: bool = False
    solid: bool = True
    fine: bool = False
    schema: str = "IFC4"

    def items(self, model: SolidModel) -> list[Entity]:
        made = self.build(model)
        return list(made) if isinstance(made, list | tuple) else [made]


@dataclass(frozen=True, slots=True)
class Tried:
    """A case in one surrounding: the request for it, its gross and net volume."""

    case: Case
    where: str
    request: SolidRequest
    net: float | None

    @property
    def name(self) -> str:
        return f"{self.case.name}-{self.where}"


def sound(name: str, build: Build, volume: float, tolerance: float = FLAT, **more: Any) -> Case:
    """A case that must be measured."""
    return Case(name, build, volume, True, tolerance, **more)


def doubtful(
    name: str, build: Build, volume: float | None = None, tolerance: float = FLAT, **more: Any
) -> Case:
    """A case that must be measured rightly, or told of."""
    return Case(name, build, volume, False, tolerance, **more)


def tried(model: SolidModel, cases: Sequence[Case]) -> Iterator[Tried]:
    """Every case in every surrounding that suits it, written into a model."""
    number = 0

    def request(body: int, *openings: int) -> SolidRequest:
        nonlocal number
        number += 1
        return SolidRequest(number, (body,), openings)

    for case in cases:
        value = case.volume
        yield Tried(case, "plain", request(model.product(*case.items(model))), value)
        if not case.fine:
            mapped = model.mapped(model.source(case.items(model)), Scale=2.0, Axis1=model.direction(0, 1, 0))
            yield Tried(case, "mapped", request(model.product(mapped)), value and 8.0 * value)
        mirror = {"Axis1": model.direction(-1, 0, 0), "Axis2": model.direction(0, 1, 0)}
        inner = model.mapped(
            model.source(case.items(model)), **mirror, Axis3=model.direction(0, 0, 1), Scale=0.5
        )
        outer = model.mapped(model.source([inner]), LocalOrigin=model.point(5, 0, 0), Scale=2.0)
        yield Tried(case, "mapped-twice", request(model.product(outer)), value)
        if case.far:
            continue
        if not case.fine:
            beside = model.box((REACH + 1, 0, 0), (REACH + 2, 1, 1))
            yield Tried(
                case, "beside", request(model.product(*case.items(model), beside)), value and value + 1.0
            )
            twins = [*case.items(model), *case.items(model)]
            yield Tried(case, "twice", request(model.product(*twins)), value)
        size = 2.0 * REACH
        host = model.product(model.box((-REACH,) * 3, (REACH,) * 3))
        void = model.opening(*case.items(model))
        yield Tried(case, "void", request(host, void), value and size**3 - value)
        if not case.solid or case.fine:
            continue
        items = case.items(model)
        if len(items) == 1:
            clipped = model.boolean(
                "DIFFERENCE", items[0], model.half_space((0, 0, REACH + 1), (0, 0, 1), False)
            )
            yield Tried(case, "clipped", request(model.product(clipped)), value)
            taken = model.boolean("DIFFERENCE", model.box((-REACH,) * 3, (REACH,) * 3), case.items(model)[0])
            yield Tried(case, "subtracted", request(model.product(taken)), value and size**3 - value)


def fault(one: Tried, result: SolidResult) -> str:
    """What is wrong with a result; empty where it is right, or where something was told of a doubtful body."""
    case = one.case
    told = bool(result.condition or result.remarks)
    if result.condition or not any(result.slices):
        if case.sound:
            return f"lost: {result.condition or result.remarks}"
        return "" if told else "lost in silence"
    part = result.slices[0]
    assert part is not None
    if not np.isfinite(part.mesh.vertices).all():
        return "coordinates that are no numbers"
    if one.net is not None:
        body = case.volume or 0.0
        # Beside a large host the volume of the case is what may differ, and the rounding of the host.
        off = abs(part.net - one.net)
        if off <= case.tolerance * max(body, 1e-6) * (8.0 if one.where == "mapped" else 1.0) + 1e-7 * one.net:
            return ""
        if case.sound or not told:
            return f"measures {part.net:.6f} instead of {one.net:.6f} ({result.remarks or 'in silence'})"
        return ""
    return "" if told else f"measures {part.net:.6f} in silence, and nobody can say what it is"


def ellipse_area(a: float, b: float) -> float:
    return math.pi * a * b


def entity(model: SolidModel, kind: str, *values: Any, **named: Any) -> Entity:
    return model.file.create_entity(kind, *values, **named)


def opened(model: SolidModel) -> ifcopenshell.file:
    """The model as whoever opens its file sees it."""
    return ifcopenshell.file.from_string(model.file.to_string())
