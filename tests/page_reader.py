"""Reads a page back as a browser does: its data unpacked, its elements listed."""

import base64
import gzip
import json
from html.parser import HTMLParser
from typing import Any

import numpy as np


class Elements(HTMLParser):
    """All start tags with their attributes, and the text of each script by id or place."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: dict[str, str] = {}
        self.words: list[str] = []
        self._script: str | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attributes)))
        self._script = (dict(attributes).get("id") or str(len(self.scripts))) if tag == "script" else None

    def handle_data(self, data: str) -> None:
        if self._script is not None:
            self.scripts[self._script] = self.scripts.get(self._script, "") + data
        else:
            self.words.append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag == "script":
            self._script = None


def page_data(text: str) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """The tables and the arrays of a page."""
    scripts = Elements(text).scripts
    content = json.loads(gzip.decompress(base64.b64decode(scripts["content"])))
    buffer = gzip.decompress(base64.b64decode(scripts["geometry"]))
    kinds = {"Uint8Array": "<u1", "Uint16Array": "<u2", "Uint32Array": "<u4", "Float32Array": "<f4"}
    arrays = {
        name: np.frombuffer(buffer, kinds[kind], length, offset)
        for name, (kind, offset, length) in content["geometry"].items()
    }
    return content, arrays


def values(column: Any) -> list[Any]:
    """A column as a plain list."""
    if isinstance(column, list):
        return column
    return [column["words"][place] for place in column["index"]]
