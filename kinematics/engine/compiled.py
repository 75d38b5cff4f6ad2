"""Compiled kernels: the one decorator that turns a function on numbers and arrays into machine code.

1. A kernel takes and gives numbers, tuples of numbers and C-ordered arrays; it raises nothing and keeps nothing.
   An array that is not writeable is another type to the compiler: pass each argument the same way everywhere.
2. It is compiled when it is first called and kept on disk from then on (kernel_cache.py says when that is safe).
3. Arithmetic is IEEE 754 as written: no reordering, no contraction, and a division by zero gives inf or NaN.
4. It runs without the interpreter's lock, so that threads of a window go on.
5. `python -m kinematics.engine.compiled` compiles whatever the product needs, so that no user has to wait for it
   later. It asks the product's own questions (`kinematics/warm_up.py`), so that the types are right.

This file does not know what a kernel computes. It leans on a few insides of numba, so that pyproject.toml bounds
numba's version: Dispatcher._cache, CompileResult._reduce and ._rebuild, and the interface of a cache.
"""

from __future__ import annotations

import hashlib
import importlib
import inspect
import pickle
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core.caching import NullCache
from numba.core.compiler import CompileResult
from numba.core.runtime.nrt import rtsys
from numba.core.serialize import dumps
from numba.core.sigutils import normalize_signature

from kinematics.engine import kernel_cache

SWINGS = "swings"  # what the process beside is told to compile
F = TypeVar("F", bound=Callable[..., object])


def kernel(function: F) -> F:
    """The function, compiled at its first call; to whoever calls it and to the type checker it is the same function.

    Kernels call other kernels freely. The plain Python function stays reachable as `.py_func`.
    """
    assert function.__closure__ is None, "a kernel reads its arguments and constants of modules, nothing else"
    compiled = numba.njit(nogil=True, error_model="numpy")(function)
    if hasattr(compiled, "_cache"):  # NUMBA_DISABLE_JIT=1 leaves a plain function
        compiled._cache = _Kept(function)
    return cast(F, compiled)


class _Kept(NullCache):
    """The versions of one kernel on disk, one for each set of argument types."""

    def __init__(self, function: Callable[..., object]) -> None:
        self._name = f"{function.__module__}.{function.__qualname__}"
        self._stamp = kernel_cache.stamp_of(Path(inspect.getfile(function)))
        self._code = hashlib.sha256(function.__code__.co_code).hexdigest()

    @property
    def cache_path(self) -> str | None:
        folder = kernel_cache.folder()
        return None if folder is None else str(folder)

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        path = self._path(sig, target_context.codegen())
        kept = None if path is None else kernel_cache.load(path)
        if kept is None:
            target_context.refresh()  # for the compiler: 0.2 s that code from the disk does without
            return None
        rtsys.initialize(target_context)
        result = CompileResult._rebuild(target_context, *pickle.loads(kept))
        assert result.signature.args == normalize_signature(sig)[0], f"{path}: another kernel's code"
        return result

    def save_overload(self, sig: Any, data: Any) -> None:
        assert not data.lifted and not data.library.has_dynamic_globals, f"{self._name}: holds what no file can"
        path = self._path(sig, data.codegen)
        if path is not None:
            kernel_cache.store(path, dumps(data._reduce()))

    def _path(self, sig: Any, codegen: Any) -> Path | None:
        if self._stamp is None:
            return None
        switches = vars(numba.config)
        how = (self._code, sig, codegen.magic_tuple(), switches["OPT"], switches["BOUNDSCHECK"])
        return kernel_cache.path_of(self._name, self._stamp, *map(str, how))


def compile_all() -> None:
    """Every kernel of the engine, compiled or found on disk. Waits for another process that is at it."""
    with kernel_cache.alone():
        if kernel_cache.is_ready():
            return
        warm_up = importlib.import_module("kinematics.warm_up")  # the engine does not know who uses it
        beside = _beside() if kernel_cache.folder() is not None else None
        try:
            warm_up.cuts()
        finally:
            if beside is not None:
                beside.wait()
        warm_up.swings()  # from the disk, unless the other process could not
        kernel_cache.set_ready()


def _beside() -> subprocess.Popen[bytes] | None:
    """A process that compiles the kernels of the swings, the longest half; None where none can be started."""
    command = [sys.executable, "-m", "kinematics.engine.compiled", SWINGS]
    try:
        return subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    except OSError:
        return None


def main(arguments: list[str]) -> int:
    """`python -m kinematics.engine.compiled`: compile everything; told `swings`, that half, as the process beside."""
    if arguments == [SWINGS]:
        importlib.import_module("kinematics.warm_up").swings()
        return 0
    compile_all()
    return 0 if kernel_cache.is_ready() else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
