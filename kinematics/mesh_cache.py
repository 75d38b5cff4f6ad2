"""Meshes that were read before, kept in the user's cache folder under the hash of what they were read from.

1. An entry is found by content: the bytes of the file, how it was asked for, and the readers' own
   source. Nothing is ever out of date, so nothing is ever asked for its date.
2. An entry carries a checksum. One that is cut short or damaged is thrown away and made anew.
3. A cache may fail in any way (no folder, full disk, another process): the mesh is read without it.
4. The folder is kept below a size (cache_files.py).
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from pathlib import Path

import numpy as np

from kinematics import cache_files
from kinematics.meshes import Mesh

SIZE_LIMIT = 2 << 30  # bytes of all entries together
WORTH_FROM = 2_000_000  # bytes; a smaller file of triangles is read as fast as its entry
SUFFIX = ".mesh"
MAGIC = b"tightside mesh 1\n"
DIGEST = 32  # bytes of SHA-256
HEAD = len(MAGIC) + DIGEST + 8  # then 8 bytes for the length of the description


def cache_folder() -> Path | None:
    """Where entries live: TIGHTSIDE_CACHE, or a folder of the user's; None where there is to be no cache.

    TIGHTSIDE_CACHE=off turns it off.
    """
    chosen = cache_files.chosen()
    if chosen:
        return None if chosen == cache_files.OFF else Path(chosen)
    folder = cache_files.user_folder()
    return folder / "meshes" if folder else None


def key_of(data: bytes, *how: object) -> str | None:
    """The name of the entry for a file of these bytes, read in this way by these readers.

    None where there is to be no cache, and where the readers' source cannot be seen.
    """
    if cache_folder() is None:
        return None
    try:
        readers = _readers()
    except OSError:
        return None
    digest = hashlib.sha256(json.dumps([readers, len(data), *map(repr, how)]).encode())
    digest.update(data)
    return digest.hexdigest()


def load(key: str, source: str) -> Mesh | None:
    """The mesh of an entry, under another file name if need be; None where there is no sound entry."""
    folder = cache_folder()
    if folder is None:
        return None
    path = folder / (key + SUFFIX)
    try:
        entry = path.read_bytes()
    except (OSError, MemoryError):
        return None
    mesh = _unpacked(entry, source)
    with contextlib.suppress(OSError):
        if mesh is None:
            path.unlink()
        else:
            os.utime(path)  # used now
    return mesh


def store(key: str, mesh: Mesh) -> None:
    """Keeps a mesh, if the folder lets it."""
    folder = cache_folder()
    if folder is None:
        return
    parts = _packed(mesh)
    if sum(map(len, parts)) > SIZE_LIMIT // 4:
        return
    with contextlib.suppress(OSError):
        cache_files.write(folder / (key + SUFFIX), parts)
        cache_files.trim(folder, SUFFIX, SIZE_LIMIT)


def _readers() -> str:
    """A hash of the source of everything that turns a file into a mesh, and the kernel's version."""
    from importlib import metadata

    digest = hashlib.sha256()
    here = Path(__file__).parent
    for path in sorted([*here.glob("mesh*.py"), *here.glob("step_*.py"), here / "winding.py"]):
        digest.update(path.read_bytes())
    with contextlib.suppress(metadata.PackageNotFoundError):
        digest.update(metadata.version("cascadio").encode())
    return digest.hexdigest()


# --- one entry ------------------------------------------------------------------------------------


def _packed(mesh: Mesh) -> tuple[bytes, ...]:
    vertices, faces = mesh.vertices.astype("<f8").tobytes(), mesh.faces.astype("<i4").tobytes()
    description = {
        "n_vertices": len(mesh.vertices),
        "n_faces": len(mesh.faces),
        "n_open_edges": mesh.n_open_edges,
        "chord_error": mesh.chord_error,
        "notes": mesh.notes,
    }
    text = json.dumps(description).encode()
    body = (len(text).to_bytes(8, "little"), text, vertices, faces)
    return (MAGIC, _checksum(*body), *body)


def _unpacked(entry: bytes, source: str) -> Mesh | None:
    view = memoryview(entry)
    if len(entry) < HEAD or entry[: len(MAGIC)] != MAGIC:
        return None
    if entry[len(MAGIC) : len(MAGIC) + DIGEST] != _checksum(view[len(MAGIC) + DIGEST :]):
        return None
    # What the checksum vouches for is what this file wrote.
    n_text = int.from_bytes(entry[HEAD - 8 : HEAD], "little")
    description = json.loads(entry[HEAD : HEAD + n_text])
    n_vertices, n_faces = description["n_vertices"], description["n_faces"]
    at = HEAD + n_text
    vertices = np.frombuffer(entry, dtype="<f8", count=3 * n_vertices, offset=at).reshape(-1, 3)
    faces = np.frombuffer(entry, dtype="<i4", count=3 * n_faces, offset=at + vertices.nbytes).reshape(-1, 3)
    vertices, faces = vertices.astype(np.float64), faces.astype(np.int32)  # aligned, in this machine's byte order
    vertices.flags.writeable = False
    faces.flags.writeable = False
    notes = tuple(description["notes"])
    return Mesh(vertices, faces, description["n_open_edges"], description["chord_error"], source, notes)


def _checksum(*parts: bytes | memoryview) -> bytes:
    digest = hashlib.sha256()
    for part in parts:
        digest.update(part)
    return digest.digest()
