"""Values between two processes: pickled, each behind its length; a mesh goes over once and is named from then on.

1. Both ends keep the same meshes in the same order and forget the oldest at the same time, so that a name always means
   a mesh that both have.
2. Meshes are told apart by content. A mesh that was sent before comes out as the very same object.
"""

from __future__ import annotations

import hashlib
import io
import pickle
import struct
from collections import OrderedDict
from typing import Any

from app.view3d.display_meshes import DisplayMesh

LENGTH = struct.Struct("<Q")
MOST_MESHES = 600  # kept at each end
MOST_BYTES = 256 << 20  # of them together

Named = tuple[bytes, DisplayMesh | None]


class _Meshes:
    """Meshes by name, oldest first; both ends have one and do the same to it."""

    def __init__(self) -> None:
        self.by_name: OrderedDict[bytes, DisplayMesh] = OrderedDict()
        self._bytes = 0

    def add(self, name: bytes, mesh: DisplayMesh) -> list[DisplayMesh]:
        """Keep a mesh; hands out what had to go."""
        gone = []
        self.by_name[name] = mesh
        self._bytes += _size(mesh)
        while len(self.by_name) > MOST_MESHES or (self._bytes > MOST_BYTES and len(self.by_name) > 1):
            _, oldest = self.by_name.popitem(last=False)
            self._bytes -= _size(oldest)
            gone.append(oldest)
        return gone


def _size(mesh: DisplayMesh) -> int:
    return int(mesh.vertices.nbytes + mesh.faces.nbytes)


class Sender:
    """Packs values; one for each stream."""

    def __init__(self) -> None:
        self._meshes = _Meshes()
        self._names: dict[int, tuple[bytes, DisplayMesh]] = {}  # by identity, of meshes that are kept alive here

    def packed(self, value: object) -> bytes:
        """The value as bytes, with its length before it."""
        stream = io.BytesIO()
        stream.write(LENGTH.pack(0))
        _Pickler(stream, self).dump(value)
        size = stream.tell() - LENGTH.size
        stream.seek(0)
        stream.write(LENGTH.pack(size))
        return stream.getvalue()

    def name_of(self, mesh: DisplayMesh) -> Named:
        """The name of a mesh, and the mesh itself where the other end has not got it."""
        known = self._names.get(id(mesh))
        name = known[0] if known else _content(mesh)
        if name in self._meshes.by_name:
            return name, None
        for gone in self._meshes.add(name, mesh):
            self._names.pop(id(gone), None)
        self._names[id(mesh)] = name, mesh
        return name, mesh


def _content(mesh: DisplayMesh) -> bytes:
    digest = hashlib.blake2b(digest_size=16)
    digest.update(repr((mesh.vertices.shape, mesh.faces.shape, mesh.off_by)).encode())
    digest.update(memoryview(mesh.vertices.tobytes()))
    digest.update(memoryview(mesh.faces.tobytes()))
    return digest.digest()


class _Pickler(pickle.Pickler):
    def __init__(self, stream: io.BytesIO, sender: Sender) -> None:
        super().__init__(stream, protocol=pickle.HIGHEST_PROTOCOL)
        self._sender = sender

    def persistent_id(self, obj: Any) -> Any:
        if not isinstance(obj, DisplayMesh):
            return None
        name, mesh = self._sender.name_of(obj)
        return name if mesh is None else (name, mesh.vertices, mesh.faces, mesh.off_by)


class Receiver:
    """Unpacks what a Sender packed, in its order."""

    def __init__(self) -> None:
        self._meshes = _Meshes()
        self._buffer = bytearray()

    def feed(self, data: bytes) -> None:
        """Bytes as they come."""
        self._buffer += data

    def has_next(self) -> bool:
        """Whether a whole value has come."""
        if len(self._buffer) < LENGTH.size:
            return False
        return len(self._buffer) >= self._end()

    def next(self) -> Any:
        """The next value. Call it only if there is one."""
        end = self._end()
        data = bytes(memoryview(self._buffer)[LENGTH.size : end])
        del self._buffer[:end]
        return _Unpickler(io.BytesIO(data), self._meshes).load()

    def _end(self) -> int:
        """Where the next value ends in the buffer."""
        size: int = LENGTH.unpack_from(self._buffer)[0]
        return LENGTH.size + size


class _Unpickler(pickle.Unpickler):
    def __init__(self, stream: io.BytesIO, meshes: _Meshes) -> None:
        super().__init__(stream)
        self._meshes = meshes

    def persistent_load(self, name: Any) -> DisplayMesh:
        if isinstance(name, tuple):
            key, vertices, faces, off_by = name
            mesh = DisplayMesh(vertices, faces, off_by)
            self._meshes.add(key, mesh)
            return mesh
        return self._meshes.by_name[name]
