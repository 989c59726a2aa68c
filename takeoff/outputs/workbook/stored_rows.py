"""Rows of a sheet as its part in the package stores them, not yet interpreted.

The bill of a large building has millions of cells, and a parser that makes an element of each takes most of the time of
reading it back. Rows in the plain form in which programs write them are therefore taken apart by a pattern. Whatever is
not of that form goes through the XML parser: a row whose cells the pattern does not all know, and a whole sheet with
another encoding, prefixes, comments or character data sections.
"""

import re
from collections.abc import Iterable, Iterator
from functools import lru_cache
from itertools import chain
from typing import IO, Any
from xml.etree import ElementTree
from xml.sax.saxutils import escape

from openpyxl.formula.translate import Translator
from openpyxl.utils import column_index_from_string, get_column_letter

MAIN_NAMESPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
MAIN = f"{{{MAIN_NAMESPACE}}}"
"""The namespace of worksheets, texts and styles (ISO/IEC 29500-4, transitional)."""
_ROW, _CELL_ELEMENT, _VALUE, _FORMULA = (f"{MAIN}{name}" for name in ("row", "c", "v", "f"))
_INLINE, _TEXT, _RUN = (f"{MAIN}{name}" for name in ("is", "t", "r"))

_BLOCK = 1 << 18
_PLAIN_HEAD = re.compile(
    rf"""(?:<\?xml[^<>]*encoding=["'](?i:utf-8)["'][^<>]*\?>)?\s*<worksheet\s[^<>]*xmlns="{MAIN_NAMESPACE}"[^<>]*>"""
)
_NUMBER = re.compile(r'\sr="([0-9]+)"')
_CELL = re.compile(
    r'<c r="([A-Z]{1,3})[0-9]+"(?: s="([0-9]+)")?(?: t="([A-Za-z]+)")?'
    r"(?: ?/>|>(?:(<f(?: [^<>]*)?>)(?:([^<]*)</f>)?)?"
    r'(?:<v>([^<]*)</v>|<v ?/>|<is><t(?: xml:space="preserve")?>([^<]*)</t></is>)?</c>)'
)
_SHARED = re.compile(r'(?=.*\st="shared").*\ssi="([0-9]+)"')
_REFERENCE = re.compile(r"&(?:#x([0-9A-Fa-f]+)|#([0-9]+)|(\w+));")
_NAMED = {"lt": "<", "gt": ">", "amp": "&", "quot": '"', "apos": "'"}

StoredCell = tuple[str, str, str, str, str, str, str]
"""Column letters; style and kind (attributes s and t); start tag of the formula, formula; value; inline text.

Each as it stands in the XML, character references and all, and empty where it is not there.
"""
LETTERS, STYLE, KIND, FORMULA_TAG, FORMULA, VALUE, INLINE = range(7)
StoredRow = tuple[int, list[StoredCell]]
"""Number of the row from 1, its cells from the left."""
_Shared = dict[str, tuple[str, str]]
"""Formulas that cells share, and the place of the first of them, by their number."""


def stored_rows(stream: IO[bytes]) -> Iterator[StoredRow]:
    """Rows that have cells, from the top. Raises ParseError or ValueError for what is no sheet."""
    head = b""
    while b"<sheetData" not in head and (block := stream.read(_BLOCK)):
        head += block
    start, opened, rest = head.partition(b"<sheetData>")
    sheet = _PLAIN_HEAD.match(start.decode("utf-8", "replace").lstrip("\ufeff"))
    shared: _Shared = {}
    left = iter(lambda: stream.read(_BLOCK), b"")
    if sheet is None or not opened or b"<!" in start:
        yield from _all_parsed(chain([head], left), shared)
        return
    begin = sheet[0].encode() + opened
    number = 0
    while True:
        if b"<!" in rest:
            yield from _all_parsed(chain([begin, rest], left), shared, number)
            return
        *rows, rest = rest.split(b"</row>")
        for row in rows:
            found = _plain_row(row)
            again = (begin, row, b"</row></sheetData></worksheet>")
            for number, cells in [found] if found else _parsed_rows(again, number):  # noqa: B020
                if cells:
                    yield number, _own_formulas(cells, number, shared) if b' t="shared"' in row else cells
        if b"</sheetData>" in rest:
            return
        block = next(left, b"")
        if not block:
            raise ValueError("the sheet is cut off")
        rest += block


def _all_parsed(blocks: Iterable[bytes], shared: _Shared, before: int = 0) -> Iterator[StoredRow]:
    for number, cells in _parsed_rows(blocks, before):
        if cells:
            yield number, _own_formulas(cells, number, shared)


@lru_cache(maxsize=1 << 12)
def column_of(letters: str) -> int:
    """The column, from 0, that letters name. Raises ValueError where they name none."""
    return column_index_from_string(letters) - 1


@lru_cache(maxsize=1 << 12)
def letters_of(column: int) -> str:
    """The letters of a column from 0."""
    return get_column_letter(column + 1)


def plain_text(text: str) -> str:
    """Text of the XML with its character references resolved."""
    return _REFERENCE.sub(_character, text) if "&" in text else text


def rich_text(element: ElementTree.Element) -> str:
    """The text of an inline or shared string: the plain one, or its runs joined; readings beside it left out."""
    if len(element) == 1 and element[0].tag == _TEXT:
        return element[0].text or ""
    found = []
    for child in element:
        text = child if child.tag == _TEXT else child.find(_TEXT) if child.tag == _RUN else None
        if text is not None and text.text:
            found.append(text.text)
    return "".join(found)


def _plain_row(row: bytes) -> StoredRow | None:
    """A row in the plain form, without its end tag; None for any other."""
    text = row.decode()
    begin = text.rfind("<row")
    end = text.find(">", begin)
    number = _NUMBER.search(text, begin, end)
    if number is None:
        return None
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    cells = _CELL.findall(text, end)
    return (int(number[1]), cells) if len(cells) == text.count("<c", end) else None


def _parsed_rows(blocks: Iterable[bytes], before: int = 0) -> Iterator[StoredRow]:
    """Rows of any sheet, also those without cells; a row that has no number follows the one before it."""
    # The stubs know no kind of event by its name.
    parser: Any = ElementTree.XMLPullParser(["end"])
    number = before
    for block in chain(blocks, [None]):
        if block is None:
            parser.close()
        else:
            parser.feed(block)
        for _, row in parser.read_events():
            if row.tag == _ROW:
                number = int(float(row.get("r", number + 1)))
                yield number, _parsed_cells(row)
                row.clear()


def _parsed_cells(row: ElementTree.Element) -> list[StoredCell]:
    cells: list[StoredCell] = []
    column = -1
    for cell in row.iterfind(_CELL_ELEMENT):
        place = cell.get("r")
        column = column + 1 if place is None else column_of(place.rstrip("0123456789"))
        formula, value, inline = (cell.find(name) for name in (_FORMULA, _VALUE, _INLINE))
        tag = ""
        if formula is not None:
            is_shared = formula.get("t") == "shared"
            tag = f'<f t="shared" si="{formula.get("si", "")}">' if is_shared else "<f>"
        cells.append(
            (
                letters_of(column),
                cell.get("s", ""),
                cell.get("t", ""),
                tag,
                "" if formula is None else escape(formula.text or ""),
                "" if value is None else escape(value.text or ""),
                "" if inline is None else escape(rich_text(inline)),
            )
        )
    return cells


def _own_formulas(cells: list[StoredCell], number: int, shared: _Shared) -> list[StoredCell]:
    """The cells with formulas of their own: one that cells share is stored with the first, shifted for the others."""
    own: list[StoredCell] = []
    for cell in cells:
        letters, style, kind, tag, formula, value, inline = cell
        found = _SHARED.match(tag)
        if found is not None:
            place = f"{letters}{number}"
            if found[1] not in shared:
                shared[found[1]] = plain_text(formula), place
            else:
                first, origin = shared[found[1]]
                formula = escape(Translator(f"={first}", origin).translate_formula(place)[1:])
        own.append((letters, style, kind, tag, formula, value, inline))
    return own


def _character(reference: re.Match[str]) -> str:
    hexadecimal, decimal, name = reference.groups()
    if name:
        return _NAMED[name]
    return chr(int(hexadecimal, 16) if hexadecimal else int(decimal))
