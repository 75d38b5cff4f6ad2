"""The second opinion of a cut: every pair that was worked out, as it was compared.

What this file does not know: how the first opinion was found, verdicts.
"""

from __future__ import annotations

import numpy as np

from kinematics.cut_pairs import CutPairs, Moves, Pair
from kinematics.machine import BED, head_motion
from kinematics.meshed_sweeps import Moving, part_mover
from kinematics.pose import Array
from kinematics.prepared import BEHIND_TOOL
from kinematics.report import PairReport
from kinematics.second_opinion import Claim, disagreement


class CutOpinion:
    """The second opinion of one cut; the tip positions of a move are made ready once."""

    def __init__(self, pairs: CutPairs) -> None:
        self._pairs = pairs
        self._ready: dict[int, Moving] = {}

    def disagreement(self, pair: Pair, report: PairReport) -> str | None:
        """What the second opinion has against what is said of a pair; None where it agrees."""
        obstacle = [(piece, pair.target.X_WG) for piece in pair.target.pieces]
        return disagreement(self._claim(pair, report), part_mover(pair.part, self._moving(pair.moves)), obstacle)

    def _moving(self, moves: Moves) -> Moving:
        if id(moves) not in self._ready:
            self._ready[id(moves)] = Moving(moves.arrays.sets, moves.down)
        return self._ready[id(moves)]

    def _claim(self, pair: Pair, report: PairReport) -> Claim:
        """What is said of a pair, in the frame in which it was compared: W, or that of the bed."""
        points, tip = report.points_W, report.tip_W
        off = np.zeros(3)
        if pair.part.order < BEHIND_TOOL and pair.target.body.carrier == BED and tip is not None:
            off = np.asarray(tip) - self._seen_from_bed(np.asarray(tip))
        return Claim(
            clearance=report.clearance,
            swept=None if report.spare is None else report.spare + pair.target.errors.total,
            points=None if points is None else (np.asarray(points[0]) - off, np.asarray(points[1]) - off),
            # of a body of the bed that moves past the table no tip is told that is its own
            tip=None if tip is None or pair.part.order >= BEHIND_TOOL else np.asarray(tip) - off,
            normal=report.normal_W,
        )

    def _seen_from_bed(self, tip: Array) -> Array:
        gauge = np.array([0.0, 0.0, self._pairs.assembly.gauge_length])
        return (tip + gauge) * head_motion(self._pairs.machine, (1.0, 1.0, 1.0)) - gauge
