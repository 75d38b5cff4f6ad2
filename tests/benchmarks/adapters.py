"""The product's engine as the benchmark calls it: one thin function for each thing that is measured.

A task that the engine has no answer to raises Missing, and the benchmark says so.
"""

from __future__ import annotations

import itertools
import statistics
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NoReturn

import numpy as np

from app.scenes.live import LiveScene
from app.scenes.reader import read_scene
from kinematics.clearance import check_cuts
from kinematics.engine.chains import Chains, chains
from kinematics.engine.envelope import NearBody, envelope
from kinematics.engine.position_sets import path_sets
from kinematics.engine.round_clearance import least
from kinematics.engine.sweep import Positions, RoundPiece
from kinematics.engine.triangle_tree import TriangleTree, triangle_tree
from kinematics.pose import Pose
from kinematics.prepared import Prepared
from kinematics.solids import Triangles
from kinematics.swing_clearance import Settle, check_links, check_swings
from tests.benchmarks.places import Body, Outline, Place


class Missing(Exception):
    """The engine cannot do this."""


def tree(body: Body) -> TriangleTree:
    return triangle_tree(Triangles(body.vertices, body.faces))


def frusta(outline: Outline) -> list[RoundPiece]:
    ends = itertools.pairwise(outline)
    return [RoundPiece("tool", r1, r2, z1, z2) for (r1, z1), (r2, z2) in ends if z2 > z1]


def part(outline: Outline) -> Chains:
    return chains(frusta(outline))


def pose(place: Place) -> Pose:
    return Pose("W", "G", place.R, place.p)


ROUND = 40.0  # mm under and over the holders that are of interest
STILL = path_sets(np.zeros((1, 3)), 0.0)  # the tool with its tip at the origin


def distance(tool: Chains, body: TriangleTree, X_WG: Pose) -> float:
    """One place: value and witness."""
    return least(tool, STILL, 0.0, body, X_WG).distance


def is_at_least(tool: Chains, body: TriangleTree, X_WG: Pose, wanted: float) -> bool:
    """One place: whether there is so much room."""
    return least(tool, STILL, 0.0, body, X_WG, wanted).distance >= wanted


def many_holders(
    holders: Sequence[Outline], stick_outs: np.ndarray, body: TriangleTree, X_WG: Pose
) -> tuple[np.ndarray, np.ndarray]:
    """Lower and upper ends (n_holders, n_stick_outs) of the clearances; all that has to be made is made here."""
    heights = (float(stick_outs.min()) - ROUND, max(h[-1][1] for h in holders) + float(stick_outs.max()) + ROUND)
    seen = envelope([NearBody("body", body, X_WG)], [Positions(np.zeros((1, 3)))], heights)
    room = seen.rooms([frusta(h) for h in holders], stick_outs)
    return room.lo, room.hi


def _missing(*_: object) -> NoReturn:
    raise Missing


def path_is_clear(tool: Chains, points: np.ndarray, body: TriangleTree, X_WG: Pose, wanted: float) -> bool:
    """Whether the tool keeps `wanted` on the whole path, its making into a tree of stretches included."""
    return least(tool, path_sets(points, 0.0), 0.0, body, X_WG, wanted).distance >= wanted


# (tool, body, X_WG, centre, axis, angle_deg, tolerance): least clearance while the body turns about a line, proven
swing = _missing


def recheck(file: Path, path: str, values: Sequence[float]) -> tuple[float, float]:
    """Median seconds to read and to check the scene with a value turned, step by step, everything else kept."""
    live = LiveScene(file.read_text(encoding="utf-8"), file)
    prepared = Prepared(live.with_values({}).scene)
    _checked(prepared)
    reading, checking = [], []
    for value in values:
        began = time.perf_counter()
        scene = live.with_values({path: value}).scene
        read = time.perf_counter()
        prepared = Prepared(scene, like=prepared)
        _checked(prepared)
        reading.append(read - began)
        checking.append(time.perf_counter() - read)
    return statistics.median(reading), statistics.median(checking)


def _checked(prepared: Prepared) -> None:
    scene = prepared.scene
    list(check_cuts(scene, prepared))
    list(check_links(scene, prepared))
    list(check_swings(scene, prepared))


def demo_swings(file: Path, tolerance: float) -> Iterator[tuple[str, float]]:
    """Each swing of a scene and the seconds that it took to settle it."""
    scene = read_scene(file).scene
    prepared = Prepared(scene)
    list(check_swings(scene, prepared))  # what is shared by swings is made
    began = time.perf_counter()
    for report in check_swings(scene, prepared, Settle(tolerance)):
        yield f"{report.start} to {report.end}", time.perf_counter() - began
        began = time.perf_counter()
