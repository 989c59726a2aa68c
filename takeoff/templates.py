"""Where the shipped data files are: beside the package in a checkout, inside it in a wheel."""

from pathlib import Path

from takeoff.findings import InputError

_INSTALLED = Path(__file__).parent / "_templates"
_CHECKOUT = Path(__file__).parent.parent / "templates"


def template_folder() -> Path:
    """The folder that holds the shipped data files."""
    return _INSTALLED if _INSTALLED.is_dir() else _CHECKOUT


def template_path(name: str) -> Path:
    """Path of one shipped data file, e.g. `rates.csv` or `conventions/net.toml`.

    Raises InputError when there is no such file.
    """
    path = template_folder() / name
    if not path.is_file():
        raise InputError(f"{name}: no data file of this name is shipped; see `takeoff templates FOLDER`")
    return path
