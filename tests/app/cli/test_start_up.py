"""Starting: what is imported before it is needed, and how the program is called."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[3]
SLOW = (
    "numpy",
    "scipy",
    "numba",
    "trimesh",
    "fcl",
    "cascadio",
    "rich",
    "pydantic",
    "ruamel",
    "kinematics",
    "app.scenes",
    "app.jobs",
    "app.view3d",
    "vtkmodules",
)


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True, encoding="utf-8", check=False
    )


def test_that_help_imports_nothing_slow() -> None:
    done = run("-X", "importtime", "-m", "app", "check", "--help")
    assert done.returncode == 0
    assert "usage: tightside check" in done.stdout
    imported = {line.rpartition("|")[2].strip() for line in done.stderr.splitlines()}
    assert "app.cli.main" in imported
    assert [name for name in SLOW if name in imported] == []


def test_that_a_closed_pipe_is_no_error_and_keeps_the_verdict() -> None:
    demo = "sample_scenes/sampler_block_a/sampler_block_a.scene.yaml"
    with subprocess.Popen(
        [sys.executable, "-m", "app", "check", demo], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        said = process.stderr.read().decode()
        assert process.wait() == 30
    assert "Error" not in said


def test_that_the_installed_command_is_the_same_program() -> None:
    command = Path(sys.executable).with_name("tightside" + Path(sys.executable).suffix)
    done = subprocess.run([command, "--version"], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stdout == run("-m", "app", "--version").stdout
    assert done.stdout.startswith("tightside ")
