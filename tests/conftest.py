"""What every test runs in: no library and no cache of whoever runs it, and random cases that are the same each time.

Compiled kernels are shared with whoever runs it: they go by the hash of their sources, and take half a minute to make.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import settings

from kinematics.engine import kernel_cache

# A change fails for what it did, not for its luck. `pytest --hypothesis-profile=default` draws new cases each time.
settings.register_profile("seeded", derandomize=True, print_blob=True)
settings.load_profile("seeded")


@pytest.fixture(scope="session", autouse=True)
def _own_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """An empty library and an empty cache, so that what lies in the user's own changes no result."""
    with pytest.MonkeyPatch.context() as patch:
        kernels = kernel_cache.folder()
        if kernels is not None:
            patch.setenv("NUMBA_CACHE_DIR", str(kernels))
        patch.setenv("TIGHTSIDE_LIBRARY", str(tmp_path_factory.mktemp("library")))
        patch.setenv("TIGHTSIDE_CACHE", str(tmp_path_factory.mktemp("cache")))
        patch.setenv("TIGHTSIDE_STATE", str(tmp_path_factory.mktemp("state")))
        yield
