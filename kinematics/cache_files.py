"""Files in the user's cache folder: where it is, written whole or not at all, kept below a size.

1. Files appear by renaming, so that nobody sees half of one.
2. What was not used for longest goes first; a file counts as used when its date is set anew.
3. TIGHTSIDE_CACHE names a folder to use instead of the user's, or says `off`.

This file does not know what is kept.
"""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

VARIABLE = "TIGHTSIDE_CACHE"
OFF = "off"
STALE_SECONDS = 3600.0  # a file half written for so long belongs to a process that was killed
UNFINISHED = ".part"


def chosen() -> str:
    """What TIGHTSIDE_CACHE says; empty where it is not set."""
    return os.environ.get(VARIABLE, "")


def user_folder() -> Path | None:
    """The program's own folder among the user's caches; None where the system names no place for caches."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA", "")
    elif sys.platform == "darwin":
        base = os.path.expanduser("~/Library/Caches")
    else:
        base = os.environ.get("XDG_CACHE_HOME", "")
        if not os.path.isabs(base):  # the XDG Base Directory Specification: relative ones are to be ignored
            base = os.path.expanduser("~/.cache")
    return Path(base) / "tightside" if os.path.isabs(base) else None


def write(path: Path, parts: Iterable[bytes]) -> None:
    """The file with these bytes, its folder made if need be; OSError leaves nothing behind."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(suffix=UNFINISHED, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.writelines(parts)
        os.replace(name, path)
    except BaseException:  # also where the user stops the program: no half file stays
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise


def trim(folder: Path, suffix: str, limit: int) -> None:
    """Takes away files of this suffix, the one unused for longest first, until together they have `limit` bytes.

    Takes away what a killed process left, too.
    """
    now = time.time()
    entries: list[tuple[float, int, Path]] = []
    for path, status in _files(folder):
        if path.suffix == suffix:
            entries.append((status.st_mtime, status.st_size, path))
        elif path.suffix == UNFINISHED and now - status.st_mtime > STALE_SECONDS:
            with contextlib.suppress(OSError):
                path.unlink()
    excess = sum(size for _, size, _ in entries) - limit
    for _, size, path in sorted(entries):
        if excess <= 0:
            return
        with contextlib.suppress(OSError):  # another process was quicker, or has it open
            path.unlink()
        excess -= size


def _files(folder: Path) -> Iterator[tuple[Path, os.stat_result]]:
    with os.scandir(folder) as found:
        for one in found:
            with contextlib.suppress(OSError):
                yield Path(one.path), one.stat()
