"""Names of files from outside, made safe to show, to store and to build folder names from."""

import hashlib
import os
import re
import unicodedata

NAME_LIMIT = 300
"""Longest name that is shown, in characters; the middle of a longer one is left out."""

_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")
# Device names that Windows does not let a file or folder have, with or without an ending.
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")


def escaped(text: str) -> str:
    """The text in one printable line: control, direction-changing and undecodable characters as escapes."""
    return text if text.isprintable() else "".join(c if c.isprintable() else _escape(c) for c in text)


def shown(text: str) -> str:
    """The text as `escaped` gives it, its middle left out where it is overlong."""
    safe = escaped(text)
    if len(safe) <= NAME_LIMIT:
        return safe
    half = (NAME_LIMIT - 5) // 2
    return f"{safe[:half]} ... {safe[-half:]}"


def is_plain(text: str) -> bool:
    """Whether the text is shown as it is: printable, not overlong, no start that a spreadsheet may calculate."""
    return shown(text) == text and not text.startswith(("=", "+", "-", "@"))


def name_key(kind: str, text: str) -> str:
    """A fixed-length key (64 hexadecimal digits) of a name in its system's own spelling."""
    return hashlib.sha256(kind.encode() + b":" + os.fsencode(text)).hexdigest()


def folder_name(text: str, key: str) -> str:
    """A name for an output folder: the readable part of `text`, and enough of its key to be its own."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    plain = _UNSAFE.sub("-", plain).strip("-._")[:60].rstrip("-._")
    if not plain or _RESERVED.fullmatch(plain):
        plain = f"model-{plain}" if plain else "model"
    return f"{plain}-{key[:8]}"


def _escape(character: str) -> str:
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
