"""Reader of OBJ files: vertices and polygons of objects; everything else that may stand there is known and skipped."""

from __future__ import annotations

import math
from array import array
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kinematics.errors import MeshFileError
from kinematics.mesh_files import RawBody, RawFile, check_triangle_count
from kinematics.mesh_polygons import Polygons, triangulated

# What has no bearing on the surface: texture and normal points, materials, groups, lines, display.
SKIPPED = frozenset(
    b"vt vn vp g s mg l p usemtl mtllib usemap maplib bevel c_interp d_interp lod shadow_obj trace_obj".split()
)


@dataclass(slots=True)
class _Object:
    name: str
    corners: array[int] = field(default_factory=lambda: array("q"))
    counts: array[int] = field(default_factory=lambda: array("q"))


def read_obj(data: bytes) -> RawFile:
    """OBJ with polygons; faces may refer to earlier vertices by negative numbers. Bodies are its objects."""
    numbers = array("d")  # three of each vertex
    objects = [_Object("")]
    n_triangles = 0
    for number, line in enumerate(data.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ").splitlines(), start=1):
        words = line.split(b"#", 1)[0].split()
        if not words or words[0] in SKIPPED:
            continue
        match words[0]:
            case b"v":
                numbers.extend(_point(words, number))
            case b"f":
                polygon = [_corner(word, len(numbers) // 3, number) for word in words[1:]]
                if len(polygon) < 3:
                    raise MeshFileError(f"line {number}: a face of {len(polygon)} corners; expected at least 3")
                objects[-1].corners.extend(polygon)
                objects[-1].counts.append(len(polygon))
                n_triangles += len(polygon) - 2
                check_triangle_count(n_triangles)
            case b"o":
                objects.append(_Object(b" ".join(words[1:]).decode("utf-8", "replace")))
            case word:
                shown = word[:20].decode("ascii", "replace")
                raise MeshFileError(f"line {number}: {shown!r} is not read; expected v, f, o and what belongs to them")
    vertices = np.array(numbers, dtype=np.float64).reshape(-1, 3)
    return _raw(vertices, [one for one in objects if one.counts])


def _raw(vertices: NDArray[np.float64], objects: list[_Object]) -> RawFile:
    bodies: list[RawBody] = []
    notes: list[str] = []
    for one in objects:
        polygons = Polygons(np.array(one.corners, dtype=np.int64), np.array(one.counts, dtype=np.int64))
        if polygons.corners.max() >= len(vertices):
            raise MeshFileError(f"a face names vertex {polygons.corners.max() + 1}; expected 1 to {len(vertices)}")
        faces, remarks = triangulated(vertices, polygons)
        used = np.unique(faces)
        bodies.append(RawBody(one.name, vertices[used], np.searchsorted(used, faces)))
        notes.extend(remarks)
    return RawFile(tuple(bodies), notes=tuple(notes))


def _point(words: list[bytes], number: int) -> tuple[float, float, float]:
    try:
        x, y, z = (float(word.replace(b"_", b"?")) for word in words[1:4])  # Python would read 1_0 as ten
    except ValueError as error:
        raise MeshFileError(f"line {number}: a vertex that is no three numbers; expected as in v 1.5 0 2") from error
    if not (math.isfinite(x) and math.isfinite(y) and math.isfinite(z)):
        raise MeshFileError(f"line {number}: a vertex at {x:g}, {y:g}, {z:g}; expected numbers")
    return x, y, z


def _corner(word: bytes, n_points: int, number: int) -> int:
    first = word.split(b"/", 1)[0]
    try:
        index = int(first.replace(b"_", b"?"))
    except ValueError as error:
        raise MeshFileError(
            f"line {number}: a corner {first[:20].decode('ascii', 'replace')!r}; expected the number of a vertex"
        ) from error
    if index == 0 or index < -n_points:
        raise MeshFileError(
            f"line {number}: a face names vertex {index}; expected 1 to {n_points}, or -{n_points} to -1"
        )
    return index - 1 if index > 0 else n_points + index
