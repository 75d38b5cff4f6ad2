"""Random pairs of solids whose distance is known by construction (see `tests/truth/supports.py`)."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from kinematics.engine.sweep import Positions
from kinematics.shapes import Box, Screw, cone, cylinder
from tests.kinematics.engine.pairs_by_hand import clearance, cutter_of, frusta, head_box, mesh_shape
from tests.truth import brute_force
from tests.truth.supports import ball_point, direction, farthest, frustum_point, rotation, torus_point

TOOLS = ("cylinder", "point", "frustum", "ball nose", "bull nose", "head box")
OBSTACLES = ("box", "cylinder", "cone", "screw", "mesh")
MOVES = ("still", "level segment", "sloping segment", "rectangle", "polygon")


@dataclass(frozen=True)
class Built:
    """A pair at a known gap. `ask` gives the engine's answer."""

    part: Any
    shape: Any
    R: np.ndarray
    p: np.ndarray
    positions: Positions
    gap: float

    def ask(self):
        return clearance(self.part, self.shape, self.R, self.p, self.positions)


def tool(kind, rng):
    """A tool-side part, and its exact point farthest along a direction."""
    r, h = rng.uniform(0.3, 30.0), rng.uniform(0.5, 60.0)
    match kind:
        case "cylinder":
            return frusta((r, r, 0.0, h)), lambda n: frustum_point(n, r, r, 0.0, h)
        case "point":
            return frusta((0.0, r, 0.0, h)), lambda n: frustum_point(n, 0.0, r, 0.0, h)
        case "frustum":
            r2 = rng.uniform(0.3, 30.0)
            return frusta((r, r2, 3.0, 3.0 + h)), lambda n: frustum_point(n, r, r2, 3.0, 3.0 + h)
        case "ball nose":
            r = min(r, 15.0)
            part = cutter_of(kind="ball mill", d=2 * r, flute=2 * r, shank=2 * r)
            return part, lambda n: ball_point(n, r, r) if n[2] <= 0 else frustum_point(n, r, r, r, 2 * r)
        case "bull nose":
            r = min(r, 15.0)
            corner = r * rng.uniform(0.05, 0.95)
            part = cutter_of(kind="bull mill", d=2 * r, flute=2 * r, shank=2 * r, corner_radius=corner)
            return (
                part,
                lambda n: (
                    torus_point(n, r - corner, corner, corner) if n[2] <= 0 else frustum_point(n, r, r, corner, 2 * r)
                ),
            )
        case _:
            size = rng.uniform(0.5, 40.0, 3)
            vertices, _ = brute_force.box_mesh(size, -size / 2)
            turned = vertices @ rotation(rng, "any").T
            return head_box(turned), lambda n: farthest(turned, n)


def obstacle(kind, rng):
    """A shape, and its exact point farthest along a direction of its own frame."""
    d = rng.uniform(0.5, 60.0, 3)
    match kind:
        case "box":
            corners, _ = brute_force.box_mesh(d, (-d[0] / 2, -d[1] / 2, 0.0))
            return Box(*d), lambda n: farthest(corners, n)
        case "cylinder":
            return cylinder(d[0], d[1]), lambda n: frustum_point(n, d[0] / 2, d[0] / 2, 0.0, d[1])
        case "cone":
            top = 0.0 if rng.random() < 0.5 else d[1]
            return cone(d[0], top, d[2]), lambda n: frustum_point(n, d[0] / 2, top / 2, 0.0, d[2])
        case "screw":
            return Screw("ISO 4762", "M6", 10.0, 6.0, 6.0, 16.0), lambda n: farthest(
                [frustum_point(n, 5.0, 5.0, 0.0, 6.0), frustum_point(n, 3.0, 3.0, -16.0, 0.0)], n
            )
        case _:
            vertices, faces = brute_force.prism_mesh(int(rng.integers(3, 40)), d[0], d[1], d[2])
            return mesh_shape(vertices, faces), lambda n: farthest(vertices, n)


def positions(kind, rng):
    """A convex set of tip positions, off the origin, with or without a lift."""
    o = rng.uniform(-100.0, 100.0, 3)
    up = float(rng.choice([0.0, rng.uniform(1.0, 300.0)]))
    match kind:
        case "still":
            return Positions(o[None, :], up)
        case "level segment":
            return Positions(np.array([o, o + (*rng.uniform(-40.0, 40.0, 2), 0.0)]), up)
        case "sloping segment":
            return Positions(np.array([o, o + rng.uniform(-40.0, 40.0, 3)]), up)
        case "rectangle":
            t = rng.uniform(0.0, 2 * np.pi) if rng.random() < 0.5 else 0.0
            u, v = np.array([np.cos(t), np.sin(t), 0.0]), np.array([-np.sin(t), np.cos(t), 0.0])
            a, b = rng.uniform(0.1, 50.0, 2)
            return Positions(np.array([o, o + a * u, o + a * u + b * v, o + b * v]), up)
        case _:
            n = int(rng.integers(3, 9))
            t = 2 * np.pi * (np.arange(n) + rng.uniform(0.0, 0.8, n)) / n
            ring = np.column_stack([np.cos(t), np.sin(t), np.zeros(n)]) * rng.uniform(3.0, 30.0)
            return Positions(o + ring, up)


def built(tool_kind, obstacle_kind, move, rng, gap, pose):
    """A pair at exactly this gap; `pose` is "any" or "aligned"."""
    part, tool_point = tool(tool_kind, rng)
    shape, obstacle_point = obstacle(obstacle_kind, rng)
    moves = positions(move, rng)
    n = direction(rng, pose if rng.random() < 0.8 else "any")
    R = rotation(rng, pose)
    reached = np.vstack([moves.points, moves.points + (0.0, 0.0, moves.up)])
    near = tool_point(n) + farthest(reached, n)
    p = near + gap * n - R @ obstacle_point(R.T @ -n)
    return Built(part, shape, R, p, moves, gap)
