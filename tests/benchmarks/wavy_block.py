"""A scene with a generated part of a wanted number of triangles: a block with a wavy top, closed on all sides."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

SIDE = 60.0  # mm, both ways
HEIGHT = 40.0  # of the block's mean top over its base
WAVE = 2.0  # amplitude of the waves, so that the top has no flat place

SCENE = """\
format: 1
units: mm
title: "Wavy block"
machine: compact_ac
keep_off: {cut: 2.0, swing: 5.0}
workpiece:
  zero: {rides_on: plate, at: [0, 0, 40]}
  states:
    block: [{name: block, mesh: {file: block.stl, units: mm, from: base_centre}, at: [0, 0, -40]}]
bodies:
  - {name: plate, rides_on: platter, box: [80, 80, 20]}
  - {name: clamp screw, rides_on: plate, screw: {standard: ISO 4762, size: M8}, at: [0, 36, 0]}
tools:
  - {id: T1, kind: end mill, d: 10, flute: 25, shank: 10, overall: 80, stick_out: 30, holder: collet_16_jis30}
  - {id: T2, kind: drill, d: 6, flute: 40, shank: 6, point_deg: 118, overall: 93, stick_out: 45,
     holder: collet_16_jis30}
retract: 60
orientations:
  - name: V1
    tilt: 60
    rotary: 30
    cuts:
      - {name: top pocket, tool: T1, state: block,
         pocket: {at: [0, 0, 2], size: [30, 20], along: [0.5, 0.866, 0], depth: 6}}
      - {name: side hole, tool: T2, state: block, hole: {at: [0, 30, -10], depth: 12}}
"""


def write_scene(folder: Path, n_triangles: int) -> tuple[Path, int]:
    """Write part and scene; returns the scene file and how many triangles the part really has."""
    triangles = wavy_block(n_triangles)
    write_stl(folder / "block.stl", triangles)
    file = folder / "block.scene.yaml"
    file.write_text(SCENE, encoding="utf-8")
    return file, len(triangles)


def wavy_block(n_triangles: int) -> NDArray[np.float32]:
    """Triangles (n, 3, 3), corners counter-clockwise from outside; about as many as wanted.

    A grid of m x m squares on top, m squares on each side, and a fan below: 2 m^2 + 8 m + 4 m.
    """
    m = max(2, round((-12 + (144 + 8 * n_triangles) ** 0.5) / 4))
    t = np.linspace(-SIDE / 2, SIDE / 2, m + 1)
    x, y = np.meshgrid(t, t, indexing="ij")
    z = HEIGHT + WAVE * np.sin(x * 0.7) * np.cos(y * 0.9)
    top = np.stack([x, y, z], axis=-1)
    a, b, c, d = top[:-1, :-1], top[1:, :-1], top[1:, 1:], top[:-1, 1:]
    pieces = [np.stack([a, b, c], axis=-2).reshape(-1, 3, 3), np.stack([a, c, d], axis=-2).reshape(-1, 3, 3)]
    rim = np.concatenate([top[:-1, 0], top[-1, :-1], top[:0:-1, -1], top[0, :0:-1]])  # once round, seen from above
    after = np.roll(rim, -1, axis=0)
    below, after_below = rim * (1.0, 1.0, 0.0), after * (1.0, 1.0, 0.0)
    pieces += [np.stack([rim, below, after_below], axis=1), np.stack([rim, after_below, after], axis=1)]
    pieces.append(np.stack([after_below, below, np.zeros_like(below)], axis=1))
    return np.concatenate(pieces).astype(np.float32)


def write_stl(file: Path, triangles: NDArray[np.float32]) -> None:
    """Binary STL; the normals are left 0, as many writers do."""
    records = np.zeros(len(triangles), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    records["corners"] = triangles
    with file.open("wb") as stream:
        stream.write(b"wavy block".ljust(80))
        stream.write(np.uint32(len(triangles)).tobytes())
        stream.write(records.tobytes())
