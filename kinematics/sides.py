"""A contact normal in the operator's words, by the clock, and in the part's words."""

from __future__ import annotations

import math

import numpy as np

from kinematics.pose import Vector

VERTICAL_FROM = 0.7  # a vertical part above this is said as above or below
NAMED_FROM = 0.2  # a horizontal part below this is left out
_UP = (0.0, 0.0, 1.0)


def side_words(normal_W: Vector, operator: Vector) -> str:
    """Where the obstacle is, as the operator stands: left, right, to you, away; or above, below.

    `operator` is the horizontal direction in W from the machine to the operator. The larger part first.
    """
    if abs(normal_W[2]) > VERTICAL_FROM:
        return "above" if normal_W[2] > 0.0 else "below"
    right = np.cross(_UP, operator)  # the operator looks the other way, so this is at their right hand
    across, along = _rounded(np.dot(normal_W, right)), _rounded(np.dot(normal_W, operator))
    words = [(abs(along), "to you" if along > 0.0 else "away"), (abs(across), "right" if across > 0.0 else "left")]
    said = [word for size, word in sorted(words, reverse=True) if size >= NAMED_FROM]
    return ", ".join(said) if said else ("above" if normal_W[2] > 0.0 else "below")


def clock(normal_W: Vector, operator: Vector) -> int | None:
    """The direction round the tool seen from above: 12 away from the operator, 3 at their right.

    None where the normal is vertical, as the side then is above or below.
    """
    if abs(normal_W[2]) > VERTICAL_FROM:
        return None
    right = np.cross(_UP, operator)
    angle = math.degrees(math.atan2(float(np.dot(normal_W, right)), -float(np.dot(normal_W, operator))))
    return round(_rounded(angle) / 30.0) % 12 or 12


def part_side(normal_P: Vector) -> str:
    """The largest part of the normal in P, as +X, -X, ... -Z."""
    i = int(np.abs([_rounded(v) for v in normal_P]).argmax())
    return f"{'+' if normal_P[i] > 0.0 else '-'}{'XYZ'[i]}"


def _rounded(value: float) -> float:
    """Without its last digits, so that what is half way between two words is always said by the same one."""
    return round(float(value), 6)
