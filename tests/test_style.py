"""The house style, as far as tools can tell: ruff lints and formats, mypy checks the types."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.mark.slow
@pytest.mark.parametrize(
    "command", [["ruff", "check"], ["ruff", "format", "--check"], ["mypy"]], ids=lambda command: " ".join(command)
)
def test_that_the_tools_find_nothing(command: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, encoding="utf-8", check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
