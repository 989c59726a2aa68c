"""Files of new workbooks: what goes wrong with a disk is told as it is, and nothing half-written is left open."""

import io
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import xlsxwriter
from xlsxwriter.exceptions import FileCreateError


class _Packed(io.BytesIO):
    """Memory that stays open: after a failure the library lets go of it late, and complains where it is closed."""

    def close(self) -> None:
        """Nothing to do: the memory goes with the last who holds it."""


@contextmanager
def book_at(path: Path, options: Mapping[str, object]) -> Iterator[xlsxwriter.Workbook]:
    """A new workbook with the library's `options`, written to `path` when the block is left.

    It is packed in memory, a few megabytes also where it is long, since the library leaves a file that the disk
    has no room for open and complains of it at the end of the program. Raises OSError.
    """
    packed = _Packed()
    with TemporaryDirectory(prefix="takeoff-", ignore_cleanup_errors=True) as scratch:
        book = xlsxwriter.Workbook(packed, {**options, "tmpdir": scratch})
        yield book
        try:
            book.close()
        except FileCreateError as error:
            # The library wraps what the operating system said.
            (cause,) = error.args
            raise cause from None
    path.write_bytes(packed.getbuffer())
