"""Comments that people attach to cells, read from the package itself: the streaming reader leaves them out."""

import posixpath
from pathlib import Path
from xml.etree import ElementTree
from zipfile import ZipFile

from openpyxl.utils.cell import coordinate_from_string

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def read_comments(path: Path) -> dict[str, dict[tuple[int, str], str]]:
    """Texts of comments by sheet, then by row (from 1) and column letters."""
    found: dict[str, dict[tuple[int, str], str]] = {}
    with ZipFile(path) as package:
        names = set(package.namelist())
        targets = _targets(package, "xl/workbook.xml", names)
        for sheet in _parsed(package, "xl/workbook.xml").iter(f"{_MAIN}sheet"):
            part = targets.get(sheet.get(_LINK, ""), "")
            for target in _targets(package, part, names, "/comments").values():
                if target in names:
                    found[sheet.get("name", "")] = _texts(_parsed(package, target))
    return found


def _texts(root: ElementTree.Element) -> dict[tuple[int, str], str]:
    texts: dict[tuple[int, str], str] = {}
    for comment in root.iter(f"{_MAIN}comment"):
        column, row = coordinate_from_string(comment.get("ref", "A1"))
        text = "".join(run.text or "" for run in comment.iter(f"{_MAIN}t")).strip()
        if text:
            texts[row, column] = text
    return texts


def _targets(package: ZipFile, part: str, names: set[str], kind: str = "") -> dict[str, str]:
    """Parts that `part` refers to, by the id of the relationship; `kind` is how its type ends."""
    folder, name = posixpath.split(part)
    relations = f"{folder}/_rels/{name}.rels"
    if not part or relations not in names:
        return {}
    return {
        entry.get("Id", ""): posixpath.normpath(posixpath.join("/", folder, entry.get("Target", ""))).lstrip(
            "/"
        )
        for entry in _parsed(package, relations)
        if entry.get("TargetMode") != "External" and entry.get("Type", "").endswith(kind)
    }


def _parsed(package: ZipFile, part: str) -> ElementTree.Element:
    return ElementTree.fromstring(package.read(part))
