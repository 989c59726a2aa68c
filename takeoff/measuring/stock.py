"""The stock of measuring: models, plans, orders and solids, which an alternative changes and measuring takes."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from takeoff.geometry.mesh import Mesh, volume
from takeoff.geometry.reshaping import grown_together
from takeoff.geometry.solids import Slice, SolidResult
from takeoff.measuring.orders import Order
from takeoff.measuring.plan import ElementPlan, PartPlan
from takeoff.measuring.site_terrain import ReadTerrain
from takeoff.reading.facts import ElementFacts, ModelFacts


class Stock(Struct, frozen=True, eq=False):
    """What measuring goes by: models, plans, orders, solids by the key of their order, and the terrain."""

    models: tuple[ModelFacts, ...]
    plans: tuple[ElementPlan, ...]
    orders: tuple[Order, ...]
    solids: Mapping[int, SolidResult]
    terrains: tuple[ReadTerrain, ...] = ()

    def is_lasting(self) -> bool:
        """Whether another run would come to the same: no crash or limit decided about a body or the terrain."""
        solids = all(result.lasting for result in self.solids.values())
        return solids and all(terrain.result.lasting for terrain in self.terrains)


class WholeBody(Struct, frozen=True, eq=False):
    """The concrete of an element in one piece: its main part, its solid, and its openings (m3 each)."""

    part: PartPlan
    solid: Slice
    openings: tuple[float, ...]


def whole_body(orders: Sequence[Order], solids: Mapping[int, SolidResult]) -> WholeBody | None:
    """All concrete of an element as one body, None where it has no solid. Raises BooleanFailed."""
    parts: list[PartPlan] = []
    pieces: list[Slice] = []
    openings: tuple[float, ...] = ()
    for order in orders:
        result = solids.get(order.request.key)
        for part, piece in zip(order.parts, result.slices if result else (), strict=False):
            if result is not None and piece is not None and part.method != "not-concrete":
                parts.append(part)
                pieces.append(piece)
                openings = openings or result.opening_volumes
    if not pieces:
        return None
    main = parts[max(range(len(pieces)), key=lambda i: pieces[i].net)]
    if len(pieces) == 1:
        return WholeBody(main, pieces[0], openings)
    mesh = grown_together([piece.mesh for piece in pieces])
    return WholeBody(main, Slice(sum(piece.gross for piece in pieces), volume(mesh), mesh), openings)


def concrete_meshes(
    orders: Iterable[Order], solids: Mapping[int, SolidResult]
) -> tuple[list[Mesh], list[int]]:
    """Meshes of all concrete parts, and the elements (positions) that they belong to."""
    meshes, owners = [], []
    for order in orders:
        result = solids.get(order.request.key)
        for part, piece in zip(order.parts, result.slices if result else (), strict=False):
            if piece is not None and part.method != "not-concrete":
                meshes.append(piece.mesh)
                owners.append(order.element)
    return meshes, owners


def kept_forms(
    orders: Sequence[Order], solids: Mapping[int, SolidResult], renumbered: Mapping[int, PartPlan]
) -> Iterator[tuple[PartPlan, Slice | None]]:
    """Parts that are no concrete (forms that stay) among the slices of an order that holds concrete too."""
    for order in orders:
        if all(part.method == "not-concrete" for part in order.parts):
            continue
        result = solids.get(order.request.key)
        for part, piece in zip(order.parts, result.slices if result else (), strict=False):
            if part.method == "not-concrete":
                yield renumbered[part.part], piece


def facts_left(facts: ElementFacts, method: bool, shape: bool) -> ElementFacts:
    """Facts that still hold: a required ratio is that of the base's method, declared figures of its shape."""
    return replace(
        facts, properties={} if method else facts.properties, declared=() if shape else facts.declared
    )
