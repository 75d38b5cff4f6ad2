"""Writing a scene file: whole or not at all, and never over somebody else's change."""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from app.scenes.side_files import reason_of
from kinematics.errors import TightsideError


class SaveError(TightsideError):
    """A file could not be written; what stood there is untouched."""


class ChangedOnDiskError(SaveError):
    """The file on disk is not the one that was read."""


@dataclass(frozen=True, slots=True)
class DiskState:
    """What a file was when it was read or written: its checksum, or None where there was no file."""

    sha256: str | None


def disk_state(path: Path) -> DiskState:
    """What is on disk now. Raises SaveError if it cannot be read."""
    try:
        return DiskState(hashlib.sha256(path.read_bytes()).hexdigest())
    except FileNotFoundError:
        return DiskState(None)
    except OSError as error:
        raise SaveError(f"{path}: cannot be read ({reason_of(error)})") from error


def state_of(text: str) -> DiskState:
    """The state of a file that holds this text."""
    return DiskState(hashlib.sha256(text.encode("utf-8")).hexdigest())


def save(path: Path, text: str, *, was: DiskState | None = None) -> DiskState:
    """Write a text as UTF-8, its line ends as they are, through a file beside it that takes its place.

    A link is followed, and the file keeps its permissions.

    Parameters
    ----------
    was : what the caller has read; a file that differs from it is not written over. None writes anyway.

    Raises
    ------
    ChangedOnDiskError : the file is not what `was` says.
    SaveError : it cannot be written.
    """
    real = Path(os.path.realpath(path))
    if was is not None and disk_state(real) != was:
        what = "is not there any more" if not real.exists() else "was changed by somebody else since it was read"
        raise ChangedOnDiskError(
            f"{path}: {what}; expected the file as it was: read it again, or save under another name"
        )
    try:
        mode = real.stat().st_mode & 0o7777 if real.exists() else None
        handle, name = tempfile.mkstemp(prefix=f".{real.name}.", suffix=".tmp", dir=real.parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(text.encode("utf-8"))
                stream.flush()
                os.fsync(stream.fileno())
            os.chmod(name, mode if mode is not None else 0o666 & ~_umask())
            os.replace(name, real)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(name)
            raise
    except OSError as error:
        raise SaveError(f"{path}: cannot be written ({reason_of(error)})") from error
    return state_of(text)


def _umask() -> int:
    """The rights that new files do not get."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
