"""What every test may rely on: a cache and a library of its own, never those of whoever runs the tests."""

from __future__ import annotations

import os

import pytest


@pytest.fixture(autouse=True, scope="session")
def _own_folders(tmp_path_factory: pytest.TempPathFactory):
    """Meshes that were read are kept for this run only, and no library of the user hides a catalogue file."""
    folder = tmp_path_factory.mktemp("own")
    before = {name: os.environ.get(name) for name in ("TIGHTSIDE_CACHE", "TIGHTSIDE_LIBRARY")}
    os.environ["TIGHTSIDE_CACHE"] = str(folder / "cache")
    os.environ["TIGHTSIDE_LIBRARY"] = str(folder / "library")
    yield
    for name, value in before.items():
        if value is None:
            os.environ.pop(name, None)
        else:
            os.environ[name] = value
