"""A binary heap of (bound, item) in an array, the least bound first, and arrays that grow: for kernels that search.

The caller keeps the number of rows in use and makes room before it puts more in.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kinematics.engine.compiled import kernel
from kinematics.pose import Array

Ints = NDArray[np.int64]


@kernel
def push(heap: Array, n: int, bound: float, item: int) -> None:
    """Put an item into a binary heap of n."""
    i = n
    while i > 0:
        above = (i - 1) >> 1
        if heap[above, 0] <= bound:
            break
        heap[i, 0], heap[i, 1] = heap[above, 0], heap[above, 1]
        i = above
    heap[i, 0], heap[i, 1] = bound, item


@kernel
def pop(heap: Array, n: int) -> None:
    """Take the first item out of a binary heap of n."""
    n -= 1
    bound, item = heap[n, 0], heap[n, 1]
    i = 0
    while True:
        k = 2 * i + 1
        if k >= n:
            break
        if k + 1 < n and heap[k + 1, 0] < heap[k, 0]:
            k += 1
        if heap[k, 0] >= bound:
            break
        heap[i, 0], heap[i, 1] = heap[k, 0], heap[k, 1]
        i = k
    heap[i, 0], heap[i, 1] = bound, item


@kernel
def more(values: Array) -> Array:
    """The rows of an array with room for as many again."""
    more = np.zeros((2 * len(values), values.shape[1]))
    for i in range(len(values)):
        for k in range(values.shape[1]):
            more[i, k] = values[i, k]
    return more


@kernel
def more_ints(values: Ints) -> Ints:
    more = np.full((2 * len(values), values.shape[1]), -1, dtype=np.int64)
    for i in range(len(values)):
        for k in range(values.shape[1]):
            more[i, k] = values[i, k]
    return more
