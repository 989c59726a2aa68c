"""Files of new workbooks: what goes wrong with a disk is told as it is, and nothing half-written is left open."""

import io
import os
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

import xlsxwriter
from xlsxwriter.exceptions import FileCreateError
from xlsxwriter.packager import Packager

from takeoff.scratch import scratch_folder

LEVEL = 3
"""How hard the parts are packed: half the time of the usual 6, and a tenth more bytes."""

_MOMENT = time.mktime((1980, 1, 31, 0, 0, 0, 0, 0, -1))
"""The time of every part, so that equal bills are equal files but for their properties."""


class _Packed(io.BytesIO):
    """Memory that stays open: after a failure the library lets go of it late, and complains where it is closed."""

    def close(self) -> None:
        """Nothing to do: the memory goes with the last who holds it."""


class _Packager(Packager):
    """Packs the parts of a book by itself: the library has no say in how hard."""

    def __init__(self, packed: io.BytesIO) -> None:
        super().__init__()
        self._packed = packed

    def _create_package(self) -> list[tuple[str, str, bool]]:
        with ZipFile(self._packed, "w") as package:
            for file, name, _ in super()._create_package():
                os.utime(file, (_MOMENT, _MOMENT))
                package.write(file, name, ZIP_DEFLATED, LEVEL)
                os.unlink(file)
        return []


class _Book(xlsxwriter.Workbook):
    """A workbook of which `packed` holds the package when it is closed."""

    def __init__(self, options: Mapping[str, object]) -> None:
        # The library itself packs nothing.
        super().__init__(_Packed(), options)
        self.packed = _Packed()

    def _get_packager(self) -> Packager:
        return _Packager(self.packed)


@contextmanager
def book_at(path: Path, options: Mapping[str, object]) -> Iterator[xlsxwriter.Workbook]:
    """A new workbook with the library's `options`, written to `path` when the block is left.

    It is packed in memory, a few megabytes also where it is long, since the library leaves a file that the disk
    has no room for open and complains of it at the end of the program. Raises OSError.
    """
    with scratch_folder("book") as scratch:
        book = _Book({**options, "tmpdir": str(scratch)})
        yield book
        try:
            book.close()
        except FileCreateError as error:
            # The library wraps what the operating system said.
            (cause,) = error.args
            raise cause from None
    path.write_bytes(book.packed.getbuffer())
