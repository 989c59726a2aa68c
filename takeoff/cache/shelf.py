"""What a run keeps of each model: its facts, and its solids by what was asked.

Facts hang on the file's content and the model's name, solids on the content, the place in a common system and the
request. Neither hangs on rates, conventions or allowances, so a change of those reads no geometry again.
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

from takeoff.cache.columns import packed, unpacked
from takeoff.cache.keys import key_of
from takeoff.cache.store import Store

if TYPE_CHECKING:
    from takeoff.geometry.solids import SolidRequest, SolidResult
    from takeoff.geometry.terrain_requests import TerrainResult
    from takeoff.reading.facts import ModelFacts


class KeptSolids(Struct, frozen=True, eq=False):
    """Solids of one model by request; their meshes are relative to `origin` (3 numbers, m)."""

    origin: tuple[float, float, float]
    results: "Mapping[tuple[Any, ...], SolidResult]"


class Shelf:
    """Facts and solids of models in a store; without a store nothing is found and nothing is kept."""

    def __init__(self, store: Store | None) -> None:
        self.store = store

    def facts(self, digest: str, name: str) -> "ModelFacts | None":
        """Facts of the model with this content under this name."""
        kept = None if self.store is None else self.store.get(key_of("facts", digest, name))
        return None if kept is None else unpacked(kept)

    def keep_facts(self, facts: "ModelFacts") -> None:
        """Keep the facts of a model."""
        if self.store is not None:
            self.store.put(key_of("facts", facts.sha256, facts.model), packed(facts))

    def solids(self, digest: str, transform: Any) -> KeptSolids | None:
        """All solids that were kept of a model in this place; `transform` (4, 4) or None."""
        return None if self.store is None else self.store.get(_solids_key(digest, transform))

    def terrains(
        self, digest: str, transform: Any, products: "Sequence[int]", origin: Any
    ) -> "list[TerrainResult] | None":
        """What was read of these products of a model as terrain, relative to this origin (3,)."""
        if self.store is None:
            return None
        kept: list[TerrainResult] | None = self.store.get(_terrain_key(digest, transform, products, origin))
        return kept

    def keep_terrains(
        self,
        digest: str,
        transform: Any,
        products: "Sequence[int]",
        origin: Any,
        results: "list[TerrainResult]",
    ) -> None:
        """Keep what was read as terrain, unless it might be read otherwise the next time."""
        if self.store is not None and all(result.lasting for result in results):
            self.store.put(_terrain_key(digest, transform, products, origin), results)

    def keep_solids(
        self,
        digest: str,
        transform: Any,
        origin: Any,
        requests: "Sequence[SolidRequest]",
        results: "Mapping[int, SolidResult]",
    ) -> None:
        """Keep the results of requests that would come out the same again, in place of what was kept before."""
        if self.store is None:
            return
        lasting = {
            question(request): results[request.key] for request in requests if results[request.key].lasting
        }
        self.store.put(_solids_key(digest, transform), KeptSolids(tuple(origin.tolist()), lasting))


def question(request: "SolidRequest") -> tuple[Any, ...]:
    """What a request asks, whatever its number."""
    return request.body, request.openings, request.slicing, request.hint


def shifted(result: "SolidResult", key: int, shift: Any) -> "SolidResult":
    """A kept result as the answer to request `key`, its meshes shifted by (3,) metres."""
    if not shift.any():
        return replace(result, key=key)
    slices = tuple(
        None if part is None else replace(part, mesh=part.mesh.moved(shift)) for part in result.slices
    )
    return replace(result, key=key, slices=slices)


def _solids_key(digest: str, transform: Any) -> str:
    return key_of("solids", digest, None if transform is None else transform.tolist())


def _terrain_key(digest: str, transform: Any, products: "Sequence[int]", origin: Any) -> str:
    place = None if transform is None else transform.tolist()
    return key_of("terrain", digest, place, list(products), origin.tolist())
