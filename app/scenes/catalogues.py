"""Where machines, holders and hardware are found by name: the user's own library, then the program's.

A library is a folder with `machines/NAME.machine.yaml`, `holders/NAME.holder.yaml` and
`hardware/STANDARD.yaml` (`iso_4762.yaml` for ISO 4762). A file of the library hides one of the same
name that comes with the program.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Literal

from app.scenes.document import Document, text_of
from app.scenes.located import MapNode
from app.scenes.side_files import MeshShelf, SideFileFault, names_in_folder, reason_of

CatalogueKind = Literal["machine", "holder", "hardware"]
Where = Literal["library", "program"]
LIBRARY_VARIABLE = "TIGHTSIDE_LIBRARY"
_FOLDERS: dict[CatalogueKind, tuple[str, str]] = {
    "machine": ("machines", ".machine.yaml"),
    "holder": ("holders", ".holder.yaml"),
    "hardware": ("hardware", ".yaml"),
}


@dataclass(frozen=True, slots=True)
class CatalogueFile:
    """A file of a catalogue. `hides`: the file of the same name that it goes before, or None."""

    kind: CatalogueKind
    name: str
    file: str
    where: Where
    hides: str | None = None

    def read(self) -> bytes:
        return Path(self.file).read_bytes()


def library_folder() -> Path:
    """The user's own library: the environment variable TIGHTSIDE_LIBRARY, or the platform's data folder."""
    if given := os.environ.get(LIBRARY_VARIABLE):
        return Path(given)
    if sys.platform == "win32":
        return Path(os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming") / "tightside"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "tightside"
    return Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share") / "tightside"


class Catalogues:
    """The catalogues of one library and of the program. Remembers what it has read until the file changes."""

    def __init__(self, library: Path | None = None) -> None:
        self.library = library if library is not None else library_folder()
        self.meshes = MeshShelf()
        self._documents: dict[str, tuple[tuple[int, int], Document, bytes]] = {}

    def find(self, kind: CatalogueKind, name: str) -> CatalogueFile | None:
        """The file of that name, or None. A standard is found however its number is spaced."""
        if not name or name in (".", "..") or "/" in name or "\\" in name:
            return None
        folder, suffix = _FOLDERS[kind]
        stem = file_stem(name) if kind == "hardware" else name
        found = [(where, root / folder / (stem + suffix)) for where, root in self._roots()]
        there = [(where, file) for where, file in found if _is_file(file)]
        if not there:
            return None
        hides = str(there[1][1]) if len(there) > 1 else None
        return CatalogueFile(kind, name, str(there[0][1]), there[0][0], hides)

    def names(self, kind: CatalogueKind) -> tuple[str, ...]:
        """The names that can be found, sorted; standards as they are written."""
        return tuple(file.name for file in self.listing(kind))

    def listing(self, kind: CatalogueKind) -> tuple[CatalogueFile, ...]:
        """Every file that can be found, sorted by name."""
        folder, suffix = _FOLDERS[kind]
        stems: set[str] = set()
        for _, root in self._roots():
            stems |= set(_stems(root / folder, suffix))
        names = sorted(standard_of(stem) if kind == "hardware" else stem for stem in stems)
        return tuple(found for name in names if (found := self.find(kind, name)) is not None)

    def title(self, found: CatalogueFile) -> str:
        """The title that a file gives itself, or nothing."""
        document, _ = self.document(found)
        root = document.root
        return (text_of(root.get("title")) or "") if isinstance(root, MapNode) else ""

    def document(self, found: CatalogueFile) -> tuple[Document, bytes]:
        """The file as a document, and its bytes. Raises SideFileFault if it cannot be read."""
        try:
            status = Path(found.file).stat()
            stamp = (status.st_mtime_ns, status.st_size)
            known = self._documents.get(found.file)
            if known is not None and known[0] == stamp:
                return known[1], known[2]
            data = found.read()
        except OSError as error:
            raise SideFileFault(f"'{found.file}' cannot be read ({reason_of(error)})") from error
        document = Document.of_bytes(found.file, data, found.kind)
        self._documents[found.file] = (stamp, document, data)
        return document, data

    def _roots(self) -> Iterator[tuple[Where, Path]]:
        yield "library", self.library
        yield "program", Path(str(files("shared")))


def _stems(folder: Path, suffix: str) -> Iterator[str]:
    for name in names_in_folder(folder):
        if name.endswith(suffix) and _is_file(folder / name):
            yield name[: -len(suffix)]


def _is_file(path: Path) -> bool:
    """Whether there is a file; a name that is too long or a folder that is closed to us counts as no."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def file_stem(standard: str) -> str:
    """The name of a standard's file: ISO 4762 is iso_4762."""
    spaced = re.sub(r"(?<=[A-Za-z])(?=\d)", " ", standard.strip())
    return re.sub(r"[^a-z0-9]+", "_", spaced.lower()).strip("_")


def standard_of(stem: str) -> str:
    """The standard of a file's name, as it is usually written: iso_4762 is ISO 4762."""
    return stem.replace("_", " ").upper()
