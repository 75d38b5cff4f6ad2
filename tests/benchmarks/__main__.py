"""Times and memory of the program as a user meets it, each in a process of its own.

`python -m tests.benchmarks` prints a table, writes JSON, and ends with status 1 where a target is missed. Nothing here
is a test: times depend on the machine. Memory is the most that the process and its helpers hold together.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path

import psutil

from kinematics.engine import kernel_cache
from kinematics.engine.compiled import compile_all
from tests.benchmarks.wavy_block import write_scene

ROOT = Path(__file__).resolve().parents[2]
MIB = 1 << 20
LOOK_SECONDS = 0.01  # how often the memory of a running process is read


@dataclass(frozen=True)
class Result:
    """One line of the table. The least of the times of several runs; targets are None where there are none."""

    name: str
    seconds: float
    mib: float
    target_seconds: float | None = None
    target_mib: float | None = None

    @property
    def is_missed(self) -> bool:
        slow = self.target_seconds is not None and self.seconds > self.target_seconds
        return slow or (self.target_mib is not None and self.mib > self.target_mib)


def measure(
    name: str,
    arguments: list[str],
    *,
    runs: int = 1,
    target_seconds: float | None = None,
    target_mib: float | None = None,
    cache: str = "off",
) -> Result:
    """Run Python with these arguments; a command that ends in a fault or a crash stops the benchmark."""
    times, peak = [], 0.0
    for _ in range(runs):
        began = time.perf_counter()
        process = psutil.Popen(
            [sys.executable, *arguments],
            cwd=ROOT,
            env={**os.environ, "TIGHTSIDE_CACHE": cache, "NUMBA_CACHE_DIR": str(kernel_cache.folder())},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        while process.poll() is None:
            peak = max(peak, _held(process))
            time.sleep(LOOK_SECONDS)
        times.append(time.perf_counter() - began)
        if process.returncode not in (0, 10, 20, 30, 40):
            sys.exit(f"{name}: ended with status {process.returncode}")
    return Result(name, min(times), peak / MIB, target_seconds, target_mib)


def _held(process: psutil.Popen) -> float:
    total = 0.0
    try:
        for one in (process, *process.children(recursive=True)):
            total += one.memory_info().rss
    except psutil.NoSuchProcess:  # it has just ended
        pass
    return total


READ = "import sys; from pathlib import Path; from app.scenes.reader import read_scene; read_scene(Path(sys.argv[1]))"


def sample(name: str) -> str:
    return f"sample_scenes/{name}/{name}.scene.yaml"


def all_results(folder: Path, sizes: list[int]) -> list[Result]:
    check, swing = ["-m", "app", "check"], ["-m", "app", "swing"]
    cache = str(folder / "cache")
    found = [
        measure("--help", ["-m", "app", "--help"], runs=10, target_seconds=0.15),
        measure("check of the demo, swings and all", [*check, sample("sampler_block_b")], runs=5, target_seconds=3.0),
        measure(
            "swings of the demo to 0.01, least lifts too", [*swing, sample("sampler_block_b")], target_seconds=10.0
        ),
        measure("check of a STEP part, cold", [*check, sample("lamp_bracket")]),
    ]
    for n in sizes:
        (folder / str(n)).mkdir()
        scene, n_real = write_scene(folder / str(n), n)
        is_large = n == 1_000_000
        found.append(measure(f"load {n_real} triangles, cold", ["-c", READ, str(scene)]))
        measure("first", ["-c", READ, str(scene)], cache=cache)
        found.append(
            measure(
                f"load {n_real} triangles, read before",
                ["-c", READ, str(scene)],
                target_seconds=1.5 if is_large else None,
                cache=cache,
            )
        )
        found.append(
            measure(
                f"check one orientation against {n_real} triangles",
                [*check, str(scene)],
                target_seconds=60.0 if is_large else None,
                target_mib=3 * 1024.0 if is_large else None,
            )
        )
    measure("first", ["-c", READ, sample("lamp_bracket")], cache=cache)
    found.append(measure("check of a STEP part, read before", [*check, sample("lamp_bracket")], cache=cache))
    return found


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__.splitlines()[0])
    parser.add_argument("-o", "--output", type=Path, default=ROOT / "build" / "benchmarks.json")
    parser.add_argument("--sizes", type=int, nargs="*", default=[10_000, 100_000, 1_000_000], help="triangles")
    asked = parser.parse_args()
    compile_all()  # what only the first run does is measured by tests.benchmarks.engine
    with tempfile.TemporaryDirectory(prefix="tightside-benchmark-") as name:
        results = all_results(Path(name), asked.sizes)
    print(f"{'':50} {'seconds':>8} {'at most':>8} {'MiB':>7} {'at most':>8}")
    for r in results:
        limits = [f"{v:g}" if v is not None else "" for v in (r.target_seconds, r.target_mib)]
        missed = "  MISSED" if r.is_missed else ""
        print(f"{r.name:50} {r.seconds:8.3f} {limits[0]:>8} {r.mib:7.0f} {limits[1]:>8}{missed}")
    machine = {"python": platform.python_version(), "system": platform.platform(), "cores": os.cpu_count()}
    asked.output.parent.mkdir(parents=True, exist_ok=True)
    asked.output.write_text(
        json.dumps({"machine": machine, "results": [asdict(r) for r in results]}, indent=1), encoding="utf-8"
    )
    print(f"written to {asked.output}")
    return 1 if any(r.is_missed for r in results) else 0


if __name__ == "__main__":
    sys.exit(main())
