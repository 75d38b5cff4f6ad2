"""Reader of 3MF files: the objects of the build, placed, in millimetres.

1. A 3MF file is a zip archive, and a small archive can hold a huge one. Nothing is unpacked beyond
   MAX_UNPACKED, neither what it declares nor what really comes out.
2. Only plain meshes are read. A file that says that it needs more (lattices, slices) is refused,
   because leaving those out would leave room where there is metal.
Source: 3MF Core Specification 1.3 and its Production Extension.
"""

from __future__ import annotations

import io
import math
import posixpath
import struct
import zipfile
import zlib
from array import array
from dataclasses import dataclass, field
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from kinematics.errors import MeshFileError
from kinematics.mesh_files import MM_PER, RawBody, RawFile, check_triangle_count

MAX_UNPACKED = 1 << 29  # bytes; text of about five million triangles
MAX_RATIO = 200  # of unpacked to packed size; the text of a mesh reaches 10 to 50
MAX_ENTRIES = 10_000
MAX_PLACED = 20_000  # objects after all components are placed
CHUNK = 1 << 20

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
MATERIAL = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
MODEL_RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"

UNITS = {
    "micron": MM_PER["micron"], "millimeter": 1.0, "centimeter": MM_PER["cm"], "inch": MM_PER["inch"],
    "foot": MM_PER["foot"], "meter": MM_PER["m"],
}  # fmt: skip

Matrix = NDArray[np.float64]  # (4, 3): three rows of a linear map and one of a shift, for points as rows
Place = tuple[str, str]  # part of the archive, id of an object in it


@dataclass(slots=True)
class _Object:
    name: str
    numbers: array[float] = field(default_factory=lambda: array("d"))  # three of each vertex
    corners: array[int] = field(default_factory=lambda: array("q"))  # three of each triangle
    components: list[tuple[Place, Matrix]] = field(default_factory=list)


@dataclass(slots=True)
class _Model:
    mm_per_unit: float = 1.0
    objects: dict[str, _Object] = field(default_factory=dict)
    build: list[tuple[Place, Matrix, str]] = field(default_factory=list)


def read_3mf(data: bytes) -> RawFile:
    """3MF: one body for each mesh that the build places, by its object's name."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _read(_Archive(archive))
    except (zipfile.BadZipFile, zlib.error, EOFError, struct.error, NotImplementedError, RuntimeError) as error:
        raise MeshFileError("is no zip archive, or a broken one; expected a 3MF file") from error
    except (OSError, ValueError, LookupError, OverflowError) as error:
        raise MeshFileError("its zip archive is broken; expected a 3MF file") from error


class _Archive:
    """The parts of a zip archive, with a limit on what is unpacked of all of them together."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        entries = archive.infolist()
        if len(entries) > MAX_ENTRIES:
            raise MeshFileError(f"an archive of {len(entries)} parts; expected at most {MAX_ENTRIES}")
        declared = sum(entry.file_size for entry in entries)
        if declared > MAX_UNPACKED:
            raise MeshFileError(f"unpacks to {declared / 1e6:.0f} MB; expected at most {MAX_UNPACKED / 1e6:.0f}")
        self.archive = archive
        self.entries = {"/" + entry.filename.lstrip("/").lower(): entry for entry in entries}
        self.n_left = MAX_UNPACKED

    def parse(self, part: str, parser: expat.XMLParserType) -> None:
        """Feeds one part to a parser of XML."""
        entry = self.entries.get(part.lower())
        if entry is None:
            raise MeshFileError(f"holds no part {part}; expected a 3MF file")
        if entry.file_size > MAX_RATIO * max(entry.compress_size, CHUNK // MAX_RATIO):
            raise MeshFileError(
                f"{part} unpacks to {entry.file_size / max(entry.compress_size, 1):.0f} times its size; "
                f"expected at most {MAX_RATIO}"
            )
        try:
            with self.archive.open(entry) as stream:
                while chunk := stream.read(CHUNK):
                    self.n_left -= len(chunk)
                    if self.n_left < 0:
                        raise MeshFileError(f"unpacks to over {MAX_UNPACKED / 1e6:.0f} MB; expected less")
                    parser.Parse(chunk, False)
            parser.Parse(b"", True)
        except expat.ExpatError as error:
            raise MeshFileError(f"{part} line {error.lineno}: {expat.ErrorString(error.code)}; expected XML") from error


def _parser() -> expat.XMLParserType:
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True

    def refuse(*_: object) -> None:
        raise MeshFileError("declares a document type; expected none, as 3MF has it")

    parser.StartDoctypeDeclHandler = refuse
    return parser


def _read(archive: _Archive) -> RawFile:
    root = _root_part(archive)
    models = {root: _model(archive, root)}
    bodies: list[RawBody] = []
    n_triangles = 0
    scale = models[root].mm_per_unit
    todo = [(place, matrix, name, 0) for place, matrix, name in reversed(models[root].build)]
    n_placed = 0
    while todo:
        (part, number), matrix, name, depth = todo.pop()
        n_placed += 1
        if n_placed > MAX_PLACED or depth > 100:
            raise MeshFileError(f"places objects over {MAX_PLACED} times, or within themselves; expected fewer")
        if part not in models:
            models[part] = _model(archive, part)
            if models[part].mm_per_unit != scale:
                raise MeshFileError(f"{part} has another unit than {root}; expected one")
        one = models[part].objects.get(number)
        if one is None:
            raise MeshFileError(f"places an object {number} that it does not hold; expected objects of {part}")
        if one.corners:
            n_triangles += len(one.corners) // 3
            check_triangle_count(n_triangles)
            bodies.append(_placed(one, matrix, name or one.name or f"object {number}"))
        for place, inner in reversed(one.components):
            todo.append((place, _product(inner, matrix), name, depth + 1))
    return RawFile(tuple(bodies), scale, (scale,))


def _root_part(archive: _Archive) -> str:
    found: list[str] = []

    def start(tag: str, attributes: dict[str, str]) -> None:
        if tag == f"{RELATIONS} Relationship" and attributes.get("Type") == MODEL_RELATION:
            found.append(posixpath.normpath(posixpath.join("/", attributes.get("Target", ""))))

    parser = _parser()
    parser.StartElementHandler = start
    archive.parse("/_rels/.rels", parser)
    if len(found) != 1:
        raise MeshFileError(f"names {len(found)} models in _rels/.rels; expected one")
    return found[0]


def _placed(one: _Object, matrix: Matrix, name: str) -> RawBody:
    vertices = np.array(one.numbers, dtype=np.float64).reshape(-1, 3)
    faces = np.array(one.corners, dtype=np.int64).reshape(-1, 3)
    with np.errstate(over="ignore", invalid="ignore"):  # what overflows is found by the check of coordinates
        vertices = vertices @ matrix[:3] + matrix[3]
        determinant = float(np.linalg.det(matrix[:3]))
    if not abs(determinant) > 0.0:
        raise MeshFileError(f"{name} is placed by a transform that flattens it; expected one that can be undone")
    return RawBody(name, vertices, faces if determinant > 0.0 else faces[:, ::-1])


def _product(inner: Matrix, outer: Matrix) -> Matrix:
    """First `inner`, then `outer`."""
    return np.vstack([inner[:3] @ outer[:3], inner[3] @ outer[:3] + outer[3]])


# --- one model part -------------------------------------------------------------------------------


def _model(archive: _Archive, part: str) -> _Model:
    reader = _ModelReader(part)
    parser = _parser()
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.StartNamespaceDeclHandler = reader.namespace
    archive.parse(part, parser)
    if not reader.is_model:
        raise MeshFileError(f"{part} is no 3MF model; expected an element model")
    return reader.model


class _ModelReader:
    """Builds a model from the elements of its XML as they come."""

    def __init__(self, part: str) -> None:
        self.part = part
        self.model = _Model()
        self.is_model = False
        self.object = _Object("")
        self.prefixes: dict[str, str] = {}
        self.n_triangles = 0

    def namespace(self, prefix: str | None, uri: str) -> None:
        self.prefixes.setdefault(prefix or "", uri)

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        if not tag.startswith(CORE):
            return
        match tag[len(CORE) + 1 :]:
            case "vertex":
                self.object.numbers.extend(self._number(attributes, axis) for axis in "xyz")
            case "triangle":
                self.n_triangles += 1
                check_triangle_count(self.n_triangles)
                self.object.corners.extend(self._index(attributes, corner) for corner in ("v1", "v2", "v3"))
            case "object":
                self.object = _Object(attributes.get("name", "").strip())
                number = self._need(attributes, "id")
                if number in self.model.objects:
                    raise MeshFileError(f"{self.part} holds object {number} twice; expected each once")
                self.model.objects[number] = self.object
            case "component":
                self.object.components.append((self._place(attributes), _matrix(attributes)))
            case "item":
                name = attributes.get("partnumber", "").strip()
                self.model.build.append((self._place(attributes), _matrix(attributes), name))
            case "model":
                self._model(attributes)

    def end(self, tag: str) -> None:
        if tag != f"{CORE} mesh" or not self.object.corners:
            return
        n = len(self.object.numbers) // 3
        if max(self.object.corners) >= n:
            raise MeshFileError(f"a triangle names vertex {max(self.object.corners)}; expected 0 to {n - 1}")

    def _model(self, attributes: dict[str, str]) -> None:
        self.is_model = True
        unit = attributes.get("unit", "millimeter")
        if unit not in UNITS:
            raise MeshFileError(f"its unit is {unit!r}; expected one of {', '.join(UNITS)}")
        self.model.mm_per_unit = UNITS[unit]
        for prefix in attributes.get("requiredextensions", "").split():
            uri = self.prefixes.get(prefix, "")
            if uri not in (PRODUCTION, MATERIAL):
                raise MeshFileError(f"needs the extension {uri or prefix!r} to be read; expected plain meshes")

    def _place(self, attributes: dict[str, str]) -> Place:
        part = attributes.get(f"{PRODUCTION} path")
        return (posixpath.normpath(posixpath.join("/", part)) if part else self.part), self._need(
            attributes, "objectid"
        )

    def _need(self, attributes: dict[str, str], name: str) -> str:
        if name not in attributes:
            raise MeshFileError(f"an element of {self.part} without {name}; expected one")
        return attributes[name]

    def _number(self, attributes: dict[str, str], name: str) -> float:
        return _finite(self._need(attributes, name))

    def _index(self, attributes: dict[str, str], name: str) -> int:
        text = self._need(attributes, name)
        if not (text.isascii() and text.isdigit() and len(text) < 10):
            raise MeshFileError(f"a triangle with the corner {text[:20]!r}; expected the number of a vertex")
        return int(text)


def _finite(text: str) -> float:
    try:
        value = float(text.replace("_", "?"))  # Python would read 1_0 as ten
    except ValueError as error:
        raise MeshFileError(f"{text[:20]!r} among coordinates; expected a number") from error
    if not math.isfinite(value):
        raise MeshFileError(f"{text[:20]!r} among coordinates; expected a number")
    return value


def _matrix(attributes: dict[str, str]) -> Matrix:
    text = attributes.get("transform")
    if text is None:
        return np.vstack([np.eye(3), np.zeros(3)])
    values = [_finite(word) for word in text.split()]
    if len(values) != 12:
        raise MeshFileError(f"a transform of {len(values)} numbers; expected 12")
    return np.array(values).reshape(4, 3)
