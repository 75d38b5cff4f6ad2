"""How long the inverse answers take, at the sizes that were promised: `python -m tests.benchmarks.answers`.

Each row is a function that makes everything ready, then gives what is to be measured; the best of three runs counts.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from app.scenes.reader import read_scene
from kinematics.engine.compiled import compile_all
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from tests.benchmarks.demo import DEMO, demo_with_mesh

RUNS = 3


@dataclass(frozen=True)
class Row:
    """What is measured, how long it may take, and what makes it ready and gives the work itself."""

    name: str
    most_seconds: float
    ready: Callable[[], Callable[[], object]]


def whatif_of_90_values() -> Callable[[], object]:
    """The riser of the demo at 90 heights: everything on the table moves."""
    from app.jobs.whatif import dial_values
    from app.jobs.whatif_dials import Bench, number_dial
    from app.scenes.live import LiveScene

    live = LiveScene(DEMO.read_text(encoding="utf-8"), DEMO)

    def work() -> object:
        bench = Bench(live)
        found = list(dial_values(live, number_dial(bench, "riser/h"), [10.0 + 0.8 * k for k in range(90)], bench=bench))
        assert len(found) == 90, "every value has a result"
        return found

    return work


def ranges_of_a_re_aimed_cut() -> Callable[[], object]:
    """The proven ranges of the tilt of V6 over 45 degrees, all cuts."""
    from app.jobs.whatif import dial_ranges, ranges_of
    from app.jobs.whatif_dials import Bench, re_aim
    from app.scenes.live import LiveScene

    live = LiveScene(DEMO.read_text(encoding="utf-8"), DEMO)

    def work() -> object:
        bench = Bench(live)
        return ranges_of(list(dial_ranges(live, re_aim(bench, "V6/tilt"), 75.0, 120.0, bench=bench)))

    return work


def map_of_50000_orientations() -> Callable[[], object]:
    """The spot drill of the demo, whose part is a mesh of 100 000 triangles, at 135 tilts and 374 rotaries."""
    from kinematics.answers.orientation_map import map_grid, orientation_map

    folder = Path(tempfile.mkdtemp(prefix="tightside-benchmark-"))
    scene = read_scene(demo_with_mesh(folder, 100_000)).scene
    placed = next(p for p in placed_cuts(Prepared(scene)) if p.cut.name == "drain spot")
    grid = map_grid(scene.machine, 0.965, placed.angles)
    assert len(grid.rows_deg) * len(grid.columns_deg) >= 50_000, "as many as promised"
    shutil.rmtree(folder)
    return lambda: list(orientation_map(placed, grid))


def part_off_of_all_cuts() -> Callable[[], object]:
    """How far the part of the demo may be off, all cuts, exact."""
    from app.jobs.part_off import exact_parts_off

    prepared = Prepared(read_scene(DEMO).scene)
    return lambda: list(exact_parts_off(prepared))


def how_far_past_90() -> Callable[[], object]:
    """Both positions of the table for the spot drill of the demo, and how far its tilt may go."""
    from app.jobs.reach import reaches, table_axis

    scene = read_scene(DEMO).scene
    axis = table_axis(scene, None)
    return lambda: list(reaches(Prepared(scene), axis, ("V6", "drain spot")))


ROWS = [
    Row("what-if of 90 values, demo", 3.0, whatif_of_90_values),
    Row("ranges of the tilt of V6 over 45 degrees, demo", 3.0, ranges_of_a_re_aimed_cut),
    Row("map of 50 000 orientations, demo with 100k triangles", 2.0, map_of_50000_orientations),
    Row("how far the part may be off, demo, exact", 0.5, part_off_of_all_cuts),
    Row("how far past 90 the spot drill of the demo leans", 3.0, how_far_past_90),
]


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.answers", description=__doc__.splitlines()[0])
    parser.parse_args()
    compile_all()
    missed = False
    print(f"{'':50} {'seconds':>8} {'at most':>8}")
    for row in ROWS:
        work = row.ready()
        seconds = min(_timed(work) for _ in range(RUNS))
        missed = missed or seconds > row.most_seconds
        print(f"{row.name:50} {seconds:8.3f} {row.most_seconds:8g}{'  MISSED' if seconds > row.most_seconds else ''}")
    return 1 if missed else 0


def _timed(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


if __name__ == "__main__":
    sys.exit(main())
