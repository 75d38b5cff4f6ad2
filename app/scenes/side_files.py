"""Files beside a scene: where they may lie, and meshes that stay in memory until their file changes."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from app.scenes.document import nearest
from app.scenes.located import MAX_BYTES
from app.scenes.sources import file_digest

if TYPE_CHECKING:
    from kinematics.meshes import Mesh
    from kinematics.shapes import MeshShape

MOST_TOLERANCES = 4  # meshes of one body that differ in their chord tolerance only; a dial makes many


class SideFileFault(Exception):
    """A file beside the scene cannot be used; the text says why."""


def side_file(name: str, folder: Path, opened: Iterable[Path]) -> Path:
    """The file that a scene names, inside the folders that the user opened.

    Parameters
    ----------
    name : as the scene writes it, relative to `folder`, with forward slashes.
    folder : the folder of the file that names it.
    opened : folders in which a file may lie; symbolic links are followed before it is judged.

    Raises
    ------
    SideFileFault : it lies elsewhere, or is no file.
    """
    path = _beside(name, folder)
    try:
        real = path.resolve()
        is_inside = any(real.is_relative_to(root.resolve()) for root in opened)
    except (OSError, RuntimeError, ValueError) as error:
        raise SideFileFault(f"'{name}' cannot be opened ({reason_of(error)})") from error
    if not is_inside:
        raise SideFileFault(f"'{name}' leaves the folder of the scene; expected a file in it or in the library")
    return _there(name, path)


def side_bytes(name: str, folder: Path, opened: Iterable[Path], *, at_most: int) -> tuple[Path, bytes]:
    """A file as `side_file` finds it, and its bytes. Raises SideFileFault also for a file that is too large."""
    return _bytes_of(name, side_file(name, folder, opened), at_most)


def text_file(name: str, folder: Path) -> tuple[Path, bytes]:
    """A machine or holder file by its path from a folder, and its bytes.

    Such a file is only ever read as text, so it may lie in a neighbouring folder.
    """
    return _bytes_of(name, _there(name, _beside(name, folder)), MAX_BYTES)


def _beside(name: str, folder: Path) -> Path:
    """The path that a name means; SideFileFault if it is no relative path with forward slashes."""
    if "\\" in name:
        raise SideFileFault(f"'{name}' has a backslash in it; expected forward slashes: {name.replace(chr(92), '/')}")
    if name.startswith("/") or name[1:2] == ":":
        raise SideFileFault(f"'{name}' is an absolute path; expected one relative to the folder of this file")
    return folder / name


def _there(name: str, path: Path) -> Path:
    """The path, if there is a file; else SideFileFault with the nearest name beside it."""
    try:
        if path.is_file():
            return path
        kind = "is a folder" if path.is_dir() else "does not exist"
    except (OSError, ValueError) as error:
        raise SideFileFault(f"'{name}' cannot be opened ({reason_of(error)})") from error
    near = nearest(path.name, names_in_folder(path.parent)) if path.name else None
    raise SideFileFault(f"'{name}' {kind}; " + (f"nearest: {near}" if near else "expected a file beside this one"))


def _bytes_of(name: str, path: Path, at_most: int) -> tuple[Path, bytes]:
    try:
        size = path.stat().st_size
        if size > at_most:
            raise SideFileFault(f"'{name}' has {size >> 10} KiB; expected at most {at_most >> 10} KiB")
        return path, path.read_bytes()
    except OSError as error:
        raise SideFileFault(f"'{name}' cannot be read ({reason_of(error)})") from error


def names_in_folder(folder: Path) -> tuple[str, ...]:
    """The names in a folder; none where it is not there or closed to us."""
    try:
        return tuple(entry.name for entry in folder.iterdir())
    except (OSError, ValueError):
        return ()


def reason_of(error: Exception) -> str:
    """Why the system refused a file, in its own words."""
    return (getattr(error, "strerror", None) or str(error)).lower()


class MeshShelf:
    """Meshes that were read, by file and the way they were read, until the file changes.

    The same file read and placed the same way is the same object again, and so is what was made of it.
    """

    def __init__(self) -> None:
        self._meshes: dict[tuple[object, ...], tuple[Mesh, str]] = {}
        self._placed: dict[tuple[int, str, str], tuple[Mesh, MeshShape]] = {}

    def load(
        self, path: Path, *, units: str | None, body: str | None, chord_tolerance: float, origin: object
    ) -> tuple[Mesh, str]:
        """The mesh of a file and the SHA-256 of its bytes. Raises MeshFileError."""
        from kinematics.errors import MeshFileError
        from kinematics.meshes import load_mesh

        try:
            status = path.stat()
            key = (str(path), status.st_mtime_ns, status.st_size, units, body, chord_tolerance)
            if key not in self._meshes:
                digest = file_digest(path)
                mesh = load_mesh(path, units=units, body=body, chord_tolerance=chord_tolerance, origin=origin)
                self._drop_for(key)
                self._meshes[key] = (mesh, digest)
            return self._meshes[key]
        except OSError as error:
            raise MeshFileError(f"cannot be read ({reason_of(error)})", origin=origin, key=("file",)) from error

    def placed(self, mesh: Mesh, *, start: str, up: str) -> MeshShape:
        """A mesh of this shelf as a shape, its direction `up` turned to +Z, from `origin` or `base_centre`."""
        from kinematics.meshes import placed_mesh
        from kinematics.shapes import MeshShape

        found = self._placed.get((id(mesh), start, up))
        if found is None:
            shape = MeshShape(placed_mesh(mesh, from_=start, up=up))  # type: ignore[arg-type]  # models allow these words only
            found = self._placed[id(mesh), start, up] = (mesh, shape)
        return found[1]

    def _drop_for(self, key: tuple[object, ...]) -> None:
        """Make room for a mesh: none of an older state of its file stays, and few of other chord tolerances."""
        old = [known for known in self._meshes if known[0] == key[0] and known[1:3] != key[1:3]]
        old += [known for known in self._meshes if known[:-1] == key[:-1]][: -(MOST_TOLERANCES - 1)]
        for known in old:
            mesh, _ = self._meshes.pop(known)
            for placed in [way for way in self._placed if way[0] == id(mesh)]:
                del self._placed[placed]
