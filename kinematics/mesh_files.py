"""Readers of mesh files: bytes in, raw bodies out, in the unit of the file.

1. A reader takes everything or raises MeshFileError: a file that is cut short, or that has one line
   which cannot be read, gives no mesh. General readers skip such lines, and a part with faces missing
   reads as room that is not there.
2. Sizes that a file promises are compared with its real size before any memory is asked for.
3. Readers do not turn, and weld nothing but equal corners of STL; the rest is done in `mesh_topology.py`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kinematics.errors import MeshFileError
from kinematics.mesh_topology import first_and_inverse

MAX_TRIANGLES = 5_000_000
MAX_FILE = 1 << 30  # bytes; a text STL of 4 million triangles

MM_PER = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "inch": 25.4,
    "foot": 304.8,
    "micron": 0.001,
}


@dataclass(frozen=True, slots=True, eq=False)
class RawBody:
    """Triangles as the file gives them.

    Parameters
    ----------
    name : as in the file; empty where the format has no names.
    vertices : (n, 3) float64, or float32 where the file holds no more, in the unit of the file.
    faces : (m, 3) integers that are below n, from 0.
    """

    name: str
    vertices: NDArray[np.float64] | NDArray[np.float32]
    faces: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class RawFile:
    """What a file holds.

    Parameters
    ----------
    bodies : in the order of the file.
    mm_per_unit : by which their coordinates become mm; None where the file does not say.
    stated : the units that the file states, as lengths in mm.
    chord_error : how far the triangles may lie from the surface that the file describes, in the unit of
        the coordinates.
    notes : remarks in words.
    """

    bodies: tuple[RawBody, ...]
    mm_per_unit: float | None = None
    stated: tuple[float, ...] = ()
    chord_error: float = 0.0
    notes: tuple[str, ...] = ()


def check_triangle_count(n: int) -> None:
    """Raises MeshFileError above MAX_TRIANGLES."""
    if n > MAX_TRIANGLES:
        raise MeshFileError(f"{n} triangles; expected at most {MAX_TRIANGLES}")


# --- STL ----------------------------------------------------------------------------------------

STL_RECORD = np.dtype([("normal", "<f4", (3,)), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
STL_HEADER = 84  # 80 bytes of anything, then the number of triangles

_NUMBERS = rb"\s+([^\s_]+)\s+([^\s_]+)\s+([^\s_]+)"
_FACET = re.compile(
    rb"\s*facet\s+normal\s+\S+\s+\S+\s+\S+\s+outer\s+loop"
    + 3 * (rb"\s+vertex" + _NUMBERS)
    + rb"\s+endloop\s+endfacet(?=\s)",
    re.IGNORECASE,
)
_SOLID = re.compile(rb"\s*solid\b([^\r\n]*)", re.IGNORECASE)
_END_SOLID = re.compile(rb"\s*endsolid\b[^\r\n]*\s*", re.IGNORECASE)


def read_stl(data: bytes) -> RawFile:
    """STL, binary or text. A binary file may begin with "solid" too: its size decides."""
    if len(data) >= STL_HEADER:
        n = int.from_bytes(data[80:84], "little")
        if len(data) == STL_HEADER + n * STL_RECORD.itemsize:
            return _read_binary_stl(data, n)
    if _SOLID.match(data) and (b"facet" in data[:4096].lower() or b"endsolid" in data[:4096].lower()):
        return _read_text_stl(data)
    if len(data) < STL_HEADER:
        raise MeshFileError(
            f"{len(data)} bytes that are no STL; expected the word solid, or at least {STL_HEADER} bytes"
        )
    raise MeshFileError(
        f"the STL header promises {n} triangles, which take {STL_HEADER + n * STL_RECORD.itemsize} bytes; "
        f"the file has {len(data)}, expected the two to agree"
    )


def _read_binary_stl(data: bytes, n: int) -> RawFile:
    check_triangle_count(n)
    records = np.frombuffer(data, dtype=STL_RECORD, count=n, offset=STL_HEADER)
    corners = records["corners"].reshape(-1, 3) + np.float32(0.0)  # makes a zero of -0.0
    first, inverse = first_and_inverse(corners.view(np.uint32))
    note = f"{3 * n} corners welded to {len(first)} points"
    return RawFile((RawBody("", corners[first], inverse.reshape(-1, 3)),), notes=(note,) if n else ())


def _read_text_stl(data: bytes) -> RawFile:
    bodies: list[RawBody] = []
    at = 0
    n_triangles = 0
    while solid := _SOLID.match(data, at):
        at = solid.end()
        numbers: list[float] = []
        while facet := _FACET.match(data, at):
            try:
                numbers.extend(map(float, facet.groups()))
            except ValueError as error:
                raise MeshFileError(
                    f"line {_line_of(data, facet.start(1))}: a corner that is no number; expected three, as in 1.5 0 2"
                ) from error
            at = facet.end()
            n_triangles += 1
            check_triangle_count(n_triangles)
        end = _END_SOLID.match(data, at)
        if end is None:
            break
        at = end.end()
        corners = np.array(numbers, dtype=np.float64).reshape(-1, 3)
        name = solid.group(1).strip().decode("utf-8", "replace")
        bodies.append(RawBody(name, corners, np.arange(len(corners), dtype=np.int64).reshape(-1, 3)))
    if data[at:].strip():
        raise MeshFileError(
            f"line {_line_of(data, at)}: cannot be read as text STL, or the file was cut short; "
            "expected a facet with three corners, or endsolid"
        )
    if len(bodies) == 1:
        bodies = [RawBody("", bodies[0].vertices, bodies[0].faces)] if not bodies[0].name else bodies
    return RawFile(tuple(bodies))


def _line_of(data: bytes, at: int) -> int:
    """Number of the line in which the next word after `at` stands."""
    rest = data[at : at + 4096]
    return data.count(b"\n", 0, at + len(rest) - len(rest.lstrip())) + 1
