"""Programs in processes of their own: how long they take and the most memory that they hold."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import time
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import psutil

ROOT = Path(__file__).resolve().parents[2]
MIB = 1 << 20
LOOK_SECONDS = 0.005  # how often the memory of a running process is read
BEFORE_KERNELS = "0c1f301"  # the last commit without numba
# What a check has imported before it has read anything, kernels included.
EMPTY_PROGRAM = """
import app.cli.check, app.cli.output, app.jobs.check, app.scenes.reader
from kinematics.engine.compiled import compile_all
"""


@dataclass(frozen=True)
class Measured:
    seconds: float
    mib: float


def python(arguments: list[str], *, at: Path = ROOT, **environment: str) -> Measured:
    """Run Python with these arguments without a cache of meshes; a fault or a crash stops the benchmark."""
    began = time.perf_counter()
    process = psutil.Popen(
        [sys.executable, *arguments],
        cwd=at,
        env={**os.environ, "TIGHTSIDE_CACHE": "off", "PYTHONPATH": str(at), **environment},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    most = 0.0
    while process.poll() is None:
        try:
            most = max(most, process.memory_info().rss)
        except psutil.NoSuchProcess:
            break
        time.sleep(LOOK_SECONDS)
    process.wait()
    if process.returncode not in (0, 10, 20, 30, 40):
        sys.exit(f"{' '.join(arguments)}: ended with status {process.returncode}")
    return Measured(time.perf_counter() - began, most / MIB)


def before_kernels(folder: Path) -> Path | None:
    """The program as it was before it had kernels, taken from the repository's history; None where there is none."""
    found = subprocess.run(
        ["git", "archive", BEFORE_KERNELS, "app", "kinematics", "shared"], cwd=ROOT, capture_output=True, check=False
    )
    if found.returncode != 0:
        return None
    with tarfile.open(fileobj=BytesIO(found.stdout)) as archive:
        archive.extractall(folder, filter="data")
    return folder
