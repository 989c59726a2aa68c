"""Bars of which no model says whose they are: given to the concrete in which they lie."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from msgspec.structs import replace

from takeoff.findings import Finding
from takeoff.geometry.mesh import Floats, Mesh
from takeoff.geometry.within import points_within
from takeoff.measuring.keys import ElementKey
from takeoff.measuring.stock import Stock
from takeoff.reading.bar_lines import Line
from takeoff.reading.facts import Bar, ModelFacts
from takeoff.told import Quantity, counted, told

STEP = 0.025
"""Distance in metres at which a bar is looked at along its line."""
MOST = 0.5
"""A bar of which less than this part lies in concrete is left where it is: nobody's."""


def with_placed_bars(stock: Stock, origin: Floats, transforms: Mapping[str, Any]) -> Stock:
    """The stock with every bar that belongs to no element given to the concrete that holds its line.

    A bar through several elements, a starter bar for instance, is shared by length. `origin` (3,) is that of the
    meshes, `transforms` the way of each model to the common map. A note a model says how much was placed.
    """
    loose = [(model, bar) for model in stock.models for bar in model.bars if not bar.host and bar.lines]
    if not loose:
        return stock
    bodies = _concrete(stock)
    points, item, length = _points(loose, origin, transforms)
    held = _holders(points, bodies)
    at = 0
    given: dict[str, list[Bar]] = defaultdict(list)
    placed: dict[int, Bar | None] = {}
    told_of: dict[str, list[tuple[Bar, float, int]]] = defaultdict(list)
    keys = list(bodies)
    for model, bar in loose:
        numbers = range(at, at + len(bar.lines))
        at += len(bar.lines)
        shares = _shares(numbers, item, length, held)
        whole = sum(shares.values())
        if whole < MOST:
            continue
        placed[id(bar)] = None
        told_of[model.model].append((bar, whole, len(shares)))
        most = max(shares, key=lambda body: shares[body])
        how = "{}, placed where it lies" if len(shares) == 1 else "{}, shared by length among what it lies in"
        for body, share in shares.items():
            part = share / whole
            owner = keys[body]
            count = bar.count if len(shares) == 1 else round(bar.count * part) or int(body == most)
            given[owner[0]].append(
                replace(
                    bar,
                    host=owner[1],
                    mass=bar.mass * part,
                    count=count,
                    basis=told(how, bar.basis),
                    lines=(),
                )
            )
    models = tuple(
        replace(
            model,
            bars=(*(bar for bar in model.bars if id(bar) not in placed), *given.get(model.model, ())),
            findings=(*model.findings, *_finding(model, told_of.get(model.model, ()))),
        )
        for model in stock.models
    )
    return replace(stock, models=models)


def _concrete(stock: Stock) -> dict[ElementKey, list[Mesh]]:
    """Meshes of the concrete of each element."""
    found: dict[ElementKey, list[Mesh]] = defaultdict(list)
    for order in stock.orders:
        result = stock.solids.get(order.request.key)
        facts = stock.plans[order.element].facts
        for part, piece in zip(order.parts, result.slices if result else (), strict=False):
            if piece is not None and len(piece.mesh.faces) and part.method != "not-concrete":
                found[facts.model, facts.global_id].append(piece.mesh)
    return found


def _points(
    loose: Sequence[tuple[ModelFacts, Bar]], origin: Floats, transforms: Mapping[str, Any]
) -> tuple[Floats, Floats, Floats]:
    """Points along all lines, relative to the origin (n, 3); the line of each (n,); the length that it stands for."""
    points, item, length = [], [], []
    number = 0
    for model, bar in loose:
        matrix = transforms.get(model.model)
        for line in bar.lines:
            middles, step = _along(line)
            if matrix is not None:
                middles = middles @ matrix[:3, :3].T + matrix[:3, 3]
            points.append(middles - origin)
            item.append(np.full(len(middles), number))
            length.append(np.full(len(middles), step))
            number += 1
    return np.concatenate(points), np.concatenate(item), np.concatenate(length)


def _along(line: Line) -> tuple[Floats, float]:
    """Middles of equal pieces of a line (n, 3), and their length, m."""
    corners = np.array(line)
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
    count = max(2, int(np.ceil(run[-1] / STEP)))
    where = (np.arange(count) + 0.5) / count * run[-1]
    return np.column_stack([np.interp(where, run, corners[:, k]) for k in range(3)]), float(run[-1] / count)


def _holders(points: Floats, bodies: Mapping[ElementKey, Sequence[Mesh]]) -> Floats:
    """Position in `bodies` of what holds each point, -1 for none; of bodies that overlap the first, (n,)."""
    holder = np.full(len(points), -1)
    order = np.argsort(points[:, 0], kind="stable")
    sorted_x = points[order, 0]
    for number, meshes in enumerate(bodies.values()):
        for mesh in meshes:
            low, high = mesh.box()
            near = order[np.searchsorted(sorted_x, low[0]) : np.searchsorted(sorted_x, high[0], "right")]
            near = near[holder[near] < 0]
            near = near[np.all((points[near] > low) & (points[near] < high), axis=1)]
            if len(near):
                holder[near[points_within(points[near], mesh)]] = number
    return holder


def _shares(numbers: range, item: Floats, length: Floats, held: Floats) -> dict[int, float]:
    """Part of the length of the lines `numbers` that lies in each body."""
    first, last = np.searchsorted(item, numbers.start), np.searchsorted(item, numbers.stop)
    total = float(length[first:last].sum())
    inside = held[first:last] >= 0
    if total <= 0.0 or not inside.any():
        return {}
    sums = np.bincount(held[first:last][inside], length[first:last][inside])
    return {int(body): float(sums[body]) / total for body in np.flatnonzero(sums)}


def _finding(model: ModelFacts, placed: Sequence[tuple[Bar, float, int]]) -> list[Finding]:
    """How much was placed, and how much of it is shared among several elements."""
    if not placed:
        return []
    mass = sum(bar.mass for bar, _, _ in placed)
    count = sum(bar.count for bar, _, _ in placed)
    shared = sum(bar.mass for bar, _, among in placed if among > 1)
    outside = sum(bar.mass * (1.0 - whole) for bar, whole, _ in placed)
    message = told(
        "{} ({}) {} assigned to no element; ask for reinforcement that is assigned to its element",
        counted(count, "bar or mat", "bars or mats"), Quantity(mass, "kg", ".0f"), "is" if count == 1 else "are",
    )  # fmt: skip
    assumed = told(
        "each belongs to the concrete in which its line lies; {} in several are shared by length, {} stick out of "
        "the concrete and are counted with it",
        Quantity(shared, "kg", ".0f"), Quantity(outside, "kg", ".0f"),
    )  # fmt: skip
    first = placed[0][0].global_id
    return [Finding("note", "bars-placed", model.model, first, message, assumed, mass, "kg")]
