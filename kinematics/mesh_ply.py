"""Reader of PLY files: text and both binary byte orders, any elements and properties, faces of any size."""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kinematics.errors import MeshFileError
from kinematics.mesh_files import MAX_TRIANGLES, RawBody, RawFile, check_triangle_count
from kinematics.mesh_polygons import Polygons, triangulated

TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2",
    "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4",
    "double": "f8", "float64": "f8",
}  # fmt: skip
WHOLE = {name for name, kind in TYPES.items() if not kind.startswith("f")}
ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
LISTS_OF_CORNERS = ("vertex_indices", "vertex_index")
MAX_HEADER = 1 << 16  # bytes


@dataclass(frozen=True, slots=True)
class _Property:
    name: str
    kind: str  # numpy type without byte order
    count_kind: str | None = None  # of the number that stands before a list


@dataclass(frozen=True, slots=True)
class _Element:
    name: str
    count: int
    properties: tuple[_Property, ...]

    @property
    def has_lists(self) -> bool:
        return any(p.count_kind for p in self.properties)


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Columns of one element by name: numbers, and lists of whole numbers."""

    numbers: dict[str, NDArray[np.float64]]
    lists: dict[str, Polygons]


def read_ply(data: bytes) -> RawFile:
    """PLY with vertices (x, y, z) and faces."""
    order, elements, start = _header(data)
    tables = dict(_text_tables(data[start:], elements) if not order else _binary_tables(data[start:], elements, order))
    vertex, face = tables.get("vertex"), tables.get("face")
    if "tristrips" in tables:
        raise MeshFileError("holds strips of triangles; expected faces")
    if vertex is None or not {"x", "y", "z"} <= vertex.numbers.keys():
        raise MeshFileError("has no vertices with x, y and z; expected an element vertex")
    if face is None:
        raise MeshFileError("has no faces; expected an element face")
    polygons = next((face.lists[name] for name in LISTS_OF_CORNERS if name in face.lists), None)
    if polygons is None:
        raise MeshFileError("its faces have no corners; expected a list vertex_indices")
    vertices = np.stack([vertex.numbers[axis] for axis in "xyz"], axis=1)
    if not np.isfinite(vertices).all():
        row = int(np.flatnonzero(~np.isfinite(vertices).all(axis=1))[0])
        raise MeshFileError(f"vertex {row + 1} is {', '.join(f'{v:g}' for v in vertices[row])}; expected numbers")
    corners = polygons.corners
    if polygons.counts.min(initial=3) < 3:
        raise MeshFileError(f"a face of {polygons.counts.min()} corners; expected at least 3")
    if corners.min(initial=0) < 0 or corners.max(initial=-1) >= len(vertices):
        bad = corners.min() if corners.min() < 0 else corners.max()
        raise MeshFileError(f"a face names vertex {bad}; expected 0 to {len(vertices) - 1}")
    check_triangle_count(polygons.n_triangles)
    faces, notes = triangulated(vertices, polygons)
    return RawFile((RawBody("", vertices, faces),), notes=notes)


# --- header ---------------------------------------------------------------------------------------


def _header(data: bytes) -> tuple[str, list[_Element], int]:
    """Byte order ("" for text), elements, and where their values begin."""
    end = re.search(rb"(?:\r\n|\n|\r)end_header[ \t]*(?:\r\n|\n|\r)", data[:MAX_HEADER])
    if not re.match(rb"ply[ \t]*[\r\n]", data) or end is None:
        raise MeshFileError("is no PLY, or was cut short; expected ply in its first line, and a line end_header")
    order: str | None = None
    elements: list[_Element] = []
    for line in data[: end.start()].decode("ascii", "replace").splitlines()[1:]:
        match line.split():
            case [] | ["comment" | "obj_info", *_]:
                continue
            case ["format", name, "1.0"] if name in ORDERS:
                order = ORDERS[name]
            case ["element", name, count] if count.isascii() and count.isdigit() and len(count) < 12:
                elements.append(_Element(name, int(count), ()))
            case ["property", "list", count, kind, name] if elements and count in WHOLE and kind in TYPES:
                if name in LISTS_OF_CORNERS and kind not in WHOLE:
                    raise MeshFileError(f"its header gives {name} the type {kind}; expected a type of whole numbers")
                elements[-1] = _with(elements[-1], _Property(name, TYPES[kind], TYPES[count]))
            case ["property", kind, name] if elements and kind in TYPES:
                elements[-1] = _with(elements[-1], _Property(name, TYPES[kind]))
            case _:
                raise MeshFileError(f"header line {line[:60]!r}; expected format, element or property as PLY has them")
    if order is None:
        raise MeshFileError("its header has no format; expected ascii, binary_little_endian or binary_big_endian 1.0")
    if len({element.name for element in elements}) < len(elements):
        raise MeshFileError("its header names an element twice; expected each once")
    return order, elements, end.end()


def _with(element: _Element, added: _Property) -> _Element:
    if any(p.name == added.name for p in element.properties):
        raise MeshFileError(f"its header gives {element.name} the property {added.name} twice; expected it once")
    return _Element(element.name, element.count, (*element.properties, added))


def _check_room(element: _Element, least: int, room: int) -> None:
    """Before memory is asked for: the values that the header promises must fit into the rest of the file."""
    if element.count * least > room:
        raise MeshFileError(
            f"its header promises {element.count} of {element.name}, which take {element.count * least} bytes or more; "
            f"the file has {room} left, expected the two to agree"
        )


# --- text -----------------------------------------------------------------------------------------


def _text_tables(body: bytes, elements: list[_Element]) -> Iterator[tuple[str, _Table]]:
    for element in elements:
        _check_room(element, 2 * len(element.properties), len(body) + 1)
    words = body.split()
    at = 0
    for element in elements:
        try:
            table, at = _text_table(words, at, element)
        except (ValueError, OverflowError) as error:
            raise MeshFileError(
                f"among the values of {element.name} is one that is no number; expected numbers"
            ) from error
        yield element.name, table
    if at < len(words):
        raise MeshFileError(f"has {len(words) - at} values more than its header promises; expected the two to agree")


def _text_table(words: list[bytes], at: int, element: _Element) -> tuple[_Table, int]:
    table = _Table({}, {})
    if not element.has_lists:
        n = len(element.properties)
        end = at + n * element.count
        _check_words(words, end, element)
        if any(b"_" in word for word in words[at:end]):  # Python would read 1_0 as ten
            raise ValueError
        values = np.array([float(word) for word in words[at:end]], dtype=np.float64).reshape(element.count, n)
        table.numbers.update({p.name: values[:, k] for k, p in enumerate(element.properties)})
        return table, end
    rows: list[list[float | list[int]]] = []
    for _ in range(element.count):
        row: list[float | list[int]] = []
        for p in element.properties:
            _check_words(words, at + 1, element)
            if p.count_kind is None:
                row.append(float(words[at]))
                at += 1
                continue
            n = int(words[at])
            _check_words(words, at + 1 + n, element)
            if n < 0 or any(b"_" in word for word in words[at + 1 : at + 1 + n]):
                raise ValueError
            convert = float if p.kind.startswith("f") else int
            row.append([int(convert(word)) for word in words[at + 1 : at + 1 + n]])
            at += 1 + n
        rows.append(row)
    return _by_column(element, rows), at


def _check_words(words: list[bytes], end: int, element: _Element) -> None:
    if end > len(words):
        raise MeshFileError(
            f"ends among its {element.count} of {element.name}; expected as many as its header promises"
        )


def _by_column(element: _Element, rows: list[list[float | list[int]]]) -> _Table:
    table = _Table({}, {})
    for k, p in enumerate(element.properties):
        column = [row[k] for row in rows]
        if p.count_kind is None:
            table.numbers[p.name] = np.array(column, dtype=np.float64)
        elif p.name in LISTS_OF_CORNERS:
            lists = [one for one in column if isinstance(one, list)]
            corners = np.array([v for one in lists for v in one], dtype=np.int64)
            table.lists[p.name] = Polygons(corners, np.array([len(one) for one in lists], dtype=np.int64))
    return table


# --- binary ---------------------------------------------------------------------------------------


def _binary_tables(body: bytes, elements: list[_Element], order: str) -> Iterator[tuple[str, _Table]]:
    at = 0
    for element in elements:
        least = sum(np.dtype(p.count_kind or p.kind).itemsize for p in element.properties)
        _check_room(element, least, len(body) - at)
        if not element.has_lists:
            record = np.dtype([(p.name, order + p.kind) for p in element.properties])
            rows = np.frombuffer(body, dtype=record, count=element.count, offset=at) if record.itemsize else None
            at += record.itemsize * element.count
            yield (
                element.name,
                _Table({p.name: rows[p.name].astype(np.float64) for p in element.properties if rows is not None}, {}),
            )
            continue
        table, at = _all_triangles(body, at, element, order) or _binary_rows(body, at, element, order)
        yield element.name, table
    if at < len(body):
        raise MeshFileError(f"has {len(body) - at} bytes more than its header promises; expected the two to agree")


def _all_triangles(body: bytes, at: int, element: _Element, order: str) -> tuple[_Table, int] | None:
    """The quick way for faces that are all triangles; None where they are not."""
    fields: list[tuple[str, str] | tuple[str, str, tuple[int]]] = []
    for p in element.properties:
        if p.count_kind:
            fields += [("count of " + p.name, order + p.count_kind), (p.name, order + p.kind, (3,))]
        else:
            fields.append((p.name, order + p.kind))
    record = np.dtype(fields)
    if element.count * record.itemsize > len(body) - at or element.count > MAX_TRIANGLES:
        return None
    rows = np.frombuffer(body, dtype=record, count=element.count, offset=at)
    lists = [p for p in element.properties if p.count_kind]
    if not all((rows["count of " + p.name] == 3).all() for p in lists):
        return None
    numbers = {p.name: rows[p.name].astype(np.float64) for p in element.properties if not p.count_kind}
    threes = np.full(element.count, 3, dtype=np.int64)
    whole = {
        p.name: Polygons(rows[p.name].reshape(-1).astype(np.int64), threes) for p in lists if p.name in LISTS_OF_CORNERS
    }
    return _Table(numbers, whole), at + element.count * record.itemsize


def _binary_rows(body: bytes, at: int, element: _Element, order: str) -> tuple[_Table, int]:
    codes = {"i1": "b", "u1": "B", "i2": "h", "u2": "H", "i4": "i", "u4": "I", "f4": "f", "f8": "d"}
    rows: list[list[float | list[int]]] = []
    try:
        for _ in range(element.count):
            row: list[float | list[int]] = []
            for p in element.properties:
                first = struct.Struct(order + codes[p.count_kind or p.kind])
                (value,) = first.unpack_from(body, at)
                at += first.size
                if p.count_kind is None:
                    row.append(value)
                    continue
                n = int(value)
                size = np.dtype(p.kind).itemsize
                if n < 0 or n * size > len(body) - at:
                    raise MeshFileError(f"ends in a list of {n} values in {element.name}; expected all of them")
                row.append([int(v) for v in struct.unpack_from(f"{order}{n}{codes[p.kind]}", body, at)])
                at += n * size
            rows.append(row)
    except struct.error as error:
        raise MeshFileError(
            f"ends among its {element.count} of {element.name}; expected as many as its header promises"
        ) from error
    except (ValueError, OverflowError) as error:
        raise MeshFileError(f"among the values of {element.name} is one that is no number; expected numbers") from error
    return _by_column(element, rows), at
