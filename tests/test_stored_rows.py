"""Rows of a sheet are read the same by the pattern for their plain form and by the XML parser."""

import io
import random
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import openpyxl
import pytest

from takeoff.findings import InputError
from takeoff.outputs.workbook.book import write_workbook
from takeoff.outputs.workbook.package import Package
from takeoff.outputs.workbook.previous.book import opened, read_previous
from takeoff.outputs.workbook.sealed_rows import cell_value
from takeoff.outputs.workbook.stored_rows import MAIN_NAMESPACE, StoredCell, plain_text, stored_rows
from tests.outputs_sample import RUN, sample_bill, sample_measurement

CONTENTS = (
    '<c r="A{row}" s="3"><v>1.25</v></c><c r="C{row}" t="s"><v>7</v></c>',
    '<c r="A{row}" t="inlineStr"><is><t xml:space="preserve"> a &amp; b &lt;c&gt; &#233;&#x20AC;&#128; </t></is></c>',
    '<c r="B{row}" s="1"/><c r="AB{row}" t="b"><v>1</v></c><c r="AC{row}" t="e"><v>#N/A</v></c>',
    '<c r="B{row}" t="n" /><c r="C{row}"><v /></c><c r="D{row}"><v></v></c>',
    '<c r="D{row}" t="str"><f>IF(A1&lt;2,"x","y")</f><v>x</v></c><c r="E{row}"><f aca="false">A1*2</f><v>2</v></c>',
    '<c r="A{row}" t="inlineStr"><is><r><rPr><b/></rPr><t>bold</t></r><r><t> and plain</t></r></is></c>',
    '<c r="A{row}"><f t="shared" ref="A{row}:A90" si="{row}">B{row}*2</f><v>4</v></c>'
    '<c r="C{row}"><f t="shared" si="{row}"/><v>8</v></c>',
    '<c r="A{row}"><f t="array" ref="A{row}">SUM(B1:B3*C1:C3)</f><v>4</v></c>',
    "<c><v>1</v></c><c><v>2</v></c>",
    '<c r="A{row}" t="inlineStr"><is><t>two\r\nlines</t></is></c>',
    '<c cm="1" r="A{row}"><v>5</v></c>',
    "",
)
"""Cells of a row: all forms that a part of a workbook may have them in."""
EXPECTED = {
    1: {"A": " a & b <c> é€\x80 "},
    5: {"A": "bold and plain"},
    6: {"A": "=B7*2", "C": "=D7*2"},
    7: {"A": "=SUM(B1:B3*C1:C3)"},
    9: {"A": "two\nlines"},
}


def sheet(rows: str, prefix: str = "") -> bytes:
    head = f'<?xml version="1.0" encoding="UTF-8"?>\n<worksheet xmlns="{MAIN_NAMESPACE}" xmlns:o="urn:other">'
    return (
        f"{head}{prefix}<dimension ref='A1'/><sheetData>{rows}</sheetData><pageMargins/></worksheet>".encode()
    )


def rows_of(content: bytes) -> list[tuple[int, list[tuple[object, ...]]]]:
    """All rows, character references resolved; of a formula's start tag only whether it is there."""
    return [
        (number, [(*cell[:3], bool(cell[3]), *map(plain_text, cell[4:])) for cell in cells])
        for number, cells in stored_rows(io.BytesIO(content))
    ]


def stored_cells(content: bytes) -> list[StoredCell]:
    return next(stored_rows(io.BytesIO(content)))[1]


def row(number: int, cells: str, more: str = "") -> str:
    return f'<row r="{number}" o:height="12"{more}>' + cells.replace("{row}", str(number)) + "</row>"


def test_the_pattern_reads_what_the_parser_reads() -> None:
    draw = random.Random(1)
    for _ in range(40):
        numbers = sorted(draw.sample(range(1, 200), 30))
        text = "".join(
            row(number, draw.choice(CONTENTS)) + draw.choice(("", '<row r="900"/>')) for number in numbers
        )
        # A comment in the head sends the whole sheet to the parser.
        assert rows_of(sheet(text)) == rows_of(sheet(text, "<!-- -->"))


def test_each_form_reads_as_what_it_says(tmp_path: Path) -> None:
    openpyxl.Workbook().save(tmp_path / "empty.xlsx")
    with Package(tmp_path / "empty.xlsx") as package:
        text = "".join(row(number, cells) for number, cells in enumerate(CONTENTS, 1))
        read = dict(stored_rows(io.BytesIO(sheet(text))))
        for place, cells in EXPECTED.items():
            found = {cell[0]: cell_value(package, cell, False) for cell in read[place + 1]}
            assert {letters: found[letters].formula or found[letters].value for letters in cells} == cells
        assert [cell[0] for cell in read[9]] == ["A", "B"]
    assert 12 not in read


def test_rows_across_blocks_and_rows_without_numbers() -> None:
    filling = "x" * 100_000
    cells = f'<c r="A{{row}}" t="inlineStr"><is><t>{filling}</t></is></c>'
    read = dict(stored_rows(io.BytesIO(sheet("".join(row(number, cells) for number in range(1, 21))))))
    assert list(read) == list(range(1, 21))
    assert all(cells[0][6] == filling for cells in read.values())
    bare = "<row/><row><c><v>1</v></c></row><row></row><row><c><v>2</v></c></row>"
    assert [number for number, _ in stored_rows(io.BytesIO(sheet(bare)))] == [2, 4]


@pytest.mark.parametrize(
    "content",
    [
        sheet(row(1, '<c r="A1"><v>1</c>')),
        sheet(row(1, CONTENTS[0])).partition(b"</sheetData>")[0],
        sheet(row(1, CONTENTS[0])).partition(b"</row>")[0],
    ],
)
def test_a_broken_sheet_is_refused(content: bytes) -> None:
    with pytest.raises((ElementTree.ParseError, ValueError)):
        rows_of(content)


def test_character_data_and_prefixes_are_read_by_the_parser() -> None:
    hidden = row(1, '<c r="A1" t="inlineStr"><is><t><![CDATA[<c r="B1"/></row>]]></t></is></c>')
    before = row(1, CONTENTS[0])
    (_, first), (number, second) = stored_rows(io.BytesIO(sheet(before + hidden.replace('r="1"', 'r="2"'))))
    assert first == stored_cells(sheet(before))
    assert (number, second[0][6]) == (2, '&lt;c r="B1"/&gt;&lt;/row&gt;')
    prefixed = sheet(row(1, CONTENTS[0])).decode()
    for name in ("worksheet", "sheetData", "row", "c", "v"):
        prefixed = prefixed.replace(f"<{name} ", f"<x:{name} ").replace(f"<{name}>", f"<x:{name}>")
        prefixed = prefixed.replace(f"</{name}>", f"</x:{name}>")
    prefixed = prefixed.replace("xmlns=", "xmlns:x=")
    assert rows_of(prefixed.encode()) == rows_of(sheet(row(1, CONTENTS[0])))


def test_a_damaged_bill_is_refused_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "bill.xlsx"
    write_workbook(path, sample_measurement(), sample_bill(sample_measurement()), RUN)
    with zipfile.ZipFile(path) as package, zipfile.ZipFile(tmp_path / "cut.xlsx", "w") as cut:
        for name in package.namelist():
            content = package.read(name)
            cut.writestr(name, content[: len(content) // 2] if name.endswith("sheet3.xml") else content)
    with pytest.raises(InputError, match="is no workbook"):
        read_previous(tmp_path / "cut.xlsx")
    with pytest.raises(InputError, match="cannot be read"), opened(tmp_path / "missing.xlsx"):
        pass
