"""The part of a new set-up: measured from its file, and asked about where the file has no unit."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from app.jobs.new_setup.answers import MM_PER_INCH, PartAnswer
from kinematics.errors import MeshFileError
from kinematics.meshes import Mesh, Up, load_mesh, placed_mesh
from kinematics.pose import Vector

UPS: tuple[Up, ...] = ("+X", "-X", "+Y", "-Y", "+Z", "-Z")
DIGITS = 4  # of a size in mm


@dataclass(frozen=True, slots=True)
class UnitQuestion:
    """A part file that does not say its unit. `numbers`: the sides of its box as they stand in it."""

    file: str
    numbers: Vector

    def __str__(self) -> str:
        sides = " x ".join(f"{n:.1f}" for n in self.numbers)
        first = self.numbers[0] * MM_PER_INCH
        return f"{self.file} has no unit. Is it {sides} mm, or {sides} inch ({first:.0f} mm)?"


def part_answer(path: Path, *, units: str | None = None, up: Up = "+Z") -> PartAnswer | UnitQuestion:
    """The part of a file, or what has to be asked first.

    Parameters
    ----------
    units : of the file, where it does not say them itself (STL, OBJ, PLY).
    up : the direction of the file that is to become +Z.

    Raises
    ------
    MeshFileError : whatever is wrong with the file.
    """
    try:
        mesh = load_mesh(path, units=units)
    except MeshFileError as error:
        if units is not None or error.key != ("units",):
            raise
        return UnitQuestion(path.name, _size(load_mesh(path, units="mm"), up))
    return PartAnswer(path.name, units if _needs_unit(path) else None, up, _size(mesh, up))


def copied_beside(files: Iterable[Path], folder: Path) -> tuple[Path, ...]:
    """Copies of files in a folder; what is there already, whatever it is, stays. Raises OSError."""
    copied = []
    for file in files:
        to = folder / file.name
        if not to.exists():
            shutil.copyfile(file, to)
            copied.append(to)
    return tuple(copied)


def _needs_unit(path: Path) -> bool:
    return path.suffix.lower() in (".stl", ".obj", ".ply")


def _size(mesh: Mesh, up: Up) -> Vector:
    (x0, y0, z0), (x1, y1, z1) = placed_mesh(mesh, from_="base_centre", up=up).bounds
    return round(x1 - x0, DIGITS), round(y1 - y0, DIGITS), round(z1 - z0, DIGITS)
