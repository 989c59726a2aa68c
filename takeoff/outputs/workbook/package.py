"""A workbook as the package of parts that it is: its sheets, texts, number formats and comments.

A sheet is read once, formulas and stored values together. The general libraries do not give that: python-calamine has
no formulas at all, openpyxl reads a sheet once for each, at several times the cost.
"""

import posixpath
from collections.abc import Iterator
from contextlib import AbstractContextManager
from datetime import date, datetime, time, timedelta
from functools import cached_property
from pathlib import Path
from xml.etree import ElementTree
from zipfile import ZipFile

from openpyxl.styles.numbers import BUILTIN_FORMATS, is_date_format, is_timedelta_format
from openpyxl.utils.cell import coordinate_from_string
from openpyxl.utils.datetime import MAC_EPOCH, WINDOWS_EPOCH, from_excel, from_ISO8601

from takeoff.outputs.workbook.stored_rows import (
    INLINE,
    KIND,
    MAIN,
    STYLE,
    VALUE,
    StoredCell,
    StoredRow,
    plain_text,
    rich_text,
    stored_rows,
)

_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"

CellContent = str | int | float | bool | datetime | date | time | timedelta | None


class Package(AbstractContextManager["Package"]):
    """The workbook at `path`; `sheets` are its worksheets' parts by name, in their order.

    Raises OSError where the file cannot be read; BadZipFile, KeyError, ValueError or ParseError for what is no
    workbook.
    """

    def __init__(self, path: Path) -> None:
        self._archive = ZipFile(path)
        try:
            self._names = set(self._archive.namelist())
            self._book = self._parsed("xl/workbook.xml")
            targets = self._targets("xl/workbook.xml", "/worksheet")
            named = {sheet.get("name", ""): sheet.get(_LINK, "") for sheet in self._book.iter(f"{MAIN}sheet")}
            self.sheets = {name: targets[link] for name, link in named.items() if link in targets}
        except BaseException:
            self._archive.close()
            raise

    def __exit__(self, *fault: object) -> None:
        self._archive.close()

    def rows(self, sheet: str) -> Iterator[StoredRow]:
        """The rows of a sheet from the top, those without cells left out."""
        with self._archive.open(self.sheets[sheet]) as stream:
            yield from stored_rows(stream)

    def comments(self, sheet: str) -> dict[tuple[int, str], str]:
        """Texts of the comments at a sheet's cells, by row (from 1) and column letters."""
        texts: dict[tuple[int, str], str] = {}
        for target in self._targets(self.sheets[sheet], "/comments").values():
            for comment in self._parsed(target).iter(f"{MAIN}comment"):
                column, row = coordinate_from_string(comment.get("ref", "A1"))
                text = "".join(run.text or "" for run in comment.iter(f"{MAIN}t")).strip()
                if text:
                    texts[row, column] = text
        return texts

    def value(self, cell: StoredCell) -> CellContent:
        """What is stored in a cell. Raises ValueError or IndexError for what cannot stand in one."""
        kind, text = cell[KIND], cell[VALUE]
        if kind == "inlineStr":
            return plain_text(cell[INLINE])
        if not text:
            return None
        if kind in ("", "n"):
            number = float(text) if "." in text or "E" in text or "e" in text else int(text)
            return self._moment(number, self.format_of(cell)) if cell[STYLE] in self._dated else number
        if kind == "s":
            return self.texts[int(text)]
        if kind == "b":
            return bool(int(text))
        if kind == "d":
            return from_ISO8601(text)
        return plain_text(text)

    def format_of(self, cell: StoredCell) -> str:
        """The number format of a cell."""
        return self._formats[int(cell[STYLE] or 0)] if self._formats else "General"

    @cached_property
    def texts(self) -> list[str]:
        """Texts that cells share, by their number."""
        texts: list[str] = []
        for part in self._targets("xl/workbook.xml", "/sharedStrings").values():
            with self._archive.open(part) as stream:
                for _, element in ElementTree.iterparse(stream):
                    if element.tag == f"{MAIN}si":
                        # Programs mask an underscore that would begin a mask itself.
                        texts.append(rich_text(element).replace("x005F_", ""))
                        element.clear()
        return texts

    @cached_property
    def _formats(self) -> list[str]:
        """Number formats by style."""
        formats: list[str] = []
        for part in self._targets("xl/workbook.xml", "/styles").values():
            root = self._parsed(part)
            own = {one.get("numFmtId"): one.get("formatCode", "") for one in root.iter(f"{MAIN}numFmt")}
            for listed in root.iterfind(f"{MAIN}cellXfs/{MAIN}xf"):
                number = listed.get("numFmtId", "0")
                formats.append(own.get(number) or BUILTIN_FORMATS.get(int(number), "General"))
        return formats

    @cached_property
    def _dated(self) -> frozenset[str]:
        """Styles that show a number as a date or time."""
        dated = {str(style) for style, shown in enumerate(self._formats) if is_date_format(shown)}
        return frozenset(dated | ({""} if "0" in dated else set()))

    @cached_property
    def _epoch(self) -> datetime:
        properties = self._book.find(f"{MAIN}workbookPr")
        from_1904 = properties is not None and properties.get("date1904") in ("1", "true")
        return MAC_EPOCH if from_1904 else WINDOWS_EPOCH

    def _moment(self, number: float, shown: str) -> CellContent:
        try:
            return from_excel(number, self._epoch, timedelta=is_timedelta_format(shown))
        except (OverflowError, ValueError):
            return "#VALUE!"

    def _targets(self, part: str, kind: str) -> dict[str, str]:
        """Parts that `part` refers to, by the id of the relationship; `kind` is how its type ends."""
        folder, name = posixpath.split(part)
        relations = f"{folder}/_rels/{name}.rels"
        if relations not in self._names:
            return {}
        found = {
            entry.get("Id", ""): posixpath.normpath(
                posixpath.join("/", folder, entry.get("Target", ""))
            ).lstrip("/")
            for entry in self._parsed(relations)
            if entry.get("TargetMode") != "External" and entry.get("Type", "").endswith(kind)
        }
        return {link: target for link, target in found.items() if target in self._names}

    def _parsed(self, part: str) -> ElementTree.Element:
        return ElementTree.fromstring(self._archive.read(part))
