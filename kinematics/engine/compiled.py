"""Compiled kernels: the one decorator that turns a function on numbers and arrays into machine code.

1. A kernel takes and gives numbers, tuples of numbers and C-ordered arrays; it raises nothing and keeps nothing.
2. It is compiled when it is first called, and kept on disk from then on.
3. Arithmetic is IEEE 754 as written: no reordering, no contraction, and a division by zero gives inf or NaN.
4. It runs without the interpreter's lock, so that threads of a window go on.

This file does not know what a kernel computes.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., object])


def kernel(function: F) -> F:
    """The function, compiled at its first call; to whoever calls it and to the type checker it is the same function.

    Kernels call other kernels freely. The plain Python function stays reachable as `.py_func`.
    """
    return cast(F, numba.njit(cache=True, nogil=True, error_model="numpy")(function))
