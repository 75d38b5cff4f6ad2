"""The profiles of a tool assembly as arrays: each part as convex stretches of (r, z).

1. Slices that stand on each other and bulge outwards are one convex profile (a chain); a step outwards or
   a hollow begins the next. A part is the union of its chains.
2. The widest point of a chain stands twice: a lift moves what is above it, a lowering what is below it.
3. What this file does not know: obstacles, moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from kinematics.pose import Array

ON = 1e-12  # mm; slices whose ends differ by no more than this stand on each other


class Frustum(Protocol):
    """A slice: radius r1 at height z1 over the tip, r2 at z2 above it."""

    @property
    def r1(self) -> float: ...
    @property
    def r2(self) -> float: ...
    @property
    def z1(self) -> float: ...
    @property
    def z2(self) -> float: ...


@dataclass(frozen=True, slots=True, eq=False)
class Chains:
    """Convex profiles: rows `ranges[k] = (first, last, split)` of `profile` (n, 2) are chain k, (r, z) in mm."""

    profile: Array
    ranges: NDArray[np.int64]


def chains(slices: Sequence[Frustum]) -> Chains:
    """The convex profiles of slices, from the tip up."""
    points: list[tuple[float, float]] = []
    ranges: list[tuple[int, int, int]] = []
    group: list[Frustum] = []
    for s in sorted(slices, key=lambda s: s.z1):
        if group and not _goes_on(group[-1], s):
            _add(group, points, ranges)
            group = []
        group.append(s)
    if group:
        _add(group, points, ranges)
    return Chains(np.array(points, dtype=np.float64), np.array(ranges, dtype=np.int64).reshape(-1, 3))


def _goes_on(a: Frustum, b: Frustum) -> bool:
    """Whether b stands on a and the two together are convex."""
    if abs(b.z1 - a.z2) > ON or abs(b.r1 - a.r2) > ON:
        return False
    return (b.r2 - b.r1) * (a.z2 - a.z1) <= (a.r2 - a.r1) * (b.z2 - b.z1)


def _add(group: Sequence[Frustum], points: list[tuple[float, float]], ranges: list[tuple[int, int, int]]) -> None:
    rows = [(group[0].r1, group[0].z1)] + [(s.r2, s.z2) for s in group]
    widest = max(range(len(rows)), key=lambda j: rows[j][0])
    if widest + 1 == len(rows) or rows[widest + 1][0] < rows[widest][0]:
        rows.insert(widest, rows[widest])
    ranges.append((len(points), len(points) + len(rows) - 1, len(points) + widest))
    points += rows
