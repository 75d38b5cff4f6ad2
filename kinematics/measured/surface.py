"""A mesh as facets with neighbours: regions that are grown over its edges, and their rims.

1. A facet knows the facet across each of its edges; -1 where there is none or more than one.
2. An edge is concave where the other facet rises in front of the one: in a corner of a pocket, not on its rim.
3. What this file does not know: holes, pockets, frames, files.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kinematics.pose import Array

Ints = NDArray[np.int64]
FLAT = math.cos(math.radians(1.0))  # facets within this turn of each other are taken as one plane


@dataclass(frozen=True, slots=True)
class Rim:
    """One closed line of edges around a region, in order.

    Parameters
    ----------
    vertices : their rows, (n,); edge k goes from k to k + 1, the last to the first.
    beyond : the facet on the other side of each edge, (n,); -1 where there is none.
    """

    vertices: Ints
    beyond: Ints


class Surface:
    """Facets of a mesh with normals and neighbours.

    Parameters
    ----------
    vertices : (n, 3), mm.
    faces : (m, 3), outward corners counter-clockwise, vertices shared between facets.
    """

    def __init__(self, vertices: Array, faces: NDArray[np.integer]) -> None:
        self.vertices = np.asarray(vertices, dtype=np.float64)
        self.faces: Ints = np.asarray(faces, dtype=np.int64)
        corners = self.vertices[self.faces]
        crossed = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        twice = np.linalg.norm(crossed, axis=1)
        self.areas = twice / 2.0
        self.normals = crossed / np.where(twice > 0.0, twice, 1.0)[:, None]
        self.beyond = _neighbours(self.faces, len(self.vertices))

    def turn_between(self, face: int, other: int) -> float:
        """Cosine of the angle between the normals of two facets."""
        return float(self.normals[face] @ self.normals[other])

    def bends_inward(self, face: int, other: int) -> bool:
        """Whether the edge between two neighbours is concave: the other rises in front of the first."""
        off = self.vertices[self.faces[other]] - self.vertices[self.faces[face, 0]]
        heights = off @ self.normals[face]
        return bool(heights[np.argmax(np.abs(heights))] > 0.0)

    def grown(self, seeds: Iterable[int], crosses: Callable[[int, int], bool]) -> Ints:
        """The facets that are reached from `seeds` over edges that `crosses(from, to)` lets pass, in order."""
        seen = set(seeds)
        waiting = sorted(seen)
        while waiting:
            face = waiting.pop()
            for other in self.beyond[face].tolist():
                if other >= 0 and other not in seen and crosses(face, other):
                    seen.add(other)
                    waiting.append(other)
        return np.array(sorted(seen), dtype=np.int64)

    def rims(self, region: Ints) -> tuple[Rim, ...]:
        """The closed lines of edges around a region; lines that can't be followed are left out."""
        inside = set(region.tolist())
        starts: dict[int, list[tuple[int, int]]] = {}
        for face in region.tolist():
            for k in range(3):
                other = int(self.beyond[face, k])
                if other not in inside:
                    a, b = int(self.faces[face, k]), int(self.faces[face, (k + 1) % 3])
                    starts.setdefault(a, []).append((b, other))
        found = []
        while starts:
            first = next(iter(starts))
            line: list[tuple[int, int]] = []
            at = first
            while at in starts:
                to, other = starts[at].pop()
                if not starts[at]:
                    del starts[at]
                line.append((at, other))
                at = to
                if at == first:
                    found.append(Rim(_ints(v for v, _ in line), _ints(o for _, o in line)))
                    break
        return tuple(found)

    def vertices_of(self, region: Ints) -> Array:
        """The points that the facets of a region have, each once, (n, 3)."""
        return self.vertices[np.unique(self.faces[region])]


def _ints(values: Iterable[int]) -> Ints:
    return np.array(list(values), dtype=np.int64)


def _neighbours(faces: Ints, n_vertices: int) -> Ints:
    """(m, 3): the facet across the edge from corner k to k + 1; -1 where it is not exactly one."""
    n = len(faces)
    a = faces.ravel()
    b = np.roll(faces, -1, axis=1).ravel()
    keys = np.minimum(a, b) * n_vertices + np.maximum(a, b)
    order = np.argsort(keys, kind="stable")
    _, starts, counts = np.unique(keys[order], return_index=True, return_counts=True)
    pairs = starts[counts == 2]
    first, second = order[pairs], order[pairs + 1]
    beyond = np.full(3 * n, -1, dtype=np.int64)
    beyond[first], beyond[second] = second // 3, first // 3
    return beyond.reshape(n, 3)
