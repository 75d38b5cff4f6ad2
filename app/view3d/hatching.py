"""Hatch in the plane of the picture, over swept room: slanting lines, and a line round it. Plain numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from app.view3d.drawn import ShellPaint
from app.view3d.looks import rgb

Pixels = NDArray[np.uint8]
STEP, WIDTH = 9.0, 1.1  # pixels of the design from line to line, measured along a row, and how wide each is
RIM = 1.5
ISLAND = 18.0  # pixels of the design: a spot that is smaller comes from the steps of the grid
TINT = 0.10  # how much of the skin's colour lies over what is within
LINES = 0.75  # how strong the lines are


def hatched(pixels: Pixels, is_shell: NDArray[np.bool_], paint: ShellPaint, scale: float) -> Pixels:
    """The picture (rows, columns, 4) with the places of a shell tinted, hatched, and a line round them.

    `scale` : pixels for one of the design.
    """
    is_shell = is_shell & (_mean(is_shell, round(ISLAND * scale)) > 0.4)
    rows, columns = is_shell.shape
    at = (np.arange(columns)[None, :] + np.arange(rows)[:, None]) % max(2, round(STEP * scale))
    strength = np.where(at < max(1, round(WIDTH * scale)), np.float32(LINES), np.float32(0.0)) * is_shell
    strength = np.where(_rim(is_shell, max(1, round(RIM * scale))), np.float32(1.0), strength)
    found = pixels.astype(np.float32)
    for colour, share in ((paint.skin, np.float32(TINT) * is_shell), (paint.hatch, strength)):
        ink = np.array([255.0 * c for c in rgb(colour)], dtype=np.float32)
        found[..., :3] += (ink - found[..., :3]) * share[..., None]
    return found.astype(np.uint8)


def _mean(inside: NDArray[np.bool_], size: int) -> NDArray[np.float64]:
    """How much of the square round each pixel is inside."""
    half = max(1, size // 2)
    total = np.pad(inside.astype(np.float64), ((half + 1, half), (half + 1, half)), mode="edge").cumsum(0).cumsum(1)
    n = 2 * half + 1
    return np.asarray((total[n:, n:] - total[:-n, n:] - total[n:, :-n] + total[:-n, :-n]) / (n * n))


def _rim(inside: NDArray[np.bool_], width: int) -> NDArray[np.bool_]:
    """What is inside and no farther than `width` from what is not, along rows and columns."""
    deep = inside.copy()
    for axis in (0, 1):
        for step in (width, -width):
            deep &= np.roll(inside, step, axis)
    return np.asarray(inside & ~deep)
