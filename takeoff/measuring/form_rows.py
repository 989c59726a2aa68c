"""Rows of formwork of one body: pieces of its faces that are alike become one row."""

from collections.abc import Sequence

from msgspec import Struct

from takeoff.measuring.bodies import Body
from takeoff.measuring.face_pieces import Piece
from takeoff.measuring.finishes import FinishRule, finish_class
from takeoff.measuring.records import FormworkRow


class _Alike(Struct, frozen=True):
    """What pieces of one row have in common; `measure` is what the convention counts, `area` or `length`."""

    category: str
    shape: str
    band: str
    height_band: str
    place: str
    radius: float | None
    finish: str
    measure: str


class _Sum(Struct):
    """Totals of the pieces of a row: m2 and m; height (of `propped` m2), slope and depth weighted by area."""

    area: float = 0.0
    length: float = 0.0
    height: float = 0.0
    propped: float = 0.0
    slope: float = 0.0
    depth: float = 0.0


class FormRows:
    """The rows of a body, gathered piece by piece."""

    def __init__(self, body: Body, finishes: Sequence[FinishRule]) -> None:
        """`finishes` are the rules that fit the body."""
        self._body, self._finishes = body, finishes
        self._sums: dict[_Alike, _Sum] = {}

    def add(
        self,
        piece: Piece,
        category: str,
        shape: str,
        height_band: str,
        place: str,
        radius: float | None,
        measure: str,
        slope: float,
    ) -> None:
        """Add a piece of a face that slopes by `slope` degrees."""
        finish = finish_class(self._finishes, category)
        alike = _Alike(category, shape, piece.band, height_band, place, radius, finish, measure)
        total = self._sums.setdefault(alike, _Sum())
        total.area += piece.area
        total.length += piece.length
        total.slope += slope * piece.area
        total.depth += piece.depth * piece.area
        if piece.height is not None:
            total.height += piece.height * piece.area
            total.propped += piece.area

    def made(self) -> tuple[FormworkRow, ...]:
        """The rows, in the order in which their first pieces came."""
        body = self._body
        return tuple(
            FormworkRow(
                *body.key,
                body.role,
                body.storey,
                alike.category,
                alike.shape,
                alike.band,
                total.height / total.propped if total.propped else None,
                total.area,
                total.length if total.length else None,
                alike.height_band,
                alike.place,
                total.slope / total.area,
                alike.radius,
                alike.finish,
                total.depth / total.area if total.depth else None,
                alike.measure,
            )
            for alike, total in self._sums.items()
        )
