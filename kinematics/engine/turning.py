"""Clearance while the table turns: best-first over boxes of angles, certified, all pairs at once.

1. Two table axes do not finish together, so the whole box of angles is covered, not a line in it.
2. Support planes against the extent of what turns (`turning_pieces.py`) give a bound that is exact to
   the second order in the width of a box.
3. For what two axes carry, the second axis is left whole until the first is narrow: over a full turn
   its extent is that of its solid of revolution.
4. Meshes that are not convex also get a first-order bound: the distance in the middle of the box, less
   how far any point can have moved from there; and where their hull hides how near they are, they are
   taken in halves of their surface.
5. All pairs share one upper bound; boxes that can't beat it are never opened. Of boxes with the same
   bound (a flat tool over a flat top has many) the one that came nearest is opened first.
6. A pair that could not be established is left aside and named in the result: it is not proven clear.
7. What this file does not know: machines, cuts, verdicts.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from kinematics.engine.fcl_engine import MeshTree, surface_distance
from kinematics.engine.pair import ROUNDING, as_mesh, has_inside
from kinematics.engine.turning_pieces import Box, StillPiece, TurningPiece, halved
from kinematics.errors import EngineError
from kinematics.meshes import Mesh
from kinematics.pose import Array, Pose
from kinematics.solids import Triangles

MAX_QUERIES = 20_000  # distance queries after which a swing counts as not settled
COARSE_DEG = 10.0  # the second axis is left whole down to this width of the first
SAME_BOUND = 1e-3  # mm; boxes whose bounds differ by less are opened in the order of how near they came


class Compared(Protocol):
    """What is told of the pair that a search found: its box, what was subtracted, names, and its place in the order."""

    @property
    def box(self) -> Box: ...
    @property
    def subtract(self) -> float: ...
    @property
    def names(self) -> tuple[str, str]: ...
    @property
    def order(self) -> tuple[int, int]: ...


@dataclass(frozen=True, slots=True, eq=False)
class TurnPair:
    """One still piece against one turning piece over a box, with what is subtracted from its clearance.

    `whole` is the pair that this one is a part of: some of the surface of a mesh.
    """

    still: StillPiece
    turning: TurningPiece
    box: Box
    subtract: float
    names: tuple[str, str]
    order: tuple[int, int]
    whole: TurnPair | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Witness:
    """An attained clearance: where, at which angles, between which points. Contact: value at most 0."""

    pair: Compared
    angles_deg: tuple[float, ...]
    value: float
    p_still: Array
    p_turning: Array
    contact: str | None = None
    is_proven: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class TurnResult:
    """`at_least` <= least (clearance - subtract) over all pairs and boxes <= `at_most`.

    `unknown` says of pairs that are not in it why: they could not be established.
    """

    at_least: float
    at_most: float
    witness: Witness | None
    n_queries: int
    is_settled: bool
    unknown: tuple[str, ...] = ()


@dataclass(order=True, slots=True)
class _Item:
    """A box of a pair that is still open. Sorted by the bound, in steps, then by how near it came."""

    step: float
    near: float
    tie: int
    bound: float = field(compare=False)
    pair: TurnPair = field(compare=False)
    box: Box = field(compare=False)
    is_crude: bool = field(compare=False)  # bounded by a drum only
    is_coarse: bool = field(compare=False)
    hint: Array | None = field(compare=False)


class _Search:
    """The open boxes of all pairs, the least bound first; pairs that nobody has opened yet wait with a crude bound."""

    def __init__(self, pairs: Sequence[TurnPair], crude: Sequence[float]) -> None:
        self._counter = itertools.count()
        self._pairs = pairs
        self._waiting = sorted(zip(crude, range(len(pairs)), strict=True), reverse=True)
        self._heap: list[_Item] = []

    def next(self) -> _Item:
        """The item of least bound, by steps; there must be one."""
        while self._waiting and (not self._heap or _step(self._waiting[-1][0]) <= self._heap[0].step):
            bound, k = self._waiting.pop()
            self.add(bound, self._pairs[k], self._pairs[k].box, is_crude=True)
        return heapq.heappop(self._heap)

    def add(
        self,
        bound: float,
        pair: TurnPair,
        box: Box,
        *,
        near: float = -math.inf,
        is_crude: bool = False,
        is_coarse: bool = False,
        hint: Array | None = None,
    ) -> None:
        tie = next(self._counter)
        heapq.heappush(self._heap, _Item(_step(bound), near, tie, bound, pair, box, is_crude, is_coarse, hint))

    def is_enough(self, closed: float, at_most: float, is_enough: Callable[[float, float], bool]) -> bool:
        """Whether the bounds of what is open and closed are enough; their exact least is looked for only near that."""
        known = min(closed, at_most)
        step = self.least_step()
        if is_enough(min(step, known), at_most):
            return True
        may_be = is_enough(min(step + SAME_BOUND, known), at_most)
        return may_be and is_enough(min(self.at_least(), known), at_most)

    def least_step(self) -> float:
        """No bound is less; infinite where nothing is open."""
        return min(self._heap[0].step if self._heap else math.inf, self._least_waiting())

    def at_least(self) -> float:
        return min(min((item.bound for item in self._heap), default=math.inf), self._least_waiting())

    def _least_waiting(self) -> float:
        return self._waiting[-1][0] if self._waiting else math.inf


def _step(bound: float) -> float:
    return math.floor(bound / SAME_BOUND) * SAME_BOUND if math.isfinite(bound) else bound


def crude_bounds(pairs: Sequence[TurnPair]) -> list[float]:
    """A lower bound over every angle of what each pair has left, by the drum that the turning piece sweeps."""
    return [
        pair.still.from_drum(pair.turning.axes[0], pair.turning.drum) - _chord_error(pair) - ROUNDING - pair.subtract
        for pair in pairs
    ]


def least_over_turn(
    pairs: Sequence[TurnPair],
    is_enough: Callable[[float, float], bool],
    *,
    known: float = math.inf,
    max_queries: int | None = None,
    crude: Sequence[float] | None = None,
) -> TurnResult:
    """Search all pairs over their boxes until `is_enough(at_least, at_most)`.

    A proven contact ends the search at once. `known`: a value that others attain, so that more than this need not be
    told: then there is no witness, and `at_most` is infinite. `max_queries`: MAX_QUERIES unless given. `crude`: the
    `crude_bounds` of the pairs, where they are at hand.
    """
    allowed = MAX_QUERIES if max_queries is None else max_queries
    at_most, witness, n_queries = math.inf, None, 0
    closed = math.inf  # the least bound of what needs no further opening
    unknown: dict[str, None] = {}
    search = _Search(pairs, crude_bounds(pairs) if crude is None else crude)

    def result(*, is_settled: bool) -> TurnResult:
        at_least = min(search.at_least(), closed, at_most)
        return TurnResult(at_least, at_most, witness, n_queries, is_settled, tuple(unknown))

    while search.least_step() < min(at_most, known):
        if search.is_enough(closed, at_most, is_enough):
            return result(is_settled=True)
        if n_queries >= allowed:
            return result(is_settled=False)
        item = search.next()
        if item.bound >= min(at_most, known):
            closed = min(closed, item.bound)
            continue
        if item.is_crude:
            pair = item.pair
            bound = _separation(pair.turning.lows_in_directions(item.box), pair.still.ready_supports, pair)
            search.add(max(bound, item.bound), pair, item.box, is_coarse=len(item.box) == 2)
            continue
        if item.is_coarse:
            _open_coarse(item, search)
            continue
        n_queries += 1
        try:
            found, bound, hint = at_middle(item.pair, item.box)
        except EngineError as error:
            unknown[error.message] = None
            continue
        if found.value - item.pair.subtract < at_most or found.is_proven:
            at_most, witness = found.value - item.pair.subtract, replace(found, pair=item.pair.whole or item.pair)
            if found.is_proven:
                closed = min(closed, item.bound)  # how deep it goes is bounded by that
                return result(is_settled=True)
        _split(item, found, bound, hint, search)
    closed = min(closed, search.at_least())
    is_beyond = math.isfinite(known) and closed >= known
    return result(is_settled=is_beyond or is_enough(min(closed, at_most), at_most))


def _separation(lows: Array, supports: Array, pair: TurnPair) -> float:
    return float((lows - supports).max()) - _chord_error(pair) - ROUNDING - pair.subtract


def _chord_error(pair: TurnPair) -> float:
    return pair.turning.piece.chord_error + pair.still.chord_error


def is_narrow(box: Box) -> bool:
    """Whether the first axis is narrow enough for the second to be opened."""
    return box[0][1] - box[0][0] <= COARSE_DEG


def _open_coarse(item: _Item, search: _Search) -> None:
    """Two halves of the first axis; once narrow, it is opened by distances."""
    if is_narrow(item.box):
        search.add(item.bound, item.pair, item.box)
        return
    for box in halved(item.box, 0):
        lows = item.pair.turning.lows_in_directions(box)
        bound = max(item.bound, _separation(lows, item.pair.still.ready_supports, item.pair))
        search.add(bound, item.pair, box, is_coarse=True)


def at_middle(pair: TurnPair, box: Box) -> tuple[Witness, float, Array | None]:
    """The distance in the middle of a box: attained there, a bound over the box, a direction to try.

    Raises EngineError where it can't be established.
    """
    turning, still = pair.turning, pair.still
    angles = tuple((lo + hi) / 2 for lo, hi in box)
    X = turning.pose(angles)
    answer = surface_distance(still.tree, turning.outer_at(X))
    if answer.distance <= 0.0:
        return _contact(pair, angles, X), -math.inf, None
    hint = (answer.p_b - answer.p_a) / answer.distance
    if not (turning.is_part or still.is_part or _is_apart(pair, X, hint)):
        turning_mesh = turning.piece.mesh or as_mesh(turning.piece.outer)
        still_mesh = still.mesh or as_mesh(still.outer)
        if _is_swallowed(X, turning_mesh, turning.component_points(), still_mesh, still.corners):
            if still.is_loose:
                raise EngineError(_in_its_hull(pair))
            return Witness(pair, angles, 0.0, answer.p_a, answer.p_b, "inside", True), -math.inf, None
    p_turning = X.points(turning.piece.on_solid(X.inverse().points(answer.p_b)[None, :]))[0]
    p_still = still.attained(p_turning, answer.p_a)
    value = float(np.linalg.norm(p_turning - p_still))
    bound = answer.distance - turning.moved(box) - _chord_error(pair) - ROUNDING - pair.subtract
    return Witness(pair, angles, value, p_still, p_turning), bound, hint


def _contact(pair: TurnPair, angles: tuple[float, ...], X: Pose) -> Witness:
    """Contact of the covering solids: proven if the solids inside the true ones touch as well."""
    turning, still = pair.turning, pair.still
    posed = turning.inner_at(X)
    apart = [(surface_distance(MeshTree(inner).at_origin(), posed), inner) for inner in still.inner]
    nearest, inner = min(apart, key=lambda found: found[0].distance)
    if nearest.distance > 0.0:
        turning_mesh = turning.piece.mesh or as_mesh(turning.piece.inner)
        turning_corners = turning.component_points() if turning.piece.mesh else turning.piece.inner.vertices[:1]
        still_corners = still.corners if still.mesh else inner.vertices[:1]
        if not _is_swallowed(X, turning_mesh, turning_corners, still.mesh or as_mesh(inner), still_corners):
            if still.is_loose:
                raise EngineError(_in_its_hull(pair))
            return Witness(pair, angles, nearest.distance, nearest.p_a, nearest.p_b)
    middle = _common_point(still.outer, X.points(turning.hull_G))
    return Witness(pair, angles, 0.0, middle, middle, "overlap", True)


def _in_its_hull(pair: TurnPair) -> str:
    still, turning = pair.names
    return f"{still} is a mesh that moves in a straight line, taken as its hull, and {turning} comes into that hull"


def _is_apart(pair: TurnPair, X: Pose, hint: Array) -> bool:
    """Whether the plane square to the nearest points parts the two solids: then none is inside the other."""
    low = float((pair.turning.hull_G @ (X.R_AB.T @ hint)).min() + hint @ X.p_AB)
    return low - float(pair.still.supports(hint[None, :])[0]) > 0.0


def _is_swallowed(X: Pose, turning: Mesh, turning_corners: Array, still: Mesh, still_corners: Array) -> bool:
    """Whether one of two surfaces that do not cross lies inside the other, by a point of each of their parts."""
    return has_inside(turning, X.inverse().points(still_corners)) or has_inside(still, X.points(turning_corners))


def _common_point(still: Triangles, turning: Array) -> Array:
    low = np.maximum(still.vertices.min(axis=0), turning.min(axis=0))
    high = np.minimum(still.vertices.max(axis=0), turning.max(axis=0))
    return np.asarray((low + high) / 2)


def split(pair: TurnPair, box: Box, found: Witness, hint: Array | None) -> list[tuple[TurnPair, Box]]:
    """A pair over a box as two: by halves of the box, or of a mesh whose hull hides how near it is.

    `found` is what `at_middle` found. It also told that none of the two lies inside the other there, and
    that can't change over the box while their surfaces do not touch: halves of a surface are enough.
    """
    turning, still, whole = pair.turning, pair.still, pair.whole or pair
    if hint is not None and not found.is_proven:
        hidden = max(turning.off_chord(box), SAME_BOUND)
        X = turning.pose(found.angles_deg)
        low = float((turning.hull_G @ (X.R_AB.T @ hint)).min() + hint @ X.p_AB)
        if turning.piece.mesh and float(hint @ found.p_turning) - low > hidden and turning.halves():
            return [(replace(pair, turning=half, whole=whole), box) for half in turning.halves()]
        if still.mesh and float(still.supports(hint[None, :])[0] - hint @ found.p_still) > hidden and still.halves():
            return [(replace(pair, still=half, whole=whole), box) for half in still.halves()]
    return [(pair, half) for half in turning.half_boxes(box)]


def _split(item: _Item, found: Witness, bound: float, hint: Array | None, search: _Search) -> None:
    near = found.value - item.pair.subtract
    parts = split(item.pair, item.box, found, hint)
    is_whole = all(pair is item.pair for pair, _ in parts)
    hint = item.hint if hint is None else hint
    for pair, box in parts:
        own = _separation(pair.turning.lows_in_directions(box), pair.still.ready_supports, pair)
        for along in () if hint is None else turned_too(hint, pair.turning, item.box, box):
            own = max(own, _separation(pair.turning.lows(box, along), pair.still.supports(along), pair))
        search.add(max(item.bound, bound, own), pair, box, near=near if is_whole else own, hint=hint)


def turned_too(hint: Array, turning: TurningPiece, box: Box, half: Box) -> Iterator[Array]:
    """A direction (1, 3) that parts two solids in the middle of a box, and the same turned on to that of a half.

    The one is good where the nearest place is a face of what stands, the other where it is one of what turns.
    """
    yield hint[None, :]
    if half != box:
        before, after = (turning.pose([(lo + hi) / 2 for lo, hi in b]).R_AB for b in (box, half))
        yield (after @ (before.T @ hint))[None, :]
