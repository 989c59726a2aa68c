"""Fixtures that several test files use."""

import os
import signal
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def shared_models() -> Path:
    """The folder of models and hand cases beside the checkout; tests that need it are skipped without it."""
    folder = Path(__file__).resolve().parents[2] / "shared"
    if not folder.is_dir():
        pytest.skip(f"no folder of shared models at {folder}")
    return folder


@pytest.fixture(scope="session", autouse=True)
def no_cache_between_tests(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Tests stand alone and leave the user's cache as it is: where it would be made there is a file."""
    barred = tmp_path_factory.mktemp("cache") / "barred"
    barred.write_text("")
    os.environ["XDG_CACHE_HOME"] = os.environ["LOCALAPPDATA"] = str(barred)


@pytest.fixture(scope="session", autouse=True)
def interrupts_are_heard() -> None:
    """A shell starts what it runs in the background deaf to Ctrl-C, and so would be all that tests start and stop."""
    if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
