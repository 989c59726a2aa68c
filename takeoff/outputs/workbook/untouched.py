"""Whether a bill that is there already may be replaced: not when somebody has worked in it."""

from pathlib import Path
from xml.etree import ElementTree
from zipfile import BadZipFile, ZipFile

from takeoff.findings import InputError

_CREATED = "{http://purl.org/dc/terms/}created"
_MODIFIED = "{http://purl.org/dc/terms/}modified"


def require_untouched(path: Path) -> None:
    """Raise InputError where a file at `path` was saved by a person since it was written, or is none of ours.

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
            f"{path}: is there already and is no bill; give another name, or --overwrite to replace it"
        ) from error
    created, modified = core.findtext(_CREATED), core.findtext(_MODIFIED)
    if not created or created != modified:
        raise InputError(
            f"{path}: somebody has worked in this bill since it was written; give it as --previous and write to "
            "another name, or --overwrite to replace it"
        )
