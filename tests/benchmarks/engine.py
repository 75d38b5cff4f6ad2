"""The exact engine against a general distance library, both in one process, and what a user waits for.

`python -m tests.benchmarks.engine` prints a table, writes JSON, and ends with status 1 where a target is missed.
`--only a c` runs some of it: a place, b capped, c many holders, d certified swing, e path, f re-check, g swings of the
demo, h growth, i memory, j trees, k start-up. Times are medians; answers of the two sides are compared on the way.
Nothing here is a test: times depend on the machine, ratios much less.
"""

from __future__ import annotations

import argparse
import gc
import json
import math
import os
import platform
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path

import numpy as np

from kinematics.pose import Pose, turn_about
from tests.benchmarks import adapters, fcl_baseline, started
from tests.benchmarks.demo import DEMO, demo_with_mesh
from tests.benchmarks.places import TOOL, Body, Outline, Place, body, places, raster, top

ROOT = Path(__file__).resolve().parents[2]
N_PLACES = 60
LEAST_SECONDS = 0.002  # a query is repeated until its time can be read
TOO_FAR = 0.05  # mm; by more than this the yardstick's polygons cannot differ from round ones
KEEP_OFF = 2.0  # mm


@dataclass(frozen=True)
class Line:
    """One line of the table: ours in `unit`, the yardstick in the same unit, and what was aimed at.

    `at_least` is a bound of the ratio, `at_most` of `ours`; None where there is no target.
    """

    key: str
    name: str
    ours: float
    unit: str
    yardstick: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    note: str = ""

    @property
    def ratio(self) -> float | None:
        return self.yardstick / self.ours if self.yardstick is not None and self.ours else None

    @property
    def is_missed(self) -> bool:
        slow = self.at_most is not None and self.ours > self.at_most
        return slow or (self.at_least is not None and (self.ratio is None or self.ratio < self.at_least))


def seconds(call: Callable[[], object], runs: int = 5) -> float:
    """Median time of a call that may be far shorter than what a clock reads."""
    call()
    began = time.perf_counter()
    call()
    n = max(1, math.ceil(LEAST_SECONDS / max(time.perf_counter() - began, 1e-9)))
    found = []
    for _ in range(runs):
        began = time.perf_counter()
        for _ in range(n):
            call()
        found.append((time.perf_counter() - began) / n)
    return statistics.median(found)


def once(call: Callable[[], object], runs: int = 3) -> float:
    """Median time of a call that takes long enough, the first not counted."""
    call()
    found = []
    for _ in range(runs):
        began = time.perf_counter()
        call()
        found.append(time.perf_counter() - began)
    return statistics.median(found)


def agree(what: str, ours: float, theirs: float) -> None:
    """Stops the benchmark where the two sides say different things."""
    if not abs(ours - theirs) <= TOO_FAR:
        sys.exit(f"{what}: the engine says {ours:.4f} mm, the yardstick {theirs:.4f} mm")


class Bench:
    """Bodies, trees and places of each size, made when they are first asked for."""

    def __init__(self, sizes: list[int], folder: Path) -> None:
        self.sizes = sizes
        self.folder = folder
        self.tool = adapters.part(TOOL)
        self.tool_model = fcl_baseline.model(*fcl_baseline.lathe(TOOL))
        self.still = fcl_baseline.posed(self.tool_model, np.eye(3), np.zeros(3))
        self.place_times: dict[int, float] = {}
        self._made: dict[int, tuple[Body, object, object, list[Place]]] = {}

    def at(self, n: int) -> tuple[Body, object, object, list[Place]]:
        """The body, its tree here, its tree there, and the places."""
        if n not in self._made:
            one = body(n)
            theirs = fcl_baseline.model(one.vertices, one.faces)
            self._made[n] = (one, adapters.tree(one), theirs, places(self.tool_model, theirs, N_PLACES))
        return self._made[n]

    # ---- a, b, h: one place ------------------------------------------------------------------

    def place(self) -> Iterator[Line]:
        for n, target in zip(self.sizes, self._targets({10_000: 8.0, 100_000: 5.0, 1_000_000: 2.5}), strict=True):
            one, tree, theirs, found = self.at(n)
            ours, yardstick = [], []
            for place in found:
                X_WG, other = adapters.pose(place), fcl_baseline.posed(theirs, place.R, place.p)
                agree("one place", adapters.distance(self.tool, tree, X_WG), fcl_baseline.distance(self.still, other))
                ours.append(seconds(partial(adapters.distance, self.tool, tree, X_WG)))
                yardstick.append(seconds(partial(fcl_baseline.distance, self.still, other)))
            self.place_times[n] = statistics.median(ours)
            yield Line(
                *("a", f"one place, {len(one.faces)} triangles", statistics.median(ours) * 1e6, "us"),
                yardstick=statistics.median(yardstick) * 1e6,
                at_least=target,
            )

    def _targets(self, of_sizes: dict[int, float]) -> list[float | None]:
        return [of_sizes.get(n) for n in self.sizes]

    def capped(self) -> Iterator[Line]:
        for n in self.sizes:
            one, tree, theirs, found = self.at(n)
            for room in (0.9, 1.1):  # of the true distance: the answer is yes, and no
                ours, yardstick = [], []
                for place in found:
                    X_WG, other = adapters.pose(place), fcl_baseline.posed(theirs, place.R, place.p)
                    wanted = room * place.distance
                    if adapters.is_at_least(self.tool, tree, X_WG, wanted) is not (room < 1.0):
                        sys.exit(f"capped: wrong at {place.distance} mm")
                    ours.append(seconds(partial(adapters.is_at_least, self.tool, tree, X_WG, wanted)))
                    yardstick.append(seconds(partial(fcl_baseline.distance, self.still, other)))
                name = f"at least {room:g} of the distance? {len(one.faces)} triangles"
                middle = statistics.median(yardstick) * 1e6
                yield Line("b", name, statistics.median(ours) * 1e6, "us", yardstick=middle)

    def growth(self) -> Iterator[Line]:
        if not self.place_times:
            list(self.place())
        sizes, times = list(self.place_times), list(self.place_times.values())
        if len(sizes) > 1:
            slope = np.polyfit(np.log(sizes), np.log(times), 1)[0]
            yield Line("h", "growth of one place with the triangles, exponent", float(slope), "", at_most=0.5)

    def trees(self) -> Iterator[Line]:
        for n in self.sizes:
            one = self.at(n)[0]
            ours = once(partial(adapters.tree, one))
            theirs = once(partial(fcl_baseline.model, one.vertices, one.faces))
            yield Line("j", f"tree of {len(one.faces)} triangles", ours * 1e3, "ms", yardstick=theirs * 1e3)

    # ---- c: many holders ---------------------------------------------------------------------

    def holders(self) -> Iterator[Line]:
        rng = np.random.default_rng(3)
        stick_outs = np.linspace(12.0, 60.0, 100)
        outlines = [_holder(rng) for _ in range(200)]
        for n in self.sizes:
            one, tree, theirs, found = self.at(n)
            ours, times, width = [], [], 0.0
            for place in found[:12]:
                X_WG = adapters.pose(place)
                low, high = adapters.many_holders(outlines, stick_outs, tree, X_WG)
                is_apart = low > 0.0
                width = max(width, float((high[is_apart] - low[is_apart]).max()))
                other = fcl_baseline.posed(theirs, place.R, place.p)
                for h, s in zip(rng.integers(0, 200, 5), rng.integers(0, 100, 5), strict=True):
                    made = fcl_baseline.model(*fcl_baseline.lathe(outlines[h]))
                    tool = fcl_baseline.posed(made, np.eye(3), np.array([0.0, 0.0, stick_outs[s]]))
                    apart = fcl_baseline.distance(tool, other)
                    is_right = low[h, s] - 1e-6 <= apart <= high[h, s] + TOO_FAR
                    if not (is_right if is_apart[h, s] else apart <= TOO_FAR):
                        sys.exit(f"holders: {apart} is not between {low[h, s]} and {high[h, s]}")
                    times.append(seconds(partial(fcl_baseline.distance, tool, other)))
                ours.append(once(partial(adapters.many_holders, outlines, stick_outs, tree, X_WG)))
            yield Line(
                *("c", f"200 holders at 100 stick-outs, {len(one.faces)} triangles", statistics.median(ours) * 1e3),
                "ms",
                yardstick=statistics.median(times) * 20_000 * 1e3,
                at_least=200.0,
                note=f"certified to {width:.3f} mm; the yardstick: {len(times)} of them, the median times 20 000",
            )

    # ---- d: a certified swing ----------------------------------------------------------------

    def swing(self) -> Iterator[Line]:
        n = 100_000 if 100_000 in self.sizes else self.sizes[-1]
        one, tree, _, _ = self.at(n)
        for room in (0.5, 5.0):
            centre = np.array([0.0, 0.0, -_drop(self.tool, tree, room)])
            poses = [_turned(centre, angle) for angle in np.linspace(0.0, 90.0, 91)]
            sampled = _sampled(self.tool, tree, poses)
            turned = (self.tool, adapters.turning(one, tree), _turned(centre, 0.0), centre, (0.0, 1.0, 0.0), 90.0, 0.01)
            certified = partial(adapters.swing, *turned)
            each = partial(_sampled, self.tool, tree, poses)
            at_least, at_most = certified()
            finely = _sampled(self.tool, tree, [_turned(centre, angle) for angle in np.linspace(0.0, 90.0, 9001)])
            if not (at_least <= finely <= at_most + 0.05 and at_most - at_least <= 0.01 and finely <= sampled):
                sys.exit(f"swing: {at_least} to {at_most} where a hundredth of a degree has {finely}")
            yield Line(
                *("d", f"90 degrees to 0.01 mm, {room:g} mm of room, {len(one.faces)} triangles"),
                *(once(certified) * 1e3, "ms"),
                yardstick=once(each) * 1e3,
                at_least=0.5,
                note="the yardstick: the same kernel at each degree, which proves nothing between",
            )

    # ---- e: a path ---------------------------------------------------------------------------

    def path(self) -> Iterator[Line]:
        n = 100_000 if 100_000 in self.sizes else self.sizes[-1]
        one, tree, theirs, _ = self.at(n)
        x, y = raster(1_000_000)
        points = np.column_stack([x, y, top(x, y)])
        other = fcl_baseline.posed(theirs, np.eye(3), np.zeros(3))
        some = points[:: len(points) // 2000]
        for room, target in ((10.0, 1000.0), (1.0, 20.0)):
            lift = _lift(self.tool_model, other, some, KEEP_OFF + room)
            moved = points + (0.0, 0.0, lift)
            X_WG = Pose("W", "G", np.eye(3), np.zeros(3))
            if not adapters.path_is_clear(self.tool, moved, tree, X_WG, KEEP_OFF):
                sys.exit("path: not clear")
            if adapters.path_is_clear(self.tool, moved, tree, X_WG, KEEP_OFF + room + 0.5):
                sys.exit("path: clear by more than there is")
            ours = once(partial(adapters.path_is_clear, self.tool, moved, tree, X_WG, KEEP_OFF))
            times = []
            for tip in moved[:: len(moved) // 200]:
                tool = fcl_baseline.posed(self.tool_model, np.eye(3), tip)
                times.append(seconds(partial(fcl_baseline.distance, tool, other)))
            yield Line(
                *("e", f"{len(points)} positions, {room:g} mm more room than asked for", ours * 1e3, "ms"),
                yardstick=statistics.mean(times) * len(points) * 1e3,
                at_least=target,
                note=f"{len(one.faces)} triangles; the yardstick: {len(times)} positions, times all / {len(times)}",
            )

    # ---- f, g, i, k: the program -------------------------------------------------------------

    def recheck(self) -> Iterator[Line]:
        scenes = [("demo", DEMO, 30.0), ("demo, 1M triangles", demo_with_mesh(self.folder, 1_000_000), 150.0)]
        for name, file, at_most in scenes:
            for path, first in (("T4/stick_out", 18.1), ("riser/h", 40.1)):
                read, check = adapters.recheck(file, path, np.arange(first, first + 1.0, 0.1).tolist())
                yield Line("f", f"{name}: {path} one step on, reading", read * 1e3, "ms")
                yield Line("f", f"{name}: {path} one step on, checking", check * 1e3, "ms", at_most=at_most)

    def swings(self) -> Iterator[Line]:
        for name, took in adapters.demo_swings(DEMO, 0.01):
            yield Line("g", f"swing {name} to 0.01 mm", took * 1e3, "ms", at_most=100.0)

    def memory(self) -> Iterator[Line]:
        empty = started.python(["-c", started.EMPTY_PROGRAM])
        for n, at_most in ((12, None), (1_000_000, 600.0)):
            found = started.python(["-m", "app", "check", str(demo_with_mesh(self.folder, n))])
            yield Line(
                *("i", f"memory of a check with {n} triangles, over {empty.mib:.0f} MiB", found.mib - empty.mib, "MiB"),
                at_most=at_most,
                note=f"{found.seconds:.2f} s",
            )

    def start_up(self) -> Iterator[Line]:
        """Against the program as it was before it had kernels, in processes of the same minutes."""
        check = ["-m", "app", "check", str(DEMO)]
        kernels = self.folder / "kernels"
        cold = started.python(check, NUMBA_CACHE_DIR=str(kernels))
        compiled = [started.python(check, NUMBA_CACHE_DIR=str(kernels)).seconds for _ in range(7)]
        yield Line("k", "check of the demo, nothing compiled", cold.seconds, "s", at_most=30.0)
        before = started.before_kernels(self.folder / "before")
        if before is not None:
            then = statistics.median(started.python(check, at=before).seconds for _ in range(7))
            over = statistics.median(compiled) - then
            yield Line("k", f"check of the demo, over the {then:.2f} s before", over, "s", at_most=0.5)
        yield Line("k", "check of the demo", statistics.median(compiled), "s")
        shown = [started.python(["-m", "app", "--help"]).seconds for _ in range(7)]
        yield Line("k", "--help", statistics.median(shown), "s", at_most=0.15)


def _holder(rng: np.random.Generator) -> Outline:
    """A holder of three or four steps that grow, from its lower end at z 0."""
    outline: Outline = []
    r, z = rng.uniform(6.0, 14.0), 0.0
    for _ in range(rng.integers(3, 5)):
        top_of_step = z + rng.uniform(8.0, 30.0)
        outline += [(r, z), (r, top_of_step)]
        r, z = r + rng.uniform(2.0, 8.0), top_of_step
    return outline


def _lift(tool: object, other: object, points: np.ndarray, wanted: float) -> float:
    """How much higher a path is to go, to be so far from the body where it comes nearest."""
    lift = wanted
    for _ in range(20):
        apart = min(fcl_baseline.distance(fcl_baseline.posed(tool, np.eye(3), p + (0, 0, lift)), other) for p in points)
        if abs(apart - wanted) < 1e-3:
            break
        lift += wanted - apart
    return lift


def _sampled(tool: object, tree: object, poses: list[Pose]) -> float:
    return min(adapters.distance(tool, tree, X) for X in poses)


START = Pose("W", "G", np.eye(3), np.array([-40.0, 10.0, -20.0]))  # of the body, seen from the axis that turns it


def _turned(centre: np.ndarray, angle: float) -> Pose:
    """The body turned about an axis along Y through the centre, with the tool's tip at the origin."""
    X = turn_about("W", "W", (0.0, 1.0, 0.0), angle) @ START
    return Pose("W", "G", X.R_AB, X.p_AB + centre)


def _drop(tool: object, tree: object, room: float) -> float:
    """How far below the tip the axis is, so that a quarter turn leaves so much room where the body comes nearest."""
    angles = np.linspace(0.0, 90.0, 181)
    low, high = 0.0, 300.0
    for _ in range(40):
        middle = (low + high) / 2
        centre = np.array([0.0, 0.0, -middle])
        nearest = min(adapters.distance(tool, tree, _turned(centre, angle)) for angle in angles)
        low, high = (middle, high) if nearest < room else (low, middle)
    return high


PARTS = {
    "a": Bench.place, "b": Bench.capped, "c": Bench.holders, "d": Bench.swing, "e": Bench.path, "f": Bench.recheck,
    "g": Bench.swings, "h": Bench.growth, "i": Bench.memory, "j": Bench.trees, "k": Bench.start_up,
}  # fmt: skip


def written(line: Line) -> str:
    """The line as it is printed."""
    ours = f"{line.ours:.4g}"
    theirs = "" if line.yardstick is None else f"{line.yardstick:.4g}"
    ratio = "" if line.ratio is None else f"{line.ratio:.3g}x"
    aim = f">= {line.at_least:g}x" if line.at_least is not None else ""
    aim = f"<= {line.at_most:g}" if line.at_most is not None else aim
    missed = "MISSED" if line.is_missed else ""
    return (
        f"{line.key} {line.name:60.60} {ours:>9} {theirs:>9} {line.unit:4} {ratio:>8} {aim:>9} {missed:6} {line.note}"
    )


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.engine", description=__doc__.splitlines()[0])
    parser.add_argument("-o", "--output", type=Path, default=ROOT / "build" / "engine-benchmarks.json")
    parser.add_argument("--sizes", type=int, nargs="*", default=[10_000, 100_000, 1_000_000], help="triangles")
    parser.add_argument("--only", nargs="*", choices=sorted(PARTS), default=sorted(PARTS))
    asked = parser.parse_args()
    gc.disable()
    found: list[Line] = []
    with tempfile.TemporaryDirectory(prefix="tightside-benchmark-") as name:
        bench = Bench(asked.sizes, Path(name))
        for key in asked.only:
            gc.collect()
            for line in PARTS[key](bench):
                found.append(line)
                print(written(line), flush=True)
    machine = {"python": platform.python_version(), "system": platform.platform(), "cores": os.cpu_count()}
    results = [{**asdict(line), "ratio": line.ratio, "is_missed": line.is_missed} for line in found]
    asked.output.parent.mkdir(parents=True, exist_ok=True)
    asked.output.write_text(json.dumps({"machine": machine, "results": results}, indent=1), encoding="utf-8")
    n_missed = sum(line.is_missed for line in found)
    print(f"{n_missed} targets missed; written to {asked.output}")
    return 1 if n_missed else 0


if __name__ == "__main__":
    sys.exit(main())
