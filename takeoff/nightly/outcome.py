"""What came of one order, in a form that travels between processes and machines."""

import io
import zipfile
from pathlib import Path
from typing import Literal

from msgspec import Struct

from takeoff.findings import InputError
from takeoff.nightly.tables import Tables, read_tables
from takeoff.outputs.run_record import FILE_NAME
from takeoff.outputs.tables import TABLES as MEASURE_TABLES

BOOK = "bill.xlsx"
TABLES = "history.json"
MEASURED = (*(name for name, _, _ in MEASURE_TABLES), FILE_NAME)
"""The tables of `takeoff measure`, as a person may want them beside the bill."""

RESULT_LIMIT = 1 << 30
"""Most bytes that a result may come back as, packed and unpacked."""

State = Literal["measured", "nothing", "failed", "moved", "stopped", "refused"]


class Outcome(Struct, frozen=True):
    """`measured` with its packed result, or why not.

    `nothing`: the files hold no concrete. `failed`: the reason says what went wrong. `moved`: the content was
    not that of the order when it was read. `stopped`: the run ended first. `refused`: the machine has another
    program. `where` names the machine.
    """

    number: int
    state: State
    reason: str = ""
    packed: bytes = b""
    seconds: float = 0.0
    where: str = ""


class Result(Struct, frozen=True):
    """An unpacked result: the tables for the history, and the files for people by name."""

    tables: Tables
    files: dict[str, bytes]


def pack(folder: Path, target: Path) -> None:
    """Pack the files of a result in `folder` into `target`. Raises InputError when it grows out of bounds."""
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive:
        for name in (TABLES, BOOK, *MEASURED):
            archive.write(folder / name, name)
    if target.stat().st_size > RESULT_LIMIT:
        raise InputError("the result is larger than 1 GB; split the model")


def unpack(packed: bytes) -> Result:
    """Read a packed result, known names only. Raises InputError when it is damaged or out of bounds."""
    try:
        with zipfile.ZipFile(io.BytesIO(packed)) as archive:
            if sum(member.file_size for member in archive.infolist()) > 4 * RESULT_LIMIT:
                raise InputError("the result that came back is out of bounds; look at the model by hand")
            tables = read_tables(archive.read(TABLES).decode("utf-8"))
            return Result(tables, {name: archive.read(name) for name in (BOOK, *MEASURED)})
    except (zipfile.BadZipFile, KeyError, UnicodeDecodeError, OSError) as fault:
        raise InputError(f"the result that came back is damaged ({fault}); run again") from fault
