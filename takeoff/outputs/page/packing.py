"""Data packed to stand inside a page: compressed, in letters that cannot end a script element."""

import base64
import gzip
import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

_KINDS = {"uint8": "Uint8Array", "uint16": "Uint16Array", "uint32": "Uint32Array", "float32": "Float32Array",
          "int32": "Int32Array"}  # fmt: skip
"""The page's name of each kind of array."""


def packed(content: bytes) -> str:
    """The bytes compressed (gzip, always alike) as base64 text."""
    return base64.b64encode(gzip.compress(content, compresslevel=9, mtime=0)).decode("ascii")


def packed_json(value: Any) -> str:
    """A value as compressed JSON. Raises ValueError for a number that JSON does not have."""
    return packed(json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode())


def packed_arrays(arrays: Mapping[str, NDArray[Any]]) -> tuple[dict[str, Any], str]:
    """The arrays one behind another, little-endian, and where each lies: {name: [kind, offset, length]}."""
    where, pieces, offset = {}, [], 0
    # the widest first, so that each begins at a multiple of its own width
    for name, array in sorted(arrays.items(), key=lambda entry: -entry[1].itemsize):
        content = np.ascontiguousarray(array, dtype=array.dtype.newbyteorder("<")).tobytes()
        where[name] = [_KINDS[array.dtype.name], offset, array.size]
        pieces.append(content)
        offset += len(content)
    return where, packed(b"".join(pieces))


def column(values: Sequence[Any]) -> Any:
    """A column of a table: texts as {"words": distinct texts, "index": place of each}, numbers to four decimals."""
    if any(isinstance(value, str) for value in values):
        places: dict[str, int] = {}
        index = [places.setdefault(value or "", len(places)) for value in values]
        return {"words": [clean(word) for word in places], "index": index}
    return [round(value, 4) if isinstance(value, float) else value for value in values]


def clean(text: str) -> str:
    """The text without lone surrogates, which no encoding of a page can carry."""
    return text.encode("utf-8", errors="replace").decode("utf-8")
