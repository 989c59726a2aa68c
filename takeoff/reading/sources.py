"""Where a model comes from: a plain file or a zip, told by its content, checked before a parser sees it."""

import hashlib
import re
import stat
import zipfile
import zlib
from pathlib import Path, PurePosixPath
from typing import IO

from msgspec import Struct

from takeoff.findings import InputError
from takeoff.reading.copies import CHUNK, write_copy, written_encoding

HEAD_BYTES = 1 << 16
TAIL_BYTES = 1 << 16

UNPACKED_LIMIT = 4 << 30
"""Most bytes that a zipped model may unpack to: beyond any building model seen, and bounded for disks."""

RATIO_LIMIT = 400
"""Most times larger that a zipped model may become. IFC text packs 5 to 20 times, repetitive text 100."""

RATIO_FREE_BYTES = 16 << 20
"""Below this unpacked size the ratio doesn't matter."""

SCHEMAS = {"IFC2X3": "IFC2X3", "IFC4": "IFC4", "IFC4X3_ADD2": "IFC4X3_ADD2"}
"""Schemas that the parser knows, by the name in the file's header."""

CLOSE_SCHEMAS = (
    (re.compile(r"IFC2X3[ _](TC1|FINAL)"), "IFC2X3"),
    (re.compile(r"IFC4[ _](ADD1|ADD2|ADD2[ _]TC1|FINAL)"), "IFC4"),
    (re.compile(r"IFC4X3([ _](TC1|ADD1|FINAL))?"), "IFC4X3_ADD2"),
)
"""Names of the same schemas, corrected editions of them, with the name that the parser knows."""

_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_SCHEMA = re.compile(rb"FILE_SCHEMA\s*\(\s*\(\s*'([^']*)'", re.IGNORECASE)
_END = re.compile(rb"END-ISO-10303-21\s*;?")


class Source(Struct, frozen=True):
    """A model file that is ready to be parsed.

    `path` is a plain STEP file, the user's own or a copy in the scratch folder; `sha256` is of the file as
    given; `written_schema` is the name in the header, `schema` the one that it is read as; `encoding` is how
    letters beyond ASCII are written where they aren't as the standard wants them.
    """

    path: Path
    sha256: str
    schema: str
    written_schema: str
    encoding: str = ""


def open_source(path: Path, scratch: Path) -> Source:
    """Check the file at `path` and give the STEP file to parse; copies go into `scratch` (made if missing).

    Raises InputError with one line for what cannot be read: missing, a folder, no permission, empty, not IFC,
    cut off, an unknown schema, a zip with no model or with two, a zip that unpacks out of proportion.
    """
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; check the name") from None
    except PermissionError:
        raise InputError(f"{path}: no permission to read it; ask its owner or change its rights") from None
    except (OSError, ValueError) as fault:
        raise InputError(f"{path}: cannot be opened ({_words(fault)})") from None
    if stat.S_ISDIR(mode):
        raise InputError(f"{path}: is a folder; name a model file (.ifc or .ifczip)")
    if not stat.S_ISREG(mode):
        raise InputError(f"{path}: is not a plain file; name a model file (.ifc or .ifczip)")
    try:
        with path.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
            stream.seek(0)
            head = stream.read(HEAD_BYTES)
    except PermissionError:
        raise InputError(f"{path}: no permission to read it; ask its owner or change its rights") from None
    except OSError as fault:
        raise InputError(f"{path}: cannot be read ({_words(fault)})") from None
    if not head.strip(b"\0 \t\r\n"):
        raise InputError(f"{path}: is empty; export the model again")
    plain, label = path, str(path)
    if head.startswith(b"PK\x03\x04") or head.startswith(b"PK\x05\x06"):
        plain, label = _unpack(path, scratch, digest)
    return _checked(plain, label, scratch, digest)


def _words(fault: Exception) -> str:
    """The system's words for a fault, in one line."""
    return str(getattr(fault, "strerror", None) or fault).splitlines()[0].lower()


def _unpack(path: Path, scratch: Path, digest: str) -> tuple[Path, str]:
    """The one model inside a zip, written to the scratch folder under a name of our own."""
    try:
        with zipfile.ZipFile(path) as archive:
            members = [
                m
                for m in archive.infolist()
                if not m.is_dir()
                and PurePosixPath(m.filename.replace("\\", "/")).suffix.lower() in (".ifc", ".ifcxml", ".xml")
                and not PurePosixPath(m.filename.replace("\\", "/")).name.startswith("._")
            ]
            if not members:
                raise InputError(f"{path}: no .ifc file in the zip; zip exactly one model")
            if len(members) > 1:
                raise InputError(f"{path}: {len(members)} models in the zip; zip exactly one model")
            member = members[0]
            if member.flag_bits & 0x1:
                raise InputError(f"{path}: the zip has a password; zip the model without one")
            scratch.mkdir(parents=True, exist_ok=True)
            target = scratch / f"{digest[:32]}.ifc"
            with archive.open(member) as packed, target.open("wb") as out:
                _copy_bounded(path, packed, out, member.compress_size)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as fault:
        raise InputError(f"{path}: the zip is damaged ({_words(fault)}); copy or zip it again") from None
    except OSError as fault:
        raise InputError(f"{path}: cannot be unpacked into {scratch} ({_words(fault)})") from None
    return target, f"{path} (the model in the zip)"


def _copy_bounded(path: Path, packed: IO[bytes], out: IO[bytes], packed_size: int) -> None:
    """Copy what unpacks, counting the bytes that come and trusting no size that the zip declares."""
    done = 0
    limit = min(UNPACKED_LIMIT, max(RATIO_FREE_BYTES, RATIO_LIMIT * max(packed_size, 1)))
    while chunk := packed.read(CHUNK):
        done += len(chunk)
        if done > limit:
            raise InputError(
                f"{path}: the zip unpacks to more than {limit >> 20} MB, out of proportion for a model; "
                "unpack and check it by hand"
            )
        out.write(chunk)


def _checked(path: Path, label: str, scratch: Path, digest: str) -> Source:
    """Look at the head and the tail of a plain file and decide as what schema it is read."""
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
        size = stream.seek(0, 2)
        stream.seek(max(0, size - TAIL_BYTES))
        tail = stream.read()
    start = head.removeprefix(_BYTE_ORDER_MARK).lstrip()
    if not start:
        raise InputError(f"{label}: is empty; export the model again")
    if start.startswith(b"<"):
        if b"ifcxml" in head.lower() or b"iso_10303" in head.lower():
            raise InputError(
                f"{label}: is ifcXML, which the installed IFC library cannot read; export it as .ifc"
            )
        raise InputError(f"{label}: is not an IFC file (it looks like XML or HTML); export the model as .ifc")
    if not start.upper().startswith(b"ISO-10303-21"):
        raise InputError(
            f"{label}: is not an IFC file (no ISO-10303-21 at its beginning); export the model as .ifc"
        )
    if not _END.search(tail):
        raise InputError(f"{label}: is cut off (no END-ISO-10303-21 at its end); copy or export it again")
    found = _SCHEMA.search(head)
    if found is None:
        raise InputError(
            f"{label}: names no schema (no FILE_SCHEMA in its header); export it again as IFC4 or IFC2X3"
        )
    written = found.group(1).decode("latin-1").strip()
    name = SCHEMAS.get(written.upper()) or _close_schema(written)
    if not name:
        raise InputError(
            f"{label}: has the schema {written[:40]!r}, which is none of IFC2X3, IFC4, IFC4X3; export it again"
        )
    mark = len(head) - len(head.removeprefix(_BYTE_ORDER_MARK))
    encoding = written_encoding(path)
    if name != written.upper() or mark or encoding:
        target = scratch / f"{digest[:32]}-readable.ifc"
        write_copy(path, target, mark, found.span(1), name, encoding)
        path = target
    return Source(path, digest, name, written, encoding)


def _close_schema(written: str) -> str:
    """The schema that an edition's name stands for, empty for none."""
    return next((name for pattern, name in CLOSE_SCHEMAS if pattern.fullmatch(written.upper())), "")
