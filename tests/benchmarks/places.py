"""Tools, bodies and places to measure at: seeded, half of them aligned with the axes, at a wanted distance."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from tests.benchmarks import fcl_baseline
from tests.benchmarks.wavy_block import HEIGHT, SIDE, WAVE, wavy_block

Outline = list[tuple[float, float]]

# An end mill d 10, 47 mm out of a 16 mm collet holder, up to the spindle nose: the first tool of the demo.
TOOL: Outline = [
    *((5.0, 0.0), (5.0, 47.0), (14.0, 47.0), (14.0, 69.0), (16.0, 69.0), (16.0, 87.0), (23.0, 87.0), (23.0, 107.0)),
    *((35.0, 107.0), (35.0, 150.0)),
]
GAPS = (0.5, 3.0, 10.0)  # mm
NEAR = 1e-6  # mm; a place is at its distance within this


@dataclass(frozen=True, eq=False)
class Body:
    """A mesh with its vertices welded."""

    vertices: np.ndarray
    faces: np.ndarray


@dataclass(frozen=True, eq=False)
class Place:
    """A pose of the body in the tool's frame, and how far apart the two are there, by the yardstick."""

    R: np.ndarray
    p: np.ndarray
    distance: float


def body(n_triangles: int) -> Body:
    """The wavy block of about so many triangles, moved so that its middle is at the origin."""
    corners = wavy_block(n_triangles).reshape(-1, 3)
    vertices, faces = np.unique(corners, axis=0, return_inverse=True)
    return Body(vertices.astype(np.float64) - (0, 0, HEIGHT / 2), faces.reshape(-1, 3).astype(np.int32))


def turns(n: int, seed: int = 0) -> list[np.ndarray]:
    """Rotations: in turn one of the 24 that map axes to axes, and one drawn."""
    rng = np.random.default_rng(seed)
    aligned = [np.eye(3)[list(order)] * np.array(signs) for order, signs in _signed_orders()]
    rng.shuffle(aligned)
    drawn = Rotation.random(n, random_state=np.random.RandomState(seed)).as_matrix()
    return [aligned[k // 2 % 24] if k % 2 else drawn[k] for k in range(n)]


def _signed_orders() -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    found = []
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1, -1), repeat=3):
            if np.linalg.det(np.eye(3)[list(order)] * np.array(signs)) > 0.0:
                found.append((order, signs))
    return found


def places(tool: object, obstacle: object, n: int, seed: int = 0) -> list[Place]:
    """Poses of an obstacle's tree around a tool's tree at each of GAPS in turn, on all sides of the tool."""
    rng = np.random.default_rng(seed)
    still = fcl_baseline.posed(tool, np.eye(3), np.zeros(3))
    found = []
    for k, R in enumerate(turns(n, seed)):
        gap = GAPS[k % len(GAPS)]
        towards = rng.normal(size=3)
        height = rng.uniform(-20.0, 120.0)
        p = np.array([0.0, 0.0, height]) + 300.0 * towards / np.linalg.norm(towards)
        for _ in range(200):  # go nearer along the line of the two nearest points: never passes the wanted distance
            apart, points = fcl_baseline.distance_and_points(still, fcl_baseline.posed(obstacle, R, p))
            if apart - gap <= NEAR:
                break
            p = p - (points[1] - points[0]) * ((apart - gap) / apart)
        found.append(Place(R, p, apart))
    return found


def top(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Height of the block's top in the body's frame."""
    return HEIGHT / 2 + WAVE * np.sin(x * 0.7) * np.cos(y * 0.9)


def raster(n: int) -> tuple[np.ndarray, np.ndarray]:
    """X and Y (n,) of a path that goes over the whole top to and fro, steps and rows alike."""
    rows = int(np.sqrt(n))
    t = np.linspace(-SIDE / 2, SIDE / 2, n // rows)
    x = np.concatenate([t if k % 2 == 0 else t[::-1] for k in range(rows)])
    y = np.repeat(np.linspace(-SIDE / 2, SIDE / 2, rows), len(t))
    return x, y
