"""Copies of a model file that the parser can read: the schema's name as it knows it, letters as the standard
writes them. Nothing else is changed, so that every STEP id stays."""

import codecs
import re
from pathlib import Path

CHUNK = 1 << 20

_LETTERS = re.compile("[^\x00-\x7f]+")


def written_encoding(path: Path) -> str:
    """How a file writes letters beyond ASCII: empty where it has none, as the standard wants it, else `utf-8`
    where all of it is that, else `cp1252` (Western European Windows)."""
    plain = True
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as source:
        try:
            while chunk := source.read(CHUNK):
                if plain and chunk.isascii():
                    continue
                plain = False
                decoder.decode(chunk)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "" if plain else "utf-8"


def write_copy(
    path: Path, target: Path, start: int, span: tuple[int, int], schema: str, encoding: str
) -> None:
    """Copy from the byte `start` on, `schema` in place of the bytes at `span`, and letters of `encoding` as
    the standard's escapes, which the parser reads; it drops bytes beyond ASCII without a word."""
    target.parent.mkdir(parents=True, exist_ok=True)
    decoder = codecs.getincrementaldecoder(encoding or "latin-1")(errors="replace")
    with path.open("rb") as source, target.open("wb") as out:
        source.seek(start)
        head = decoder.decode(source.read(span[0] - start))
        out.write(_LETTERS.sub(_escaped, head).encode("ascii"))
        out.write(schema.encode("ascii"))
        source.seek(span[1])
        while chunk := source.read(CHUNK):
            out.write(_LETTERS.sub(_escaped, decoder.decode(chunk)).encode("ascii"))
        out.write(_LETTERS.sub(_escaped, decoder.decode(b"", final=True)).encode("ascii"))


def _escaped(letters: re.Match[str]) -> str:
    """ISO 10303-21 escapes: four hexadecimal digits a letter, eight where a letter does not fit in four."""
    if max(letters[0]) > "\uffff":
        return "\\X4\\" + "".join(f"{ord(c):08X}" for c in letters[0]) + "\\X0\\"
    return "\\X2\\" + "".join(f"{ord(c):04X}" for c in letters[0]) + "\\X0\\"
