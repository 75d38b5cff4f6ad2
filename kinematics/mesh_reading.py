"""From a path to a Mesh: which reader, which unit, which body, what is beyond reason.

Everything that can be wrong with a file becomes a MeshFileError that names the file.
"""

from __future__ import annotations

import difflib
import json
import math
import os
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kinematics import mesh_cache
from kinematics.errors import MeshFileError
from kinematics.mesh_3mf import read_3mf
from kinematics.mesh_files import (
    MAX_FILE,
    MM_PER,
    RawBody,
    RawFile,
    check_triangle_count,
    read_stl,
)
from kinematics.mesh_obj import read_obj
from kinematics.mesh_ply import read_ply
from kinematics.mesh_topology import Tidied, tidy
from kinematics.meshes import Mesh

MAX_COORDINATE = 1e5  # mm; no machine of this kind holds a part of 100 m
SMALLEST, LARGEST = (
    1.0,
    1000.0,
)  # mm; a box outside these asks whether the unit is right
STEP_SECONDS, STEP_SECONDS_PER_MB, STEP_SECONDS_AT_MOST = 20.0, 5.0, 300.0  # the kernel takes about 1 s for a MB
STEP_SHARE = 0.95  # of the chord tolerance goes to the kernel, the rest to its single-precision output

READERS: dict[str, Callable[[bytes], RawFile]] = {
    ".stl": read_stl,
    ".obj": read_obj,
    ".ply": read_ply,
    ".3mf": read_3mf,
}
STEP_SUFFIXES = (".step", ".stp")


def load_mesh(
    path: Path,
    units: str | None,
    body: str | None,
    chord_tolerance: float,
    origin: object,
) -> Mesh:
    """See `meshes.load_mesh`."""
    try:
        suffix = _known_suffix(path)
        data = _bytes_of(path)
        is_worth_it = suffix in STEP_SUFFIXES or len(data) >= mesh_cache.WORTH_FROM
        entry = mesh_cache.key_of(data, suffix, units, body, chord_tolerance) if is_worth_it else None
        mesh = mesh_cache.load(entry, path.name) if entry else None
        if mesh is None:
            mesh = _read(path.name, suffix, data, units, body, chord_tolerance)
            if entry:
                mesh_cache.store(entry, mesh)
        return mesh
    except MeshFileError as fault:
        raise MeshFileError(f"{path.name}: {fault.message}", origin=origin, key=fault.key or ("file",)) from fault
    except MemoryError as fault:
        message = f"{path.name}: takes more memory than there is; expected a smaller mesh"
        raise MeshFileError(message, origin=origin, key=("file",)) from fault


def _read(source: str, suffix: str, data: bytes, units: str | None, body: str | None, chord_tolerance: float) -> Mesh:
    if units is not None and units not in MM_PER:
        raise MeshFileError(
            f"no unit {units!r}; expected one of {', '.join(MM_PER)}{_nearest(units, MM_PER)}", key=("units",)
        )
    if not (math.isfinite(chord_tolerance) and chord_tolerance > 0.0):
        raise MeshFileError(f"a chord tolerance of {chord_tolerance:g} mm; expected one above 0", key=("tol",))
    raw = read_step(data, chord_tolerance) if suffix in STEP_SUFFIXES else READERS[suffix](data)
    bodies = [b for b in raw.bodies if len(b.faces)]
    if not bodies:
        raise MeshFileError("has no triangles; expected a mesh with at least one")
    check_triangle_count(sum(len(b.faces) for b in bodies))
    for one in bodies:
        _check_numbers(one)
    mm_per_unit = _mm_per_unit(raw, bodies, units)
    chosen = bodies if body is None else [_body_named(bodies, body)]
    return _mesh(source, chosen, raw, mm_per_unit, _unit_note(raw, units))


def _known_suffix(path: Path) -> str:
    suffix = path.suffix.lower()
    if suffix not in READERS and suffix not in STEP_SUFFIXES:
        known = (*STEP_SUFFIXES, *READERS)
        raise MeshFileError(f"a file ending in {suffix or 'nothing'}; expected one of {', '.join(known)}")
    return suffix


def _bytes_of(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise MeshFileError("is a folder; expected a mesh file")
        size = path.stat().st_size
        if size > MAX_FILE:
            raise MeshFileError(f"{size / 1e6:.0f} MB; expected at most {MAX_FILE / 1e6:.0f}")
        if path.exists() and not path.is_file():
            raise MeshFileError("is a device; expected a mesh file")
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise MeshFileError(f"not found in {path.parent}; expected a mesh file{_nearest_file(path)}") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a path"
        raise MeshFileError(f"cannot be opened ({reason.lower()}); expected a mesh file") from error
    if not data:
        raise MeshFileError("is empty; expected a mesh")
    return data


def _nearest_file(path: Path) -> str:
    try:
        return _nearest(path.name, [entry.name for entry in os.scandir(path.parent)])
    except OSError:
        return ""


def _nearest(word: str, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(word, list(known), n=1)
    return f"; nearest: {near[0]}" if near else ""


def _check_numbers(body: RawBody) -> None:
    if not np.isfinite(body.vertices).all():
        row = int(np.flatnonzero(~np.isfinite(body.vertices).all(axis=1))[0])
        raise MeshFileError(f"corner {row + 1} of {_called(body)} is {_point(body.vertices[row])}; expected numbers")
    if body.faces.min() < 0 or body.faces.max() >= len(body.vertices):
        bad = int(body.faces.min() if body.faces.min() < 0 else body.faces.max())
        raise MeshFileError(f"a triangle names corner {bad + 1}; expected 1 to {len(body.vertices)}")


def _called(body: RawBody) -> str:
    return f"body {body.name!r}" if body.name else "the mesh"


def _point(point: NDArray[np.floating]) -> str:
    return "[" + ", ".join(f"{v:g}" for v in point) + "]"


# --- units and bodies ---------------------------------------------------------------------------


def _mm_per_unit(raw: RawFile, bodies: list[RawBody], units: str | None) -> float:
    if raw.mm_per_unit is None:
        if units is None:
            lo = np.min([b.vertices.min(axis=0) for b in bodies], axis=0)
            hi = np.max([b.vertices.max(axis=0) for b in bodies], axis=0)
            size = hi.astype(np.float64) - lo
            raise MeshFileError(
                f"has no unit; is it {_size(size)} mm, or {_size(size)} inch ({_size(size * 25.4)} mm); "
                "expected units: mm or units: inch",
                key=("units",),
            )
        return MM_PER[units]
    return raw.mm_per_unit


def _unit_note(raw: RawFile, units: str | None) -> tuple[str, ...]:
    """A file that says its own unit is taken at its word; a scene that says another is told so."""
    if raw.mm_per_unit is None or units is None or any(_is_same(MM_PER[units], stated) for stated in raw.stated):
        return ()
    own = " and ".join(_unit_name(stated) for stated in raw.stated)
    return (f"is in {own} by its own word, which goes before units: {units}",)


def _is_same(mm: float, other_mm: float) -> bool:
    return abs(mm / other_mm - 1.0) <= 1e-6


def _unit_name(mm_per_unit: float) -> str:
    for name, mm in MM_PER.items():
        if _is_same(mm, mm_per_unit):
            return name
    return f"units of {mm_per_unit:g} mm"


def _size(size: NDArray[np.float64]) -> str:
    digits = 1 if size.max() >= 10.0 else 3
    return " x ".join(f"{v:.{digits}f}" for v in size)


def _body_named(bodies: list[RawBody], name: str) -> RawBody:
    found = [b for b in bodies if b.name == name]
    if len(found) == 1:
        return found[0]
    names = [b.name for b in bodies if b.name]
    if not names:
        message = f"no body {name!r}; the file names none, expected no body"
    elif found:
        message = f"{len(found)} bodies are called {name!r}; expected one"
    else:
        listed = ", ".join(names[:20]) + (f" and {len(names) - 20} more" if len(names) > 20 else "")
        message = f"no body {name!r}; expected one of {listed}{_nearest(name, names)}"
    raise MeshFileError(message, key=("body",))


# --- to a Mesh ----------------------------------------------------------------------------------


def _mesh(source: str, bodies: list[RawBody], raw: RawFile, mm_per_unit: float, unit_note: tuple[str, ...]) -> Mesh:
    notes = [*unit_note, *raw.notes]
    parts, told = _tidied(bodies, mm_per_unit)
    if not parts:
        raise MeshFileError("all triangles are without area; expected a mesh with at least one that has some")
    notes.extend(told)
    vertices, faces = _together([(part.vertices, part.faces) for part in parts])
    n_open = sum(part.n_open_edges for part in parts)
    n_crowded = sum(part.n_crowded_edges for part in parts)
    if n_open:
        crowded = f", {n_crowded} of them with more than two faces" if n_crowded else ""
        notes.append(f"not closed: {n_open} edges do not join two faces{crowded}")
    size = vertices.max(axis=0) - vertices.min(axis=0)
    if size.max() < SMALLEST or size.max() > LARGEST:
        notes.append(f"{_size(size)} mm: is its unit right?")
    vertices.flags.writeable = False
    faces.flags.writeable = False
    return Mesh(vertices, faces, n_open, raw.chord_error * mm_per_unit, source, tuple(notes))


def _tidied(bodies: list[RawBody], mm_per_unit: float) -> tuple[list[Tidied], list[str]]:
    """Bodies tidied apart, so that bodies that touch stay bodies; what has no area is left out.

    Where that leaves open what closes when they are welded to each other, the file's bodies are parts
    of one surface, and they are tidied together.
    """
    parts = [tidy(_in_mm(body, mm_per_unit), body.faces) for body in bodies]
    n_open = sum(part.n_open_edges for part in parts)
    if len(bodies) > 1 and n_open:
        vertices, faces = _together([(_in_mm(body, mm_per_unit), body.faces) for body in bodies])
        whole = tidy(vertices, faces)
        if whole.n_open_edges < n_open:
            notes = (*whole.notes, f"{len(bodies)} bodies of the file joined: apart they are open")
            return ([whole] if len(whole.faces) else []), list(notes)
    told = [
        f"{body.name or 'one'}: {note}" if len(bodies) > 1 else note
        for body, part in zip(bodies, parts, strict=True)
        for note in part.notes
    ]
    return [part for part in parts if len(part.faces)], told


def _together(
    parts: Sequence[tuple[NDArray[np.float64], NDArray[np.integer[Any]]]],
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    starts = np.cumsum([0, *(len(vertices) for vertices, _ in parts)])
    vertices = np.concatenate([vertices for vertices, _ in parts])
    faces = np.concatenate([faces + at for (_, faces), at in zip(parts, starts, strict=False)])
    return vertices, faces.astype(np.int32)


def _in_mm(body: RawBody, mm_per_unit: float) -> NDArray[np.float64]:
    vertices = body.vertices.astype(np.float64)
    if mm_per_unit != 1.0:
        with np.errstate(over="ignore"):  # infinity is beyond reason too
            vertices *= mm_per_unit
    reach = float(np.abs(vertices).max())
    if reach > MAX_COORDINATE:
        raise MeshFileError(f"a coordinate of {reach:g} mm; expected at most {MAX_COORDINATE:g} mm from the origin")
    return vertices


# --- STEP, in a process of its own --------------------------------------------------------------


def read_step(data: bytes, chord_tolerance: float) -> RawFile:
    """STEP through `step_worker.py`, in mm, with its chord error."""
    try:
        with tempfile.TemporaryDirectory(prefix="tightside-", ignore_cleanup_errors=True) as name:
            folder = Path(name)
            (folder / "part.step").write_bytes(data)
            status = _run_step_worker(folder, len(data), chord_tolerance)
            return _step_answer(folder, status, chord_tolerance)
    except OSError as error:
        raise MeshFileError(f"cannot be handed to the reader of STEP files ({error.strerror})") from error


def _run_step_worker(folder: Path, n_bytes: int, chord_tolerance: float) -> int:
    root = str(Path(__file__).resolve().parents[1])
    search = os.pathsep.join(filter(None, (root, os.environ.get("PYTHONPATH"))))
    command = [sys.executable, "-m", "kinematics.step_worker", str(folder / "part.step"), str(folder)]
    seconds = min(STEP_SECONDS + STEP_SECONDS_PER_MB * n_bytes / 1e6, STEP_SECONDS_AT_MOST)
    try:
        return subprocess.run(
            [*command, repr(STEP_SHARE * chord_tolerance)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": search},
            timeout=seconds,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),  # Windows only
            check=False,
        ).returncode
    except subprocess.TimeoutExpired as error:
        raise MeshFileError(
            f"takes over {seconds:.0f} s to read; expected a simpler file or a tol above {chord_tolerance:g} mm"
        ) from error


def _step_answer(folder: Path, status: int, chord_tolerance: float) -> RawFile:
    fault = folder / "fault.json"
    if fault.exists():
        raise MeshFileError(str(json.loads(fault.read_text(encoding="utf-8"))))
    try:
        answer = json.loads((folder / "bodies.json").read_text(encoding="utf-8"))
        with np.load(folder / "bodies.npz", allow_pickle=False) as arrays:
            bodies = tuple(RawBody(name, arrays[f"v{i}"], arrays[f"f{i}"]) for i, name in enumerate(answer["names"]))
    except (OSError, ValueError, KeyError, zipfile.BadZipFile) as error:
        raise MeshFileError(f"the geometry kernel broke down on it (status {status}); expected a STEP file") from error
    rounding = max(float(np.abs(b.vertices).max()) for b in bodies) * 2.0**-24 * 3.0**0.5
    chord_error = max(chord_tolerance, STEP_SHARE * chord_tolerance + rounding)
    # The kernel has turned everything into mm; without a stated unit it has left the numbers as they are.
    stated = tuple(answer["units"])
    return RawFile(bodies, 1.0 if stated else None, stated, chord_error)
