"""Fixtures that several test files use."""

from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def shared_models() -> Path:
    """The folder of models and hand cases beside the checkout; tests that need it are skipped without it."""
    folder = Path(__file__).resolve().parents[2] / "shared"
    if not folder.is_dir():
        pytest.skip(f"no folder of shared models at {folder}")
    return folder
