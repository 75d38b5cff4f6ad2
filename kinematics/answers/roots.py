"""Searching one length for where a limit is met: roots that are verified, ranges that claim no more than is proven.

1. Where a margin never falls, the least length that meets a limit is one root: bracketed, and never overshot by
   more than RESOLUTION; the end that is handed out was evaluated. A margin is 1-Lipschitz: over a length s it
   changes by no more than s.
2. Elsewhere the whole range is cut until how bad it is is certain for each piece, or the piece RESOLUTION wide;
   what is not certain then counts as the worse.
3. What this file does not know: tools, cuts, bodies.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TypeVar

RESOLUTION = 0.002  # mm; between a length that is proven to meet a limit and one that is not
STEP = 0.01  # mm; answers are told to this

State = TypeVar("State")


def least_met(margin: Callable[[float], float], low: float, high: float) -> float | None:
    """The least length in [low, high] from which on a margin that never falls is at least 0, within RESOLUTION.

    None where it is not met at `high`. The length that is handed out was evaluated, and met.
    """
    at_low = margin(low)
    if at_low >= 0.0:
        return low
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
    return high


def certain_pieces(
    levels: Callable[[float, float, State], tuple[int, int, State]],
    low: float,
    high: float,
    state: State,
    *,
    resolution: float = RESOLUTION,
) -> Iterator[tuple[float, float, int]]:
    """Pieces of [low, high] in order, each with how bad it is at worst.

    Parameters
    ----------
    levels : of a piece [a, b]: how bad it is at every length of it at best, and at worst, and what is to be
        handed on to its halves. What is true of a piece is true of each part of it.
    resolution : pieces no wider than this are not cut again.
    """
    todo = [(low, high, state)]
    while todo:
        a, b, known = todo.pop()
        best, worst, known = levels(a, b, known)
        if best >= worst or b - a <= resolution:
            yield a, b, worst
            continue
        middle = a + 0.5 * (b - a)
        todo += [(middle, b, known), (a, middle, known)]


def rounded_up(length: float) -> float:
    """To the next STEP, unless it is one already."""
    return round(math.ceil(length / STEP - 1e-6) * STEP, 6)


def rounded_down(length: float) -> float:
    """To the last STEP, unless it is one already."""
    return round(math.floor(length / STEP + 1e-6) * STEP, 6)
