"""The product's engine as the benchmark calls it: one thin function for each thing that is measured."""

from __future__ import annotations

import itertools
import statistics
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from app.scenes.live import LiveScene
from app.scenes.reader import read_scene
from kinematics.clearance import check_cuts
from kinematics.engine.chains import Chains, chains
from kinematics.engine.envelope import NearBody, envelope
from kinematics.engine.exact_pair import BodyTree, RoundPart
from kinematics.engine.joined_bodies import JoinedBodies
from kinematics.engine.position_sets import path_sets
from kinematics.engine.round_clearance import least
from kinematics.engine.round_turning import Enough, RoundPair, least_over_round_turn
from kinematics.engine.sweep import Positions, RoundPiece
from kinematics.engine.triangle_tree import TriangleTree, triangle_tree
from kinematics.engine.turning_pieces import TurnAxis
from kinematics.meshes import Mesh
from kinematics.pose import Pose, Vector, as_vector
from kinematics.prepared import Prepared
from kinematics.solids import Piece, Triangles
from kinematics.swing_clearance import Settle, check_links, check_swings
from tests.benchmarks.places import Body, Outline, Place


@dataclass(frozen=True, eq=False)
class Turning:
    """A body that turns, and the arrays that searches share."""

    tree: BodyTree
    joined: JoinedBodies


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


def path_is_clear(tool: Chains, points: np.ndarray, body: TriangleTree, X_WG: Pose, wanted: float) -> bool:
    """Whether the tool keeps `wanted` on the whole path, its making into a tree of stretches included."""
    return least(tool, path_sets(points, 0.0), 0.0, body, X_WG, wanted).distance >= wanted


def turning(body: Body, built: TriangleTree) -> Turning:
    """The body as one that turns, its tree at hand as it is for `distance`."""
    triangles = Triangles(body.vertices, body.faces)
    mesh = Mesh(body.vertices, body.faces, 0, 0.0, "")
    piece = Piece(triangles, triangles, False, mesh, _as_it_is)
    return Turning(BodyTree((piece,), (len(body.faces),), built, 0.0), JoinedBodies())


def _as_it_is(points: np.ndarray) -> np.ndarray:
    return points


def swing(
    tool: Chains, body: Turning, X_WG: Pose, centre: np.ndarray, axis: Vector, angle_deg: float, tolerance: float
) -> tuple[float, float]:
    """The proven and the attained least clearance while the body turns from X_WG on about a line."""
    about = TurnAxis(as_vector(centre), axis)
    X_CG = Pose("C", "G", X_WG.R_AB, X_WG.p_AB - centre)
    still = Positions(np.zeros((1, 3)))
    box = ((0.0, angle_deg),)
    pair = RoundPair(RoundPart(tool, tool), still, body.tree, X_CG, (about,), box, 0.0, ("tool", "body"), (0, 0))
    found = least_over_round_turn([pair], Enough(tolerance=tolerance), body.joined)
    if not found.is_settled:
        raise RuntimeError("the swing was not settled")
    return found.at_least, found.at_most


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
