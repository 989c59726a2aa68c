"""The items of a bill before they are priced: a bill with other rates has the same ones."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from msgspec import Struct

from takeoff.cache.columns import Columns, columns_of
from takeoff.cache.keys import digest_of, key_of
from takeoff.cache.store import open_store
from takeoff.settings import Settings

if TYPE_CHECKING:
    from takeoff.findings import Finding
    from takeoff.pricing.items import ItemList, SectionItems


class _Kept(Struct, frozen=True, eq=False):
    """The items, and the dimensions behind them by column."""

    sections: "tuple[SectionItems, ...]"
    dimensions: Columns | None
    findings: "tuple[Finding, ...]"


def items_once(run_key: str, settings: Settings, make: "Callable[[], ItemList]") -> "ItemList":
    """The items of the run that is kept under `run_key`, made by `make` where they are not kept yet.

    Besides the tables of the run they hang on its bill sections, units and arrangement. Nothing is kept of a run
    that is not kept itself (empty key).
    """
    from takeoff.pricing.items import ItemList

    store = open_store() if run_key and settings.cache else None
    if store is None:
        return make()
    key = key_of("items", run_key, digest_of(settings.file("sections")), settings.units, settings.arrange)
    kept = store.get(key)
    if isinstance(kept, _Kept):
        rows = kept.dimensions.rows() if kept.dimensions else ()
        return ItemList(kept.sections, rows, kept.findings)
    made = make()
    store.put(key, _Kept(made.sections, columns_of(made.dimensions), made.findings))
    return made
