"""Stacks of frusta against bins of what lies round the tool: intervals for many stacks and many heights at once.

1. Over the bins of all bodies stands a tree of boxes: the least radius, the heights and the largest number that
   is taken off. A box that can't change the answer by more than the tolerance bounds it and stays shut.
2. A bin's box bounds from below, the radius that is attained in it from above.
3. What was nearest at one height of a stack is tried first at the next.
4. A bound of no distance reads -inf: contact is never a number.
5. What this file does not know: bodies, moves, units other than mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kinematics.engine.compiled import kernel
from kinematics.engine.height_bins import HeightBins
from kinematics.engine.position_sets import Ints
from kinematics.pose import Array

ROUNDING = 1e-6  # mm, taken off before a bound is called proven
FAN = 4  # children of a box over the bins
DEEPEST = 16 * FAN  # boxes that wait at most; FAN to the 16th are enough

Rises = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Boxes:
    """Trees of boxes over the bins, one for each group; row `levels[g, k]` is the first of level k, 0 the bins.

    Parameters
    ----------
    box : (n, 4), least radius, lowest and highest height, largest subtract.
    attained : (n, 3), radius, height, subtract of a bin.
    who : (n, 3), body, face, set of a bin.
    levels : (g, m), `sizes` : (g, m), 0 above the top.
    rises : (g, 4), least and largest rise of the positions, least and largest of the rise that stays.
    """

    box: Array
    attained: Array
    who: NDArray[np.int32]
    levels: Ints
    sizes: Ints
    rises: Array


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Position sets that rise alike: their numbers in the move, and the bins of each body seen from them."""

    members: Ints
    rises: Rises
    bins: tuple[HeightBins, ...]


def boxes_over(groups: Sequence[Group], subtract: Array, error: Array) -> Boxes:
    """The trees over groups of bins; of each body (n,) what is taken off, and what is taken off a bound besides."""
    parts = []
    for group in groups:
        bins = group.bins
        rho, height = np.array([b.rho for b in bins]), np.array([b.height for b in bins])
        face, index = np.array([b.face for b in bins]), np.array([b.set_index for b in bins])
        low, step, slack = bins[0].low, bins[0].step, bins[0].slack
        parts.append(_tree(*_entries(low, step, slack, rho, height, face, index, subtract, error, group.members)))
    n_levels = max(len(p[3]) for p in parts)
    levels = np.zeros((len(parts), n_levels), dtype=np.int64)
    sizes = np.zeros((len(parts), n_levels), dtype=np.int64)
    before = 0
    for g, (box, _, _, firsts, counts) in enumerate(parts):
        levels[g, : len(firsts)] = firsts + before
        sizes[g, : len(counts)] = counts
        before += len(box)
    box, attained, who = (np.concatenate([p[k] for p in parts]) for k in range(3))
    return Boxes(box, attained, who, levels, sizes, np.array([g.rises for g in groups], dtype=np.float64))


@kernel
def _entries(
    low: float, step: float, slack: float, rho: Array, height: Array, face: NDArray[np.int32],
    index: NDArray[np.int32], subtract: Array, error: Array, members: Ints,
) -> tuple[Array, Array, NDArray[np.int32]]:  # fmt: skip
    """The bins of all bodies in order of height, without those that another body's covers."""
    n_bodies, n = rho.shape
    n_all = 0
    for k in range(n):
        for b in range(n_bodies):
            if rho[b, k] < math.inf:
                n_all += 1
    box, attained, who = np.zeros((n_all, 4)), np.zeros((n_all, 3)), np.zeros((n_all, 3), dtype=np.int32)
    m = 0
    for k in range(n):
        za = -math.inf if k == 0 else low + (k - 1) * step
        zb = math.inf if k == n - 1 else low + k * step
        for b in range(n_bodies):
            r, s = rho[b, k], subtract[b] + error[b]
            is_kept = r < math.inf
            for c in range(n_bodies):
                other = subtract[c] + error[c]
                if c != b and rho[c, k] <= r and other >= s and (rho[c, k] < r or other > s or c < b):
                    is_kept = False
            if not is_kept:
                continue
            box[m, 0], box[m, 1], box[m, 2], box[m, 3] = max(0.0, r - slack), za, zb, s
            attained[m, 0], attained[m, 1], attained[m, 2] = r, height[b, k], subtract[b]
            who[m, 0], who[m, 1], who[m, 2] = b, face[b, k], members[index[b, k]]
            m += 1
    return box[:m].copy(), attained[:m].copy(), who[:m].copy()


def _tree(
    box: Array, attained: Array, who: NDArray[np.int32]
) -> tuple[Array, Array, NDArray[np.int32], Ints, Ints]:  # fmt: skip
    """Boxes of FAN boxes each, level by level behind the bins."""
    levels, counts, all_boxes = [0], [len(box)], [box]
    while counts[-1] > 1:
        below = all_boxes[-1]
        n = -(-len(below) // FAN)
        spare = np.tile([math.inf, math.inf, -math.inf, -math.inf], (n * FAN - len(below), 1))
        rows = np.concatenate([below, spare]).reshape(n, FAN, 4)
        made = np.stack(
            [rows[:, :, 0].min(1), rows[:, :, 1].min(1), rows[:, :, 2].max(1), rows[:, :, 3].max(1)], axis=1
        )
        levels.append(levels[-1] + counts[-1])
        counts.append(n)
        all_boxes.append(made)
    joined = np.ascontiguousarray(np.concatenate(all_boxes))
    more = len(joined) - len(box)
    return (
        joined,
        np.concatenate([attained, np.zeros((more, 3))]),
        np.concatenate([who, np.full((more, 3), -1, dtype=np.int32)]),
        np.array(levels, dtype=np.int64),
        np.array(counts, dtype=np.int64),
    )


@kernel
def wall_gap(
    r1: float, r2: float, z1: float, z2: float, down: float, up: float, rho: float, za: float, zb: float
) -> float:
    """Distance from all (r >= rho, za <= z <= zb) to a frustum (r1 at z1, r2 at z2) swept down and up; 0 on contact.

    A point farther from the axis is never nearer to the frustum, and at one radius the distance is convex over
    the height: the height nearest to the frustum's widest stretch decides.
    """
    widest = max(r1, r2)
    low = (z2 if r2 > r1 else z1) - down
    high = (z1 if r1 > r2 else z2) + up
    if zb >= low and za <= high:
        return max(0.0, rho - widest)
    if zb < low:
        off, is_slant = low - zb, r2 > r1
    else:
        off, is_slant = za - high, r2 < r1
    beyond = rho - widest
    if not is_slant:
        return off if beyond <= 0.0 else math.sqrt(off * off + beyond * beyond)
    # from the widest place the frustum narrows over its height to the end on this side
    rise = z2 - z1
    narrow = min(r1, r2)
    if rho <= narrow:
        return max(0.0, off - rise)
    run = widest - narrow
    side = beyond * rise + off * run  # over the slant if positive, times its length
    length2 = run * run + rise * rise
    if side <= 0.0 and off <= rise:
        return 0.0
    t = min(1.0, max(0.0, (off * rise - beyond * run) / length2))
    dr, dz = beyond + t * run, off - t * rise
    return math.sqrt(dr * dr + dz * dz)


@kernel
def rooms_of(
    frusta: Array, starts: Ints, shifts: Array, raised: Array, taller: Array, down: float, cap: float, slack: float,
    box: Array, attained: Array, levels: Ints, sizes: Ints, rises: Array,
) -> tuple[Array, Array, NDArray[np.int32]]:  # fmt: skip
    """Intervals (n_profiles, n_shifts), and rows of the bin and numbers of the frustum that give the upper ends."""
    n_profiles, n_shifts = shifts.shape
    n_groups = len(rises)
    lo, hi = np.full((n_profiles, n_shifts), math.inf), np.full((n_profiles, n_shifts), math.inf)
    at = np.full((n_profiles, n_shifts, 2), -1, dtype=np.int32)
    open_level, open_box = np.zeros(DEEPEST, dtype=np.int64), np.zeros(DEEPEST, dtype=np.int64)
    open_bound = np.zeros(DEEPEST)
    ups = np.zeros((n_groups, 2))
    for p in range(n_profiles):
        warm, warm_group = -1, 0
        for s in range(n_shifts):
            shift = shifts[p, s]
            for g in range(n_groups):
                ups[g, 0] = max(rises[g, 2], rises[g, 0] + raised[p, s]) + taller[p, s]
                ups[g, 1] = max(rises[g, 3], rises[g, 1] + raised[p, s]) + taller[p, s]
            least, most = math.inf, math.inf
            bin_at, frustum_at, group_at = -1, -1, 0
            if warm >= 0:  # what was nearest at the last shift is not far now
                for f in range(starts[p], starts[p + 1]):
                    d = wall_gap(
                        frusta[f, 0], frusta[f, 1], frusta[f, 2] + shift, frusta[f, 3] + shift, down,
                        ups[warm_group, 0], attained[warm, 0], attained[warm, 1], attained[warm, 1],
                    )  # fmt: skip
                    v = d - attained[warm, 2] if d > 0.0 else -math.inf
                    if v < most:
                        most, bin_at, frustum_at, group_at = v, warm, f - starts[p], warm_group
            for f in range(starts[p], starts[p + 1]):
                r1, r2, z1, z2 = frusta[f, 0], frusta[f, 1], frusta[f, 2] + shift, frusta[f, 3] + shift
                for g in range(n_groups):
                    top = 0
                    while top + 1 < sizes.shape[1] and sizes[g, top + 1] > 0:
                        top += 1
                    if sizes[g, top] == 0 or most == -math.inf:
                        continue
                    n = 1
                    open_level[0], open_box[0] = top, 0
                    open_bound[0] = _bound(r1, r2, z1, z2, down, ups[g, 1], box, levels[g, top])
                    while n > 0:
                        n -= 1
                        level, k, bound = open_level[n], open_box[n], open_bound[n]
                        if bound >= most - slack or bound >= cap:
                            least = min(least, bound)
                            continue
                        row = levels[g, level] + k
                        if level == 0:
                            d = wall_gap(
                                r1, r2, z1, z2, down, ups[g, 0], attained[row, 0], attained[row, 1], attained[row, 1]
                            )
                            v = d - attained[row, 2] if d > 0.0 else -math.inf
                            least = min(least, bound)
                            if v < most:
                                most, bin_at, frustum_at, group_at = v, row, f - starts[p], g
                                if v == -math.inf:
                                    break
                            continue
                        best, best_n = math.inf, n
                        for c in range(FAN * k, min(FAN * k + FAN, sizes[g, level - 1])):
                            b = _bound(r1, r2, z1, z2, down, ups[g, 1], box, levels[g, level - 1] + c)
                            if b >= most - slack or b >= cap:
                                least = min(least, b)
                                continue
                            open_level[n], open_box[n], open_bound[n] = level - 1, c, b
                            if b < best:
                                best, best_n = b, n
                            n += 1
                        if best < math.inf:  # the nearest one goes on top
                            k, bound = open_box[n - 1], open_bound[n - 1]
                            open_box[n - 1], open_bound[n - 1] = open_box[best_n], open_bound[best_n]
                            open_box[best_n], open_bound[best_n] = k, bound
            warm, warm_group = bin_at, group_at
            lo[p, s], hi[p, s] = (least, most) if most > -math.inf else (-math.inf, -math.inf)
            at[p, s, 0], at[p, s, 1] = bin_at, frustum_at
    return lo, hi, at


@kernel
def _bound(r1: float, r2: float, z1: float, z2: float, down: float, up: float, box: Array, row: int) -> float:
    """The least room that anything in a box can leave; -inf where contact is not excluded."""
    d = wall_gap(r1, r2, z1, z2, down, up, box[row, 0], box[row, 1], box[row, 2]) - ROUNDING
    return d - box[row, 3] if d > 0.0 else -math.inf


def warm_up() -> None:
    """Compiled with what asks for it."""
    from kinematics.engine import envelope

    envelope.warm_up()
