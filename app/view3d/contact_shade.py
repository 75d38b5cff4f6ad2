"""Shade where bodies meet, from how far away each pixel lies. Plain numbers, no light.

A pixel is shaded as much as it lies deeper than the mean of two pixels on opposite sides of it: nothing on a plane,
whatever its slant, and the more the sharper the corner. A step that is deeper than REACH belongs to things that
stand apart, and counts less the deeper it is.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Depth = NDArray[np.float32]
RADII = (0.8, 1.6, 2.8, 4.4)  # mm to either side
N_WAYS = 6  # pairs of opposite pixels at each radius; each radius has other ways than the one before
LARGEST = 30  # pixels to either side
REACH = 12.0  # mm
STRENGTH = 0.30  # of the darkest shade
FULL = 0.55  # of its radius a pixel must lie deeper for all of the shade


def contact_shade(depth: Depth, is_body: NDArray[np.bool_], mm_per_pixel: float) -> Depth:
    """How much each pixel is darkened, 0 to STRENGTH.

    Parameters
    ----------
    depth : (rows, columns) mm towards the eye; whatever it likes where there is no body.
    is_body : (rows, columns) the ground takes no shade and gives none.
    """
    height = np.where(is_body, depth, np.float32(-1e9)).astype(np.float32)
    total = np.zeros_like(height)
    steps = _steps(mm_per_pixel)
    for ways in steps:
        for dy, dx in ways:
            mm = math.hypot(dy, dx) * mm_per_pixel
            one, other = _moved(height, dy, dx), _moved(height, -dy, -dx)
            over_one, over_other = one - height, other - height
            near_one = np.clip(1.0 - np.abs(over_one) / REACH, 0.0, 1.0)
            near_other = np.clip(1.0 - np.abs(over_other) / REACH, 0.0, 1.0)
            # a side that stands far before counts little; one that falls away is no more than a plane's edge
            deeper = (over_one + over_other) / 2.0 * np.sqrt(near_one * near_other)
            total += np.clip(deeper / (FULL * mm), 0.0, 1.0)
    shade = np.where(is_body, total / sum(len(ways) for ways in steps), 0.0).astype(np.float32)
    return np.asarray(STRENGTH * np.clip(1.6 * _blurred(shade), 0.0, 1.0) * is_body, dtype=np.float32)


def _steps(mm_per_pixel: float) -> list[list[tuple[int, int]]]:
    """Rows and columns from a pixel to one of each pair, by radius; what falls on the same pixels counts once."""
    found = []
    for k, radius in enumerate(RADII):
        pixels = min(float(LARGEST), max(1.0, radius / mm_per_pixel))
        angles = [math.pi * (i + k / len(RADII)) / N_WAYS for i in range(N_WAYS)]
        found.append(sorted({(round(pixels * math.sin(a)), round(pixels * math.cos(a))) for a in angles}))
    return found


def _moved(values: Depth, rows: int, columns: int) -> Depth:
    """The values so many rows and columns on; the rim repeats."""
    n, m = values.shape
    r = np.clip(np.arange(n) + rows, 0, n - 1)
    c = np.clip(np.arange(m) + columns, 0, m - 1)
    return np.asarray(values[r][:, c])


def _blurred(values: Depth) -> Depth:
    """The mean with the four neighbours, again and again."""
    for _ in range(5):
        values = (
            2.0 * values + _moved(values, 1, 0) + _moved(values, -1, 0) + _moved(values, 0, 1) + _moved(values, 0, -1)
        ) / 6.0
    return np.asarray(values)
