"""What was typed where a new bill has no cell for it: kept with the place where it stood."""

from collections.abc import Callable, Iterator, Sequence

from takeoff.outputs.workbook.sealed_rows import SheetRow
from takeoff.pricing.typed import KeptText

Comments = dict[str, dict[tuple[int, str], str]]
"""Texts of comments by sheet, then by row (from 1) and column letters."""


class KeptTexts:
    """Gathers texts to keep, sheet by sheet; comments are given out once."""

    def __init__(self, comments: Comments) -> None:
        self.texts: list[KeptText] = []
        self._comments: dict[str, dict[int, list[str]]] = {}
        for sheet, noted in comments.items():
            rows = self._comments.setdefault(sheet, {})
            for (row, _), text in noted.items():
                rows.setdefault(row, []).append(text)

    def keep(self, sheet: str, place: str, heading: str, text: str) -> None:
        """Keep a text, if it is one."""
        if text:
            self.texts.append(KeptText(sheet, place, heading, text))

    def comments(self, sheet: str, row: int) -> list[str]:
        """Comments at the cells of a row; each is read once."""
        return self._comments.get(sheet, {}).pop(row, [])

    def row(self, row: SheetRow, sheet: str, place: Callable[[SheetRow], str]) -> None:
        """Keep what was typed into a row that is written anew, or a row that a person wrote there."""
        if row.seal is None:
            told = [cell for cell in (*row.cells.values(), *row.more.values()) if not cell.is_blank]
            if told:
                words = "; ".join(cell.text for cell in told)
                self.keep(sheet, f"row {row.number}", "row written by hand", words)
        else:
            for name in sorted(row.typed):
                self.keep(sheet, place(row), name, row.cell(name).text or "(emptied)")
            for name, cell in row.more.items():
                self.keep(sheet, place(row), name, cell.text)
        for text in self.comments(sheet, row.number):
            self.keep(sheet, place(row), "comment", text)

    def rows(self, sheet: str, rows: Iterator[SheetRow]) -> None:
        """Keep what was typed into a table that is written anew."""
        for row in rows:
            self.row(row, sheet, record_place)


def more_texts(row: SheetRow) -> list[str]:
    """What a person wrote into columns of their own beside a row."""
    return [f"{name}: {cell.text}" if len(name) > 2 else cell.text for name, cell in row.more.items()]


def record_place(row: SheetRow) -> str:
    """What identifies a row of a table: its element, else what stands in its first cells."""
    return first_texts(
        row,
        [row.cell(name).text for name in ("GlobalId", "Element (GlobalId)", "Part", "Mark")],
        [cell.text for cell in list(row.cells.values())[:3]],
    )


def first_texts(row: SheetRow, *choices: Sequence[str]) -> str:
    """The first of the choices with a text in it, joined; the row's number where there is none."""
    joined = (", ".join(filter(None, choice)) for choice in choices)
    return next(filter(None, joined), f"row {row.number}")
