"""Writes the sample models beside itself: the archive in IFC4 (millimetres) and in IFC2X3 (metres).

    python sample_models/write_samples.py [FOLDER]

Writing twice gives the same bytes.
"""

import sys
from pathlib import Path

from archive import Archive, write_basement
from archive_hall import write_hall

SAMPLES = {"archive-ifc4.ifc": ("IFC4", "mm"), "archive-ifc2x3.ifc": ("IFC2X3", "m")}
"""File name: schema and length unit."""


def write(folder: Path) -> list[Path]:
    """Write every sample model into `folder` and return the paths."""
    paths = []
    for file_name, (schema, unit) in SAMPLES.items():
        model = Archive(schema, unit, name=file_name.removesuffix(".ifc"))
        write_basement(model)
        write_hall(model)
        paths.append(model.save(folder / file_name))
    return paths


if __name__ == "__main__":
    for path in write(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent):
        print(path)
