"""What is done to triangles as they come from a file, and what is found out about how they join.

1. Only this: equal points become one point, triangles without area and triangles given twice are
   dropped, a closed body that is inside out is turned. Each is told in words.
2. Nothing is hulled, thinned, filled or smoothed; no point moves by more than WELD.
3. Whatever the triangles are, these functions return: a soup stays a soup, with its open edges counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
Faces = NDArray[np.int32]
Indices = NDArray[np.int64]
Triples = NDArray[np.integer[Any]]
Flags = NDArray[np.bool_]

WELD = 1e-6  # mm; no corner moves farther, which is far below what a distance is proven to
CELL = 0.25e-6  # mm; two points of one cell of this width are at most 0.44e-6 apart
REACH = 0.5e-6  # mm; how far a point at an open edge is moved to another after that, which leaves both below WELD
FLAT = 1e-9  # mm; a triangle less high than this is a line, and the triangles beside it cover that line


@dataclass(frozen=True, slots=True, eq=False)
class Tidied:
    """Triangles after welding, dropping and turning.

    Parameters
    ----------
    vertices : (n, 3), mm; every one is used by a face, in the order of first use.
    faces : (m, 3).
    n_open_edges : edges at which the faces do not cancel: as a rule those of one face only. Flat
        triangles, which are dropped, still count as joining their neighbours: they cover no area, so
        that dropping them opens nothing.
    n_crowded_edges : those of the open edges at which more than two faces meet.
    n_pieces : pieces that hang together by edges of exactly two faces.
    notes : what was done, in words.
    """

    vertices: Points
    faces: Faces
    n_open_edges: int
    n_crowded_edges: int
    n_pieces: int
    notes: tuple[str, ...]


def tidy(vertices: Points, faces: Triples) -> Tidied:
    """Weld, drop and turn; see the rules at the top. Coordinates must be finite, indices in range.

    Returns no faces at all where every triangle was flat.
    """
    notes: list[str] = []
    n_given, n_faces = len(vertices), len(faces)
    vertices, faces, n_near = _welded_by_cell(vertices, faces)
    faces = faces[_has_three_corners(faces)]
    edges = _Edges(faces, len(vertices))
    n_across = 0
    if edges.n_open:
        faces, n_across = _welded_across_cells(vertices, faces, edges)
        faces = faces[_has_three_corners(faces)]
    n_points = len(vertices) - n_across
    if n_points < n_given:
        near = f", {n_near + n_across} of them up to {WELD:g} mm apart" if n_near + n_across else ""
        notes.append(f"{n_given} corners welded to {n_points} points{near}")
    n_collapsed = n_faces - len(faces)
    if edges.n_open or edges.is_crowded:  # elsewhere no face can be there twice
        first = _first_of_each_face(faces)
        if len(first) < len(faces):
            notes.append(f"{_count(len(faces) - len(first), 'triangle')} given twice dropped")
            faces = faces[first]
        backs = _backs(faces, len(vertices))
        if backs.any():
            notes.append(f"{_count(int(backs.sum()), 'triangle')} dropped that were the backs of others")
            faces = faces[~backs]
        edges = _Edges(faces, len(vertices))
    if edges.n_open:
        turned = _made_consistent(faces, edges)
        if turned.any():
            notes.append(f"{_count(int(turned.sum()), 'triangle')} turned to run as the others of a closed body")
            faces = _turned(faces, turned)
            edges = _Edges(faces, len(vertices))
    n_pieces, turned = _inside_out(vertices, faces, edges)
    if turned.any():
        notes.append(f"a closed body that was inside out ({_count(int(turned.sum()), 'triangle')}) turned")
        faces = _turned(faces, turned)

    has_area = _heights(vertices, faces) > FLAT
    n_flat = n_collapsed + len(faces) - int(has_area.sum())
    if n_flat:
        notes.append(f"{_count(n_flat, 'triangle')} without area dropped")
        faces = faces[has_area]
    used_vertices, used_faces = _used(vertices, faces)
    return Tidied(used_vertices, used_faces, edges.n_open, edges.n_crowded, n_pieces, tuple(notes))


def count_open_edges(faces: Triples, n_vertices: int) -> int:
    """Edges at which the faces that run one way are not as many as those that run the other."""
    return _Edges(faces, n_vertices).n_open


def face_labels(faces: Triples, n_vertices: int) -> tuple[int, Indices]:
    """Number of connected pieces, and for each face (m,) the piece it belongs to.

    Faces that share a point are connected.
    """
    a, b, c = (faces[:, k] for k in range(3))
    _, of_vertex = _pieces(n_vertices, np.concatenate([a, a]), np.concatenate([b, c]))
    pieces, labels = np.unique(of_vertex[a], return_inverse=True)
    return len(pieces), labels.astype(np.int64)


def signed_volumes(vertices: Points, faces: Triples) -> Points:
    """For each face (m,) the volume of its tetrahedron over the middle of the box, mm3, with sign.

    Their sum is the volume of a closed mesh (divergence theorem), negative where it is inside out.
    """
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2.0
    a, b, c = (vertices[faces[:, k]] - middle for k in range(3))
    return np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0


# --- welding ------------------------------------------------------------------------------------


def first_and_inverse(keys: Triples) -> tuple[Indices, Indices]:
    """Rows of integers (n, k): the first row of each kind, in order, and for each row its kind.

    Sorts one 64-bit mixture of each row instead of the rows, which is four times as fast, and sorts
    the rows only where two different rows happen to have the same mixture.
    """
    n = len(keys)
    if n == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    mixed = np.zeros(n, dtype=np.uint64)
    for k in range(keys.shape[1]):
        mixed ^= keys[:, k].astype(np.int64).view(np.uint64)
        mixed *= np.uint64(0x9E3779B97F4A7C15)  # 2^64 / golden ratio, the multiplier of Fibonacci hashing
        mixed ^= mixed >> np.uint64(29)
    order = np.argsort(mixed)
    mixed = mixed[order]
    same_mixture = mixed[1:] == mixed[:-1]
    same_row = _same_as_before(keys, order)
    if not np.array_equal(same_mixture, same_row):
        order = np.lexsort(keys.T[::-1])
        same_row = _same_as_before(keys, order)
    is_start = np.concatenate([[True], ~same_row])
    first = np.minimum.reduceat(order, np.flatnonzero(is_start))
    rank = np.argsort(first)
    place = np.zeros(len(first), dtype=np.int64)
    place[rank] = np.arange(len(first))
    inverse = np.zeros(n, dtype=np.int64)
    inverse[order] = place[np.cumsum(is_start) - 1]
    return first[rank], inverse


def _same_as_before(keys: Triples, order: Indices) -> Flags:
    """Whether each row but the first, in this order, equals the one before it."""
    same = np.ones(len(order) - 1, dtype=bool)
    for k in range(keys.shape[1]):
        column = keys[:, k][order]
        same &= column[1:] == column[:-1]
    return same


def _welded_by_cell(vertices: Points, faces: Triples) -> tuple[Points, Indices, int]:
    """Points in one cell of the rounding grid become the first of them.

    The last number is how many points were welded though they were not equal.
    """
    first, inverse = first_and_inverse(np.rint(vertices / CELL).astype(np.int64))
    kept = vertices[first]
    n_moved = int((kept[inverse] != vertices).any(axis=1).sum())
    return kept, inverse[faces], n_moved


def _welded_across_cells(vertices: Points, faces: Indices, edges: _Edges) -> tuple[Indices, int]:
    """Faces after welding points within REACH of each other that a cell wall parts, and how many they were.

    Only at edges of one face, where it matters.
    """
    from scipy.spatial import cKDTree

    at = edges.open_vertices()
    points = vertices[at]
    pairs = cKDTree(points).query_pairs(REACH, output_type="ndarray")
    if len(pairs) == 0:
        return faces, 0
    _, group = _pieces(len(at), pairs[:, 0], pairs[:, 1])
    _, leader, member_of = np.unique(group, return_index=True, return_inverse=True)
    lead = leader[member_of]
    is_near = np.linalg.norm(points - points[lead], axis=1) <= REACH  # of a chain of near points the far end stays
    onto = np.arange(len(vertices))
    onto[at[is_near]] = at[lead[is_near]]
    return onto[faces], int((onto != np.arange(len(onto))).sum())


def _used(vertices: Points, faces: Indices) -> tuple[Points, Faces]:
    """Only the vertices that faces use, in their old order."""
    is_used = np.zeros(len(vertices), dtype=bool)
    is_used[faces] = True
    place = np.cumsum(is_used) - 1
    return vertices[is_used], place[faces].astype(np.int32)


# --- faces --------------------------------------------------------------------------------------


def _has_three_corners(faces: Indices) -> Flags:
    a, b, c = (faces[:, k] for k in range(3))
    return (a != b) & (b != c) & (c != a)


def _first_of_each_face(faces: Indices) -> Indices:
    """Faces with the same corners the same way round are one face; a face and its back are two."""
    start = faces.argmin(axis=1)
    rows = np.arange(len(faces))
    rolled = np.stack([faces[rows, (start + k) % 3] for k in range(3)], axis=1)
    return first_and_inverse(rolled)[0]


def _backs(faces: Indices, n_vertices: int) -> Flags:
    """In pieces of which every face has its back, the later of the two.

    Some programs write each triangle a second time, the other way round. Such a piece cancels itself:
    nothing would be inside it. Where only some faces have a back, two solids touch, and both stay.
    """
    backs = np.zeros(len(faces), dtype=bool)
    first, kind = first_and_inverse(np.sort(faces, axis=1))
    has_back = np.bincount(kind)[kind] == 2
    if not has_back.any():
        return backs
    count, piece = face_labels(faces, n_vertices)
    is_double = np.ones(count, dtype=bool)
    is_double[piece[~has_back]] = False
    backs[:] = is_double[piece]
    backs[first] = False
    return backs


def _heights(vertices: Points, faces: Indices) -> Points:
    """The least height of each triangle, mm."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    longest = np.sqrt(
        np.maximum(
            ((b - a) ** 2).sum(1),
            np.maximum(((c - b) ** 2).sum(1), ((a - c) ** 2).sum(1)),
        )
    )
    double_area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    return np.divide(double_area, longest, out=np.zeros_like(longest), where=longest > 0.0)


def _turned(faces: Indices, which: Flags) -> Indices:
    faces = faces.copy()
    faces[which] = faces[which][:, ::-1]
    return faces


# --- edges --------------------------------------------------------------------------------------


class _Edges:
    """The sides of faces, sorted so that the sides of one edge lie together.

    An edge is open where the sides that run one way are not as many as those that run the other. Two
    solids that touch along an edge give it two sides each way; that opens neither of them.
    """

    def __init__(self, faces: Triples, n_vertices: int) -> None:
        start = faces.T.reshape(-1).astype(np.int64)
        end = np.roll(faces, -1, axis=1).T.reshape(-1).astype(np.int64)
        key = np.minimum(start, end) * n_vertices + np.maximum(start, end)
        self.n_faces = len(faces)
        self.n_vertices = n_vertices
        order = np.argsort(key)
        self.face = order % max(self.n_faces, 1)  # of each side
        self.key = key[order]
        self.sign = np.where(start < end, 1, -1)[order]
        is_first = np.ones(len(key), dtype=bool)
        is_first[1:] = self.key[1:] != self.key[:-1]
        self.first = np.flatnonzero(is_first)
        self.n_sides = np.diff(np.append(self.first, len(key)))
        self.is_open = np.add.reduceat(self.sign, self.first) != 0 if len(key) else np.zeros(0, dtype=bool)
        self.n_open = int(self.is_open.sum())
        self.n_crowded = int((self.is_open & (self.n_sides > 2)).sum())
        self.is_crowded = bool((self.n_sides > 2).any())
        self.pair = self.first[self.n_sides == 2]

    def open_vertices(self) -> Indices:
        """Vertices at edges that only one face has."""
        key = self.key[self.first[self.n_sides == 1]]
        return np.unique(np.concatenate([key // self.n_vertices, key % self.n_vertices]))

    def neighbours(self) -> tuple[Indices, Indices]:
        """The two faces of each edge that has exactly two sides."""
        return self.face[self.pair], self.face[self.pair + 1]

    def runs_opposite(self) -> Flags:
        """For the same edges, whether the two sides cancel."""
        flags: Flags = self.sign[self.pair] != self.sign[self.pair + 1]
        return flags

    def closed_pieces(self, piece: Indices, count: int) -> Flags:
        """For each piece (faces joined by edges of two sides) whether its own sides cancel everywhere."""
        is_closed = np.ones(count, dtype=bool)
        of_side = piece[self.face]
        lone = np.repeat(self.is_open & (self.n_sides <= 2), self.n_sides)
        is_closed[of_side[lone]] = False
        crowded = np.flatnonzero(np.repeat(self.n_sides > 2, self.n_sides))
        if len(crowded):
            edge = np.repeat(np.arange(len(self.first)), self.n_sides)[crowded]
            both, which = np.unique(np.stack([edge, of_side[crowded]], axis=1), axis=0, return_inverse=True)
            net = np.bincount(which.reshape(-1), weights=self.sign[crowded])
            is_closed[both[net != 0.0, 1]] = False
        return is_closed


def _pieces(n: int, a: NDArray[np.integer[Any]], b: NDArray[np.integer[Any]]) -> tuple[int, Indices]:
    """Number of connected pieces of n things joined a to b, and for each the piece it belongs to."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    graph = coo_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(n, n))
    count, labels = connected_components(graph, directed=False)
    return int(count), labels.astype(np.int64)


def _made_consistent(faces: Indices, edges: _Edges) -> Flags:
    """Faces to turn so that neighbours run opposite ways, only in pieces that are closed then.

    Each face stands twice in a graph, as it is and turned; neighbours link the copies that agree. A
    piece whose two copies hang together (a Moebius strip) cannot be made consistent and is left.
    """
    n = edges.n_faces
    agrees = edges.runs_opposite()
    if agrees.all():
        return np.zeros(n, dtype=bool)
    f, g = edges.neighbours()
    across = np.where(agrees, 0, n)
    _, copy = _pieces(2 * n, np.concatenate([f, f + n]), np.concatenate([g + across, g + n - across]))
    count, piece = _pieces(n, f, g)
    root = np.full(count, n, dtype=np.int64)
    np.minimum.at(root, piece, np.arange(n))
    turn: Flags = copy[:n] != copy[root[piece]]
    n_turned = np.bincount(piece, weights=turn, minlength=count)
    turn ^= (2 * n_turned > np.bincount(piece, minlength=count))[piece]  # turn the fewer of the two sets
    after = _Edges(_turned(faces, turn), edges.n_vertices)
    turn &= after.closed_pieces(piece, count)[piece]
    return turn


def _inside_out(vertices: Points, faces: Indices, edges: _Edges) -> tuple[int, Flags]:
    """The number of pieces, and the faces of closed pieces that bound a solid from the wrong side.

    A piece of negative volume inside another is a hollow and stays. One that lies in no other is
    inside out: it is turned, with all that lies in it, for what lies in it was written the same way.
    """
    none = np.zeros(len(faces), dtype=bool)
    if len(faces) == 0:
        return 0, none
    count, piece = _pieces(len(faces), *edges.neighbours())
    volume = np.bincount(piece, weights=signed_volumes(vertices, faces), minlength=count)
    if not (volume < 0.0).any():
        return count, none
    is_closed = edges.closed_pieces(piece, count)
    if not (is_closed & (volume < 0.0)).any():
        return count, none
    holders = _holders(vertices, faces, piece, np.flatnonzero(is_closed))
    outer_wrong = {k for k in holders if volume[k] < 0.0 and not holders[k]}
    wrong = [k for k in holders if k in outer_wrong or outer_wrong & holders[k]]
    return count, np.isin(piece, wrong)


def _holders(vertices: Points, faces: Indices, piece: Indices, closed: Indices) -> dict[int, set[int]]:
    """For each closed piece the closed pieces that it lies in."""
    from kinematics.winding import winding_numbers

    order = np.argsort(piece, kind="stable")
    starts = np.searchsorted(piece[order], np.append(closed, closed[-1] + 1))
    of = {
        int(k): faces[order[starts[i] : np.searchsorted(piece[order], k, side="right")]] for i, k in enumerate(closed)
    }
    lo = {k: vertices[f].min(axis=(0, 1)) for k, f in of.items()}
    hi = {k: vertices[f].max(axis=(0, 1)) for k, f in of.items()}
    holders: dict[int, set[int]] = {k: set() for k in of}
    keys = np.array(list(of))
    lows, highs = (
        np.array([lo[int(k)] for k in keys]),
        np.array([hi[int(k)] for k in keys]),
    )
    for k, own in of.items():
        around = keys[((lows <= lo[k]) & (highs >= hi[k])).all(axis=1)]
        middles = vertices[own[:: max(1, len(own) // 5)]].mean(axis=1)
        for other in (int(o) for o in around if o != k):
            inside = np.abs(winding_numbers(middles, vertices, of[other])) > 0.5
            if 2 * int(inside.sum()) > len(inside):
                holders[k].add(other)
    return holders


def _count(n: int, what: str) -> str:
    return f"{n} {what}" if n == 1 else f"{n} {what}s"
