"""The key of a whole run: all files by name and content, and what else its tables hang on."""

from collections.abc import Sequence
from pathlib import Path

from takeoff.cache.keys import digest_of, key_of
from takeoff.model_names import model_names
from takeoff.settings import MEASURING_FILES, Settings


def run_key(paths: Sequence[Path], settings: Settings, kind: str = "tables") -> str:
    """Key of what a run comes to, of one kind; empty where a file cannot be read.

    Names count because messages name files; rates and words of the bill do not, because tables know none.
    """
    try:
        models = [(str(path), name, digest_of(path)) for path, name in model_names(paths).items()]
        files = [
            (what, str(path), digest_of(path))
            for what, path in settings.files().items()
            if what in MEASURING_FILES
        ]
    except OSError:
        return ""
    return key_of(kind, models, files, settings.ground_level)
