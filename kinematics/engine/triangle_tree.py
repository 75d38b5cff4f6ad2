"""A tree of boxes over the triangles of one body, in the body's own frame: built once, posed for nothing.

1. Built by halving at the place of least expected work (binned surface area: I. Wald, "On fast construction
   of SAH-based bounding volume hierarchies", IEEE Symp. Interactive Ray Tracing 2007).
2. Arrays only, so that kernels can walk it: node i has its box in `boxes[i]`; an inner node has its children
   at `first[i]` and `first[i] + 1`; a leaf has `count[i]` > 0 triangles from `first[i]` on in `faces`.
3. `faces` are the body's triangles in the order of the leaves; `order` says which each one was.
4. What this file does not know: poses, tools, distances.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kinematics.engine.compiled import kernel
from kinematics.pose import Array
from kinematics.solids import Triangles

LEAF = 4  # most triangles in a leaf
BINS = 16
TINY = 1e-300  # mm; bins of middles that are no farther apart, or than its inverse, have no number
MOST_DEPTH = 64  # levels; a walk needs a stack of as many nodes and one more

Ints = NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class TriangleTree:
    """The tree over the triangles (vertices (n, 3), faces (m, 3)) of a body in its frame G, mm.

    Parameters
    ----------
    boxes : (k, 6), low corner then high corner of each node; node 0 holds all.
    first, count : (k,), see above.
    order : (m,), the number in the body's own list of each row of `faces`.
    """

    vertices: Array
    faces: Ints
    order: Ints
    boxes: Array
    first: Ints
    count: Ints


def triangle_tree(triangles: Triangles) -> TriangleTree:
    """The tree over triangles; there must be at least one."""
    vertices = _fixed(triangles.vertices, np.float64)
    faces = _fixed(triangles.faces, np.int32)
    assert len(faces) > 0, "a body has a surface"
    order = np.arange(len(faces), dtype=np.int32)
    boxes, first, count, n_nodes = _build(vertices, faces, order)
    return TriangleTree(
        vertices,
        _fixed(faces[order], np.int32),
        order,
        _fixed(boxes[:n_nodes].copy(), np.float64),
        _fixed(first[:n_nodes].copy(), np.int32),
        _fixed(count[:n_nodes].copy(), np.int32),
    )


def _fixed(values: NDArray[Any], dtype: type) -> NDArray[Any]:
    """The array, not writeable: so all trees are of one type to the compiler, whoever made their arrays."""
    array: NDArray[Any] = np.ascontiguousarray(values, dtype=dtype).view()
    array.flags.writeable = False
    return array


@kernel
def _build(vertices: Array, faces: Ints, order: Ints) -> tuple[Array, Ints, Ints, int]:
    n = len(faces)
    box_of = np.zeros((n, 6))
    for f in range(n):
        for k in range(3):
            a, b, c = vertices[faces[f, 0], k], vertices[faces[f, 1], k], vertices[faces[f, 2], k]
            box_of[f, k] = min(a, b, c)
            box_of[f, k + 3] = max(a, b, c)
    most = max(1, 2 * n)
    boxes = np.zeros((most, 6))
    first = np.zeros(most, dtype=np.int32)
    count = np.zeros(most, dtype=np.int32)
    depth = np.zeros(most, dtype=np.int32)
    stack = np.zeros(most, dtype=np.int32)
    n_nodes, n_stack = 1, 1
    first[0], count[0] = 0, n
    areas = np.zeros(BINS)
    bin_boxes = np.zeros((BINS, 6))
    bin_counts = np.zeros(BINS, dtype=np.int64)
    while n_stack > 0:
        n_stack -= 1
        node = stack[n_stack]
        start, size = first[node], count[node]
        for k in range(3):
            boxes[node, k], boxes[node, k + 3] = math.inf, -math.inf
        low0, low1, low2 = math.inf, math.inf, math.inf
        high0, high1, high2 = -math.inf, -math.inf, -math.inf
        for i in range(start, start + size):
            f = order[i]
            for k in range(3):
                boxes[node, k] = min(boxes[node, k], box_of[f, k])
                boxes[node, k + 3] = max(boxes[node, k + 3], box_of[f, k + 3])
            m0, m1, m2 = (
                box_of[f, 0] + box_of[f, 3],
                box_of[f, 1] + box_of[f, 4],
                box_of[f, 2] + box_of[f, 5],
            )
            low0, low1, low2 = min(low0, m0), min(low1, m1), min(low2, m2)
            high0, high1, high2 = max(high0, m0), max(high1, m1), max(high2, m2)
        if size <= LEAF:
            continue
        axis, low, high = 0, low0, high0
        if high1 - low1 > high - low:
            axis, low, high = 1, low1, high1
        if high2 - low2 > high - low:
            axis, low, high = 2, low2, high2
        middle = start
        if TINY < high - low < 1.0 / TINY and depth[node] < MOST_DEPTH // 2:
            middle = _halve(order, box_of, start, size, axis, low, high, areas, bin_boxes, bin_counts)
        if middle <= start or middle >= start + size:
            middle = start + size // 2  # all middles in one place, or a very deep tree: by number
        left = n_nodes
        n_nodes += 2
        first[left], count[left] = start, middle - start
        first[left + 1], count[left + 1] = middle, start + size - middle
        depth[left] = depth[left + 1] = depth[node] + 1
        first[node], count[node] = left, 0
        stack[n_stack], stack[n_stack + 1] = left, left + 1
        n_stack += 2
    return boxes, first, count, n_nodes


@kernel
def _halve(
    order: Ints, box_of: Array, start: int, size: int, axis: int, low: float, high: float,
    areas: Array, bin_boxes: Array, bin_counts: NDArray[np.int64],
) -> int:  # fmt: skip
    """Sort the rows by the bin boundary of least expected work; where the second half begins."""
    scale = BINS * (1.0 - 1e-9) / (high - low)
    bin_counts[:] = 0
    for b in range(BINS):
        for k in range(3):
            bin_boxes[b, k], bin_boxes[b, k + 3] = math.inf, -math.inf
    for i in range(start, start + size):
        f = order[i]
        b = int((box_of[f, axis] + box_of[f, axis + 3] - low) * scale)
        bin_counts[b] += 1
        for k in range(3):
            bin_boxes[b, k] = min(bin_boxes[b, k], box_of[f, k])
            bin_boxes[b, k + 3] = max(bin_boxes[b, k + 3], box_of[f, k + 3])
    n = 0
    x0, y0, z0, x1, y1, z1 = math.inf, math.inf, math.inf, -math.inf, -math.inf, -math.inf
    for b in range(BINS - 1, 0, -1):  # areas[b]: work of all from bin b on
        n += bin_counts[b]
        x0, y0, z0 = min(x0, bin_boxes[b, 0]), min(y0, bin_boxes[b, 1]), min(z0, bin_boxes[b, 2])
        x1, y1, z1 = max(x1, bin_boxes[b, 3]), max(y1, bin_boxes[b, 4]), max(z1, bin_boxes[b, 5])
        dx, dy, dz = x1 - x0, y1 - y0, z1 - z0
        areas[b] = n * (dx * dy + dy * dz + dz * dx) if n > 0 else 0.0
    n = 0
    x0, y0, z0, x1, y1, z1 = math.inf, math.inf, math.inf, -math.inf, -math.inf, -math.inf
    best, cut = math.inf, 1
    for b in range(1, BINS):
        n += bin_counts[b - 1]
        x0, y0, z0 = min(x0, bin_boxes[b - 1, 0]), min(y0, bin_boxes[b - 1, 1]), min(z0, bin_boxes[b - 1, 2])
        x1, y1, z1 = max(x1, bin_boxes[b - 1, 3]), max(y1, bin_boxes[b - 1, 4]), max(z1, bin_boxes[b - 1, 5])
        if n == 0 or n == size:
            continue
        dx, dy, dz = x1 - x0, y1 - y0, z1 - z0
        work = n * (dx * dy + dy * dz + dz * dx) + areas[b]
        if work < best:
            best, cut = work, b
    i, j = start, start + size - 1
    while i <= j:
        f = order[i]
        if int((box_of[f, axis] + box_of[f, axis + 3] - low) * scale) < cut:
            i += 1
        else:
            order[i], order[j] = order[j], f
            j -= 1
    return i
