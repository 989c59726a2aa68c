"""Tables of records laid out by column: written and read several times faster than record by record."""

from collections.abc import Iterable, Sequence
from operator import attrgetter
from typing import Any

from msgspec import Struct
from msgspec.structs import asdict, replace


class Columns(Struct, frozen=True):
    """Rows of one class of record: `values` has a tuple for each of its fields, in their order."""

    kind: type[Struct]
    count: int
    values: tuple[tuple[Any, ...], ...]

    def rows(self) -> tuple[Any, ...]:
        """The records again."""
        return tuple(map(self.kind, *self.values))


def changed(rows: Sequence[Any], **values: Sequence[Any]) -> tuple[Any, ...]:
    """Records of one class in which the named fields have other `values`, one for each record."""
    if not rows:
        return ()
    kind = type(rows[0])
    columns = [
        values[name] if name in values else map(attrgetter(name), rows) for name in kind.__struct_fields__
    ]
    return tuple(map(kind, *columns))


def packed(table: Any) -> Any:
    """A record with each field that is a tuple of records of one class laid out as `Columns`."""
    changes = {
        name: columns for name, value in asdict(table).items() if (columns := columns_of(value)) is not None
    }
    return replace(table, **changes)


def unpacked(table: Any) -> Any:
    """The opposite of `packed`."""
    changes = {name: value.rows() for name, value in asdict(table).items() if isinstance(value, Columns)}
    return replace(table, **changes)


def columns_of(rows: Any) -> Columns | None:
    """A tuple of records of one class with two fields or more as columns; None for anything else."""
    if not isinstance(rows, tuple) or not rows or not isinstance(rows[0], Struct):
        return None
    kind = type(rows[0])
    if len(kind.__struct_fields__) < 2 or any(type(row) is not kind for row in rows):
        return None
    return Columns(kind, len(rows), _turned(map(attrgetter(*kind.__struct_fields__), rows)))


def _turned(rows: Iterable[Sequence[Any]]) -> tuple[tuple[Any, ...], ...]:
    return tuple(zip(*rows, strict=True))
