"""What a scene is made of on disk: every file that was read, and the checksum over all of them."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True)
class SourcePart:
    """One file that was used: its role (scene, machine, holder, ...), its name there, checksum and place."""

    role: str
    name: str
    sha256: str
    file: str


@dataclass(slots=True)
class Sources:
    """The files that one reading has used, each under its role.

    The checksum covers, in this order: the scene's text; then machine, holders, hardware, meshes and
    lists of points, sorted by role and name. Of each it takes role, name and SHA-256 of the bytes.
    """

    parts: dict[tuple[int, str], SourcePart] = field(default_factory=dict)
    files: dict[str, Path] = field(default_factory=dict)

    def add(self, role: str, name: str, data: bytes, file: str) -> None:
        self.add_digest(role, name, hashlib.sha256(data).hexdigest(), file)

    def add_digest(self, role: str, name: str, digest: str, file: str) -> None:
        self.parts[(_ROLES.index(role), name)] = SourcePart(role, name, digest, file)
        self.files.setdefault(file, Path(file))

    def copy(self) -> Sources:
        return Sources(dict(self.parts), dict(self.files))

    def add_all(self, other: Sources) -> None:
        """Add the files of another reading, in their order."""
        self.parts.update(other.parts)
        for name, file in other.files.items():
            self.files.setdefault(name, file)

    def checksum(self) -> str:
        total = hashlib.sha256()
        for part in self.ordered():
            total.update(f"{part.role}\0{part.name}\0{part.sha256}\n".encode())
        return total.hexdigest()

    def ordered(self) -> tuple[SourcePart, ...]:
        """Every file that was used, in the order of the checksum."""
        return tuple(part for _, part in sorted(self.parts.items(), key=lambda item: item[0]))


_ROLES = ("scene", "machine", "holder", "hardware", "mesh", "points")


def file_digest(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
