"""What the window's own process loads: neither the engine, which has a process of its own, nor the graphics library."""

from __future__ import annotations

import subprocess
import sys

import pytest


@pytest.mark.parametrize("library", ["numba", "fcl", "scipy", "trimesh", "vtkmodules"])
def test_that_the_windows_process_does_not_load(library: str) -> None:
    program = f"import sys, app.window.main_window; print({library!r} in sys.modules)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
