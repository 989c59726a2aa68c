"""Keys: what a result depends on, told by content, so that a change of anything gives another key."""

import hashlib
import os
import sys
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path

LIBRARIES = ("ifcopenshell", "manifold3d", "shapely", "numpy", "scipy")
"""The libraries on which figures depend."""

_CHUNK = 1 << 20


def key_of(kind: str, *parts: object) -> str:
    """A key of 64 hexadecimal digits for a kind of result and all that it depends on (plain values)."""
    return hashlib.sha256(repr((kind, program_print(), *parts)).encode()).hexdigest()


def digest_of(path: Path) -> str:
    """SHA-256 of a file's content. Raises OSError."""
    total = hashlib.sha256()
    with path.open("rb") as stream:
        while chunk := stream.read(_CHUNK):
            total.update(chunk)
    return total.hexdigest()


@lru_cache(maxsize=1)
def program_print() -> str:
    """What tells this build of the program from any other: its files, the Python, the libraries.

    Files are told by name, size and time, which every installation and every edit changes. What makes outputs of
    tables, and runs by night, changes no figure and is left out.
    """
    seen = [f"{sys.implementation.cache_tag} {sys.version} {os.name}", repr(library_versions())]
    return hashlib.sha256("\n".join([*seen, *_states("", ("outputs", "nightly"))]).encode()).hexdigest()


@lru_cache(maxsize=8)
def print_of(folder: str) -> str:
    """What tells the program's files in one of its folders from those of any other build."""
    return hashlib.sha256("\n".join(_states(folder)).encode()).hexdigest()


def _states(within: str, without: Sequence[str] = ()) -> list[str]:
    """Name, size and time of the program's own files in a folder of the package and in those below it."""
    package = str(Path(__file__).resolve().parents[1])
    seen: list[str] = []
    waiting = [within]
    while waiting:
        folder = waiting.pop()
        with os.scandir(os.path.join(package, folder)) as listing:
            for entry in listing:
                if entry.name.endswith(".py"):
                    state = entry.stat()
                    seen.append(f"{folder}/{entry.name} {state.st_size} {state.st_mtime_ns}")
                elif entry.name not in ("__pycache__", *without) and entry.is_dir():
                    waiting.append(f"{folder}/{entry.name}" if folder else entry.name)
    return sorted(seen)


@lru_cache(maxsize=1)
def _versions() -> Mapping[str, str]:
    found: dict[str, str] = {}
    for place in sys.path:
        try:
            names = os.listdir(place or ".")
        except OSError:
            continue
        for name in names:
            if name.endswith(".dist-info"):
                project, _, version = name.removesuffix(".dist-info").partition("-")
                found.setdefault(project.lower().replace("-", "_"), version)
    missing = [name for name in LIBRARIES if name not in found]
    if missing:
        from importlib import metadata

        found |= {name: metadata.version(name) for name in missing}
    return {name: found[name] for name in LIBRARIES}


def library_versions() -> dict[str, str]:
    """Version of each library. Read from the names of their folders: asking the packaging costs a warm run dear."""
    return dict(_versions())
