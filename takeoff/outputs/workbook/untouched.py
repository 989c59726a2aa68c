"""Whether a workbook that is there already may be replaced: not when somebody has worked in it."""

from pathlib import Path
from xml.etree import ElementTree
from zipfile import BadZipFile, ZipFile

from takeoff.findings import InputError

_CREATED = "{http://purl.org/dc/terms/}created"
_MODIFIED = "{http://purl.org/dc/terms/}modified"


def require_not_read(path: Path, *read: Path | None) -> None:
    """Raise InputError where `path`, which is to be written, is one of the files that are read."""
    for source in read:
        if source is not None and path.resolve() == source.resolve():
            raise InputError(
                f"{path}: is what the run reads; give --out another name, or --overwrite to replace it"
            )


def require_untouched(path: Path, cure: str = "give another name") -> None:
    """Raise InputError where a file at `path` was saved by a person since it was written, or is none of ours.

    `cure` says what else than replacing it can be done.

    A workbook states when it was made and when it was last saved (Open Packaging Conventions, core
    properties); programs that save it change the second.
    """
    if not path.is_file():
        return
    try:
        with ZipFile(path) as package:
            core = ElementTree.fromstring(package.read("docProps/core.xml"))
    except (BadZipFile, KeyError, ElementTree.ParseError, OSError) as error:
        raise InputError(
            f"{path}: is there already and is no workbook of takeoff; give another name, or --overwrite to replace it"
        ) from error
    created, modified = core.findtext(_CREATED), core.findtext(_MODIFIED)
    if not created or created != modified:
        raise InputError(
            f"{path}: somebody has worked in this workbook since it was written; {cure}, or --overwrite to replace it"
        )
