"""Searching one length for where a limit is met: roots that are verified, ranges that claim no more than is proven.

1. A margin is 1-Lipschitz: over a length s it changes by no more than s.
2. Where it never falls, the least length that meets a limit is one root: bracketed, and never overshot by more
   than RESOLUTION; the end that is handed out was evaluated.
3. Elsewhere the whole range is cut until each piece is certain or RESOLUTION wide; what is not certain counts
   as the worse.
4. What this file does not know: tools, cuts, bodies.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

RESOLUTION = 0.004  # mm; between a length that is proven to meet a limit and one that is not
TOUCHING_PIECE = 0.25  # mm; where solids touch at both ends of a piece this wide, it counts as touching all along
STEP = 0.01  # mm; answers are told to this


@dataclass(frozen=True, slots=True)
class Root:
    """The least length at which a limit is met, and what was found there; `at_end`: the range begins met."""

    length: float
    at_end: bool


def least_met(margin: Callable[[float], float], low: float, high: float) -> Root | None:
    """The least length in [low, high] from which on a margin that never falls is at least 0, within RESOLUTION.

    None where it is not met at `high`. The length of the root was evaluated, and met.
    """
    at_low = margin(low)
    if at_low >= 0.0:
        return Root(low, True)
    at_high = margin(high)
    if at_high < 0.0:
        return None
    known, least = (low, at_low), low  # the last length that failed; no length below `least` is met
    if math.isfinite(at_low):
        least = max(least, low - at_low)  # it rises by no more than the length does
    n_slow = 0
    while high - least > RESOLUTION:
        before = high - least
        length = 0.5 * (least + high)
        if math.isfinite(known[1]) and math.isfinite(at_high) and n_slow < 2:
            length = known[0] + (high - known[0]) * (-known[1]) / (at_high - known[1])
            length += 0.4 * RESOLUTION if n_slow == 0 else -0.4 * RESOLUTION  # to fall on either side of the root
            length = min(max(length, least + 0.25 * RESOLUTION), high - 0.25 * RESOLUTION)
        found = margin(length)
        if found >= 0.0:
            high, at_high = length, found
        else:
            known, least = (length, found), length
            if math.isfinite(found):
                least = min(max(least, length - found), high)
        n_slow = n_slow + 1 if high - least > 0.5 * before else 0
        if n_slow > 2:
            n_slow = 0
    return Root(high, False)


def certain_pieces(
    margins: Callable[[float], tuple[float, ...]], low: float, high: float
) -> Iterator[tuple[float, float, tuple[bool, ...]]]:
    """Pieces of [low, high] in order, each with which limits are proven to be met all along it.

    A limit that could not be proven for a piece, down to RESOLUTION, counts as not met there.
    """
    todo = [(low, high)]
    while todo:
        a, b = todo.pop()
        half = 0.5 * (b - a)
        middle = a + half
        found = margins(middle)
        is_certain = all(abs(m) > half and (math.isfinite(m) or m > 0.0) for m in found)
        touches = any(m == -math.inf for m in found) and all(m == -math.inf or m < -half for m in found)
        if is_certain or b - a <= RESOLUTION or (touches and b - a <= TOUCHING_PIECE):
            yield a, b, tuple(m >= half for m in found)
            continue
        todo += [(middle, b), (a, middle)]


def rounded_up(length: float) -> float:
    """To the next STEP, unless it is one already."""
    return math.ceil(length / STEP - 1e-6) * STEP
