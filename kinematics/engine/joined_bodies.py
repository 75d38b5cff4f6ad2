"""The trees of bodies as one set of arrays for the search over angles, kept from search to search and scene to scene.

1. A body is put in when it is first asked for, behind all that are there. Arrays that were handed out never change.
2. Bodies are not kept alive: once more than half of the rows are of bodies that are gone, those that are left are
   put together anew.
3. Where a body stands is no part of this.
4. Threads may share it.
"""

from __future__ import annotations

import threading
import weakref
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kinematics.engine.exact_pair import BodyTree
from kinematics.engine.triangle_tree import LEAF
from kinematics.pose import Array
from kinematics.solids import OnFrustum, Piece

Ints = NDArray[np.int64]
Ints32 = NDArray[np.int32]
SLACK = 4  # one row in so many is added to the room that is needed when arrays grow


class Joined(NamedTuple):
    """Bodies as one set of arrays; vertices within a body stand behind those around it, row for row."""

    vertices: Array
    faces: Ints32
    boxes: Array
    first: Ints32
    counts: Ints32
    piece_of: Ints32
    solids: Array


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Where a body is in the arrays: first rows, and the step from a vertex to the one within; 0 where it is itself."""

    root: int
    face: int
    to_inner: int
    n_faces: int


class JoinedBodies:
    """Asked again for bodies that it has, it gives the same rows."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._places: dict[int, tuple[weakref.ref[BodyTree], Place]] = {}
        self._room = _arrays(())
        self._used = (0, 0, 0, 0)  # vertices, faces, nodes, pieces

    def of(self, bodies: Sequence[BodyTree]) -> tuple[Joined, list[Place]]:
        """The arrays, and where in them each body is."""
        with self._lock:
            new = {id(body): body for body in bodies if self._place_of(body) is None}
            if new:
                self._put(list(new.values()))
            return self._shown(), [self._places[id(body)][1] for body in bodies]

    def _place_of(self, body: BodyTree) -> Place | None:
        found = self._places.get(id(body))
        return found[1] if found is not None and found[0]() is body else None

    def _shown(self) -> Joined:
        v, f, n, p = self._used
        r = self._room
        return Joined(r.vertices[:v], r.faces[:f], r.boxes[:n], r.first[:n], r.counts[:n], r.piece_of[:f], r.solids[:p])

    def _put(self, bodies: list[BodyTree]) -> None:
        left = {i: (ref, place) for i, (ref, place) in self._places.items() if ref() is not None}
        n_left = sum(place.n_faces for _, place in left.values())
        n_new = sum(len(body.tree.faces) for body in bodies)
        if 2 * (n_left + n_new) < self._used[1] + n_new:  # put together anew
            alive = [body for ref, _ in left.values() if (body := ref()) is not None]
            bodies, left = alive + bodies, {}
            self._room, self._used = _arrays(()), (0, 0, 0, 0)
        self._places = left
        more = _arrays(bodies)
        v, f, n, p = self._used
        inner_node = more.counts == 0
        more = more._replace(
            faces=more.faces + np.int32(v),
            first=np.where(inner_node, more.first + np.int32(n), more.first + np.int32(f)),
            piece_of=more.piece_of + np.int32(p),
        )
        self._room = Joined(
            _behind(self._room.vertices, v, more.vertices),
            _behind(self._room.faces, f, more.faces),
            _behind(self._room.boxes, n, more.boxes),
            _behind(self._room.first, n, more.first),
            _behind(self._room.counts, n, more.counts),
            _behind(self._room.piece_of, f, more.piece_of),
            _behind(self._room.solids, p, more.solids),
        )
        for body in bodies:
            tree = body.tree
            place = Place(n, f, len(tree.vertices) if _has_inner(body) else 0, len(tree.faces))
            self._places[id(body)] = (weakref.ref(body), place)
            f, n = f + len(tree.faces), n + len(tree.boxes)
        added = (len(more.vertices), len(more.faces), len(more.boxes), len(more.solids))
        self._used = tuple(a + b for a, b in zip(self._used, added, strict=True))  # type: ignore[assignment]


def _behind(room: NDArray, used: int, more: NDArray) -> NDArray:  # type: ignore[type-arg]
    """The array with rows behind those that are used; another one where there is no room. Used rows stay."""
    needed = used + len(more)
    if needed > len(room):
        larger = np.zeros((needed + needed // SLACK, *room.shape[1:]), dtype=room.dtype)
        larger[:used] = room[:used]
        room = larger
    room[used:needed] = more
    return room


def _arrays(bodies: Sequence[BodyTree]) -> Joined:
    """Bodies joined, counted from 0."""
    vertices, faces, boxes, first, count, piece_of, solids = [], [], [], [], [], [], []
    v = f = n = p = 0
    for body in bodies:
        tree = body.tree
        assert int(tree.count.max()) <= LEAF, "a leaf holds no more triangles than LEAF"
        vertices.append(tree.vertices)
        faces.append(tree.faces + v)
        boxes.append(tree.boxes)
        first.append(np.where(tree.count > 0, tree.first + f, tree.first + n))
        count.append(tree.count)
        piece_of.append(np.searchsorted(np.array(body.ends), tree.order, side="right") + p)
        solids += [_solid(piece) for piece in body.pieces]
        v, f, n, p = v + len(tree.vertices), f + len(tree.faces), n + len(tree.boxes), p + len(body.pieces)
        if _has_inner(body):
            vertices.append(_inner_vertices(body))
            v += len(tree.vertices)
    return Joined(
        _joined(vertices, (0, 3), np.float64),
        _joined(faces, (0, 3), np.int32),
        _joined(boxes, (0, 6), np.float64),
        _joined(first, (0,), np.int32),
        _joined(count, (0,), np.int32),
        _joined(piece_of, (0,), np.int32),
        np.array(solids, dtype=np.float64).reshape(-1, 5),
    )


def _joined(arrays: list[NDArray], shape: tuple[int, ...], dtype: type) -> NDArray:  # type: ignore[type-arg]
    return np.concatenate([np.zeros(shape, dtype=dtype), *arrays], dtype=dtype)


def _has_inner(body: BodyTree) -> bool:
    """Whether the vertices within the true body are others than those around it."""
    return any(piece.inner is not piece.outer for piece in body.pieces)


def _inner_vertices(body: BodyTree) -> Array:
    """Vertices within the true body, row for row those around it."""
    assert all(len(p.inner.vertices) == len(p.outer.vertices) for p in body.pieces), "inner and outer match"
    return np.concatenate([p.inner.vertices for p in body.pieces])


def _solid(piece: Piece) -> tuple[float, ...]:
    """A frustum's numbers, for `on_solid` in the kernel; zeros where the triangles are the solid."""
    if isinstance(piece.on_solid, OnFrustum):
        f = piece.on_solid
        return (1.0, f.r1, f.r2, f.z1, f.z2)
    return (0.0,) * 5
