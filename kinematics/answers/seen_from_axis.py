"""What a cut's tool sees from its own axis: the least radius at every height, all round, or in one direction only.

1. All round, over all tip positions of the cut: bins of height, certified (`height_bins.py`).
2. In one direction, from one tip position: of every triangle the piece within a wedge about the direction, cut in
   plain numpy, then binned likewise.
3. Radii and heights are those of the bodies as they stand: set-up errors, lifts and the retract are left out.
4. What this file does not know: profiles of tools, verdicts, how it is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kinematics.cut_pairs import CutPairs, Target
from kinematics.engine.envelope import NearBody, stretches_inside
from kinematics.engine.height_bins import HeightBins, add_body, add_inside, height_bins
from kinematics.engine.position_sets import PositionSets, position_sets
from kinematics.engine.sweep import Positions
from kinematics.engine.triangle_tree import triangle_tree
from kinematics.errors import EngineError
from kinematics.machine import BED
from kinematics.pose import Array, identity
from kinematics.solids import Triangles

SLACK = 0.01  # mm; how much nearer than a bin says something in it may be
WEDGE_DEG = 15.0  # to either side of a direction
FLAT = 1e-12  # mm2; a piece of a triangle with less area is a line


@dataclass(frozen=True, slots=True)
class Nearest:
    """The least radius over the heights z1 to z2 over the tip, and the body it is of; lengths in mm."""

    z1: float
    z2: float
    radius: float
    body: str


def seen_all_round(pairs: CutPairs, low: float, high: float, step: float) -> tuple[Nearest, ...]:
    """What is nearest to the axis at each height from `low` to `high`, over all tip positions of a cut."""
    rows = []
    for target in pairs.targets:
        moves = pairs.bed_moves if target.body.carrier == BED else pairs.moves
        move = position_sets(moves.arrays.sets)
        bins = height_bins(low, high, step, SLACK)
        add_body(bins, target.tree.tree, target.X_WG, move)
        _add_insides(bins, target, move)
        rows.append((target.name, bins))
    return _joined(rows, low, high, step)


def seen_towards(
    pairs: CutPairs, tip_W: Array, direction: tuple[float, float] | None, low: float, high: float, step: float
) -> tuple[Nearest, ...]:
    """What is nearest to the axis at each height from one tip position, in a level direction of W.

    `direction` None: all round.
    """
    at_tip = position_sets([Positions(np.asarray(tip_W, dtype=np.float64).reshape(1, 3))])
    origin = position_sets([Positions(np.zeros((1, 3)))])
    rows = []
    for target in pairs.targets:
        if target.body.carrier == BED and any(axis.moves != "head" for axis in pairs.machine.linear_axes):
            continue  # the bed stands elsewhere at every tip position
        bins = height_bins(low, high, step, SLACK)
        _add_insides(bins, target, at_tip)
        if direction is None:
            add_body(bins, target.tree.tree, target.X_WG, at_tip)
        else:
            tree = target.tree.tree
            corners = target.X_WG.points(tree.vertices) - tip_W
            pieces = within_wedge(corners[tree.faces], direction, WEDGE_DEG)
            if len(pieces):
                faces = np.arange(3 * len(pieces), dtype=np.int32).reshape(-1, 3)
                own = triangle_tree(Triangles(pieces.reshape(-1, 3), faces))
                add_body(bins, own, identity("W", "G"), origin)
        rows.append((target.name, bins))
    return _joined(rows, low, high, step)


def _add_insides(bins: HeightBins, target: Target, move: PositionSets) -> None:
    """Where the axis runs inside a solid; of a mesh that is open only its surface is seen."""
    near = NearBody(target.name, target.tree.tree, target.X_WG)
    try:
        stretches = stretches_inside(near, move, np.arange(len(move.up)))
    except EngineError:
        return
    for low, high, face, i in stretches:
        add_inside(bins, low, high, face, i)


def _joined(rows: Sequence[tuple[str, HeightBins]], low: float, high: float, step: float) -> tuple[Nearest, ...]:
    """The nearest of several bodies in each bin, equal neighbours joined; bins with nothing left out."""
    if not rows:
        return ()
    table = np.array([bins.rho[1:-1] for _, bins in rows])
    which, radius = table.argmin(axis=0), table.min(axis=0)
    found: list[Nearest] = []
    for k in np.flatnonzero(np.isfinite(radius)):
        name, r = rows[which[k]][0], float(radius[k])
        z1, z2 = low + k * step, min(low + (k + 1) * step, high)
        last = found[-1] if found else None
        if last is not None and last.body == name and abs(last.radius - r) <= SLACK / 10 and last.z2 >= z1 - 1e-9:
            found[-1] = Nearest(last.z1, z2, min(last.radius, r), name)
        else:
            found.append(Nearest(z1, z2, r, name))
    return tuple(found)


# ---- a wedge ---------------------------------------------------------------------------------------


def within_wedge(triangles: Array, direction: tuple[float, float], half_deg: float) -> Array:
    """The pieces (m, 3, 3) of triangles (n, 3, 3) within a wedge about the Z axis; `half_deg` under 90."""
    middle = math.atan2(direction[1], direction[0])
    half = math.radians(half_deg)
    kept = triangles
    for edge, sign in ((middle - half, 1.0), (middle + half, -1.0)):
        kept = _cut(kept, sign * np.array([-math.sin(edge), math.cos(edge), 0.0]))
    return kept


def _cut(triangles: Array, normal: Array) -> Array:
    """The pieces of triangles on the side of a plane through the origin that its normal points to."""
    side = triangles @ normal
    n_in = (side >= 0.0).sum(axis=1)
    pieces = [triangles[n_in == 3]]
    for n in (1, 2):
        some, d = triangles[n_in == n], side[n_in == n]
        if not len(some):
            continue
        lone = np.argmax((d >= 0.0) if n == 1 else (d < 0.0), axis=1)
        order = (lone[:, None] + np.arange(3)) % 3  # the corner that is alone on its side, then the others in turn
        corner = np.take_along_axis(some, order[:, :, None], axis=1)
        d = np.take_along_axis(d, order, axis=1)
        a, b, c = corner[:, 0], corner[:, 1], corner[:, 2]
        at_b = a + (d[:, :1] / (d[:, :1] - d[:, 1:2])) * (b - a)
        at_c = a + (d[:, :1] / (d[:, :1] - d[:, 2:3])) * (c - a)
        if n == 1:
            pieces.append(np.stack([a, at_b, at_c], axis=1))
        else:
            pieces += [np.stack([at_b, b, c], axis=1), np.stack([at_b, c, at_c], axis=1)]
    found = np.concatenate(pieces)
    area = np.linalg.norm(np.cross(found[:, 1] - found[:, 0], found[:, 2] - found[:, 0]), axis=1)
    return np.asarray(found[area > FLAT])
