"""Compiled kernels on disk: machine code under the hash of every source that it was made from.

1. A kernel freezes what it calls and every constant that it reads, also those of other files. So its key holds
   the source of its own module and of every module of the package that can be reached from there by imports,
   the versions of whatever compiles, the processor and the types of the arguments. numba's own cache asks the
   kernel's own file only, and would run the old code of a callee that has changed.
2. Each entry is a file of its own, found by its name, never changed: two processes that compile the same write
   the same. An entry that is cut short or damaged is thrown away.
3. What was compiled from sources that changed while the program was running is not kept: nobody knows which of
   the two the program had read.
4. The folder: NUMBA_CACHE_DIR; else `kernels` below TIGHTSIDE_CACHE; else `tightside/kernels` among the user's
   caches, also where TIGHTSIDE_CACHE is `off`: that is about what was read from the user's files. Never beside
   the sources, which may be read-only. Where no folder can be written, each process compiles for itself.

This file does not know numba, nor what a kernel computes.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import os
import platform
import re
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from kinematics import cache_files

COMPILE_SECONDS = 25.0  # about how long it takes to compile everything, for words to people
SIZE_LIMIT = 256 << 20  # bytes of all entries together
SUFFIX = ".kernel"
MAGIC = b"tightside kernel 1\n"
DIGEST = 32  # bytes of SHA-256
ENGINE = Path(__file__).parent
PACKAGE = ENGINE.parent  # kinematics

_BEGAN = time.time()  # no source read before this may be younger
_IMPORT = re.compile(r"^[ \t]*import[ \t]+([\w.]+)", re.MULTILINE)
_FROM = re.compile(r"^[ \t]*from[ \t]+([\w.]+)[ \t]+import[ \t]+(\([^)]*\)|[^\n]*)", re.MULTILINE)
_KERNELS = re.compile(r"^from kinematics\.engine\.compiled import .*\bkernel\b", re.MULTILINE)


def folder() -> Path | None:
    """Where entries are kept; None where there is no place for them. Need not exist."""
    own = os.environ.get("NUMBA_CACHE_DIR", "")
    if own:
        return Path(own)
    chosen = cache_files.chosen()
    if chosen and chosen != cache_files.OFF:
        return Path(chosen) / "kernels"
    user = cache_files.user_folder()
    return user / "kernels" if user else None


# --- keys -----------------------------------------------------------------------------------------


def kernel_modules() -> tuple[str, ...]:
    """Names of the modules that define kernels, sorted."""
    files = (file for file in sorted(ENGINE.glob("*.py")) if _KERNELS.search(file.read_text(encoding="utf-8")))
    return tuple(f"{PACKAGE.name}.{ENGINE.name}.{file.stem}" for file in files)


@functools.cache
def stamp_of(file: Path) -> str | None:
    """A hash of this source, of all sources of the package that it can reach, and of whatever compiles them.

    None where a source cannot be read, or has changed since the program began: then nothing is to be kept.
    """
    digest = hashlib.sha256(_versions().encode())
    try:
        sources = [_source(one) for one in sorted(_reached(file))]
    except OSError:
        return None
    for source in sources:
        if source.changed >= _BEGAN:
            return None
        digest.update(source.digest)
    return digest.hexdigest()


@dataclass(frozen=True, slots=True)
class _Source:
    """A source as it was found: when it was changed, what it says as a hash, the files that it imports."""

    changed: float
    digest: bytes
    imported: frozenset[Path]


@functools.cache
def _source(file: Path) -> _Source:
    text = file.read_bytes()
    return _Source(file.stat().st_mtime, hashlib.sha256(text).digest(), frozenset(_imported(text.decode("utf-8"))))


def _reached(file: Path) -> set[Path]:
    found, waiting = {file}, [file]
    while waiting:
        new = _source(waiting.pop()).imported - found
        found |= new
        waiting += new
    return found


def _imported(source: str) -> Iterator[Path]:
    """The package's files that a source names in its imports; more rather than fewer where the text leaves doubt."""
    for name in _IMPORT.findall(source):
        yield from _files_of(name, "")
    for name, what in _FROM.findall(source):
        yield from _files_of(name, what)


@functools.cache
def _files_of(name: str, what: str) -> tuple[Path, ...]:
    first, *rest = name.split(".")
    if first != PACKAGE.name:
        return ()
    path = PACKAGE.joinpath(*rest)
    if not path.is_dir():
        return (path.with_suffix(".py"),)
    is_plain = re.fullmatch(r"[\w\s,()]*", what)  # names only: no comment, no star, no line that goes on
    modules = [path / f"{one}.py" for one in re.findall(r"\w+", what)]
    return (path / "__init__.py", *(one for one in (modules if is_plain else path.glob("*.py")) if one.exists()))


@functools.cache
def _versions() -> str:
    from importlib import metadata

    names = [sys.version, platform.machine()]
    for distribution in ("numba", "llvmlite", "numpy"):
        try:
            names.append(metadata.version(distribution))
        except metadata.PackageNotFoundError:
            names.append("unknown")
    return "\n".join(names)


# --- entries --------------------------------------------------------------------------------------


def path_of(name: str, stamp: str, *how: str) -> Path | None:
    """The file of one kernel, compiled from these sources for these types on this processor; None without a folder."""
    place = folder()
    if place is None:
        return None
    key = hashlib.sha256("\0".join((name, stamp, *how)).encode()).hexdigest()[:DIGEST]
    return place / f"{name}-{key}{SUFFIX}"


def load(path: Path) -> bytes | None:
    """What was kept; None where there is no sound entry."""
    try:
        entry = path.read_bytes()
    except (OSError, MemoryError):
        return None
    body = entry[len(MAGIC) + DIGEST :]
    is_sound = entry[: len(MAGIC)] == MAGIC and entry[len(MAGIC) : len(MAGIC) + DIGEST] == _checksum(path, body)
    with contextlib.suppress(OSError):
        if is_sound:
            os.utime(path)  # used now
        else:
            path.unlink()
    return body if is_sound else None


def store(path: Path, body: bytes) -> None:
    """Keeps machine code, if the folder lets it."""
    with contextlib.suppress(OSError):
        cache_files.write(path, (MAGIC, _checksum(path, body), body))
        cache_files.trim(path.parent, SUFFIX, SIZE_LIMIT)


def _checksum(path: Path, body: bytes) -> bytes:
    """Of the content and of the name, so that no entry passes for another."""
    digest = hashlib.sha256(path.name.encode())
    digest.update(body)
    return digest.digest()


# --- everything at once ---------------------------------------------------------------------------


def is_ready() -> bool:
    """Whether every kernel was compiled on this computer from the sources as they are. Asks the disk only."""
    marker = _marker()
    return marker is not None and load(marker) is not None


def set_ready() -> None:
    """Remembers that every kernel is compiled."""
    marker = _marker()
    if marker is not None:
        store(marker, b"all")


def _marker() -> Path | None:
    """A file named after all kernels and all that calls them, and this computer: processors differ."""
    files = [PACKAGE / "warm_up.py", *(ENGINE / f"{name.rpartition('.')[2]}.py" for name in kernel_modules())]
    stamps = [stamp for stamp in map(stamp_of, files) if stamp is not None]
    return path_of("all", platform.node(), *stamps) if len(stamps) == len(files) else None


@contextlib.contextmanager
def alone() -> Iterator[None]:
    """Waits until no other process of this user is inside; goes on without waiting where the system cannot lock."""
    place = folder()
    with contextlib.ExitStack() as stack:
        if place is not None and os.name == "posix":
            import fcntl

            with contextlib.suppress(OSError):
                place.mkdir(parents=True, exist_ok=True)
                file = stack.enter_context((place / "compiling.lock").open("ab"))
                fcntl.flock(file, fcntl.LOCK_EX)  # let go when the file is closed, also by a process that is killed
        yield
