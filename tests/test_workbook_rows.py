"""Rows written in one piece stand in the file exactly as the library writes them cell by cell."""

import random
import re
import zipfile

import openpyxl
import pytest
import xlsxwriter

from takeoff.outputs.workbook.cells import Figure, Formula
from takeoff.outputs.workbook.columns import Column
from takeoff.outputs.workbook.sheet import Page, Sheet
from takeoff.outputs.workbook.styles import Styles
from takeoff.outputs.workbook.table import write_table

KINDS = ("text", "wrapped", "length", "count", "area", "text")

TEXTS = (
    "plain",
    " leads",
    "trails ",
    "a & b < c > d",
    'quoted "so"',
    "=1+1",
    "+49",
    "@home",
    "two\nlines",
    "_x0041_",
    "bell\x07",
    "\ufffe",
    "Wand 墙 😀",
    "1",
    "",
)
FIGURES = (0, 1, True, 1.0, -0.5, 1e-17, 12345678.987654321, 1 / 3, 2**60, float("nan"), float("inf"), None)


def rows():
    """Rows of all that a cell can hold, many of them alike."""
    chance = random.Random(7)
    formulas = (Formula("=ROUND(PRODUCT(A1:B1),3)", 2.5), Formula("=SUM(Bill!A:A)", float("nan")))
    made = []
    for _ in range(200):
        cells = [chance.choice(TEXTS if kind in ("text", "wrapped") else FIGURES) for kind in KINDS]
        if chance.random() < 0.4:
            cells[chance.randrange(6)] = chance.choice(formulas)
        if chance.random() < 0.4:
            cells[4] = Figure(chance.choice([*formulas, 3.25, None]), chance.choice(["volume", "mass"]))
        made.append(cells)
    return made


def written(path, whole):
    """The rows of a sheet written as `whole` rows or cell by cell, as they stand in the file."""
    with xlsxwriter.Workbook(str(path), {"constant_memory": True}) as book:
        styles = Styles(book)
        for kind in ("text", "wrapped", "length", "count", "area", "volume", "mass"):
            styles.cell(kind)._get_xf_index()
            styles.cell(kind, quote_prefix=True)._get_xf_index()
        styles.seal._get_xf_index()
        sheet = Sheet(book, styles, "Sheet")
        sheet.seal_column = len(KINDS)
        writer = sheet.rows(KINDS, "row")
        if whole:
            writer.write(0, rows(), [None if row % 3 else 40 for row in range(len(rows()))])
        for row, values in enumerate([] if whole else rows()):
            if row % 3 == 0:
                sheet.raw.set_row(row, 40)
            sheet.tell(row, "row")
            for column, (value, kind) in enumerate(zip(values, KINDS, strict=True)):
                if isinstance(value, Figure):
                    sheet.put(row, column, value.value, value.kind)
                else:
                    sheet.put(row, column, value, kind)
        sheet.seal()
    with zipfile.ZipFile(path) as archive:
        content = archive.read("xl/worksheets/sheet1.xml").decode()
    return re.findall(r"<dimension.*?>|<row .*?</row>", content, re.DOTALL)


def test_whole_rows_equal_cells_one_by_one(tmp_path):
    whole, single = written(tmp_path / "whole.xlsx", True), written(tmp_path / "single.xlsx", False)
    assert len(whole) == 201
    assert whole == single


@pytest.mark.parametrize("text", ["<r>x</r>", "<r>&</r>", "<r><t>a</t></r>"])
def test_text_like_the_librarys_own_mark_up_stays_text(tmp_path, text):
    with xlsxwriter.Workbook(str(tmp_path / "book.xlsx"), {"constant_memory": True}) as book:
        sheet = Sheet(book, Styles(book), "Sheet")
        page = Page("title", "origin", "a4")
        sheet.put(0, 9, text)
        write_table(sheet, page, text, "", [Column("A")], [[text]], "")
    cells = openpyxl.load_workbook(tmp_path / "book.xlsx")["Sheet"]
    assert [cells["A1"].value, cells["J1"].value, cells["A5"].value] == [text] * 3
