"""All cells of a map at once, body by body: what is posed how, how far it can move from cell to cell, who meets whom.

1. The tip is kept in the part. So in the frame of the part a hole, a slot or a path stays as it is; an area or a
   contour turns with the tool about its middle. Both are rigid: the move of every cell is one move, posed.
2. Seen from the tool, a body that the same axes carry turns about the tip, and one that they do not carry moves as the
   tip does. So far a cell can be from what was found at another.
3. What this way can't do is left to be checked cell by cell: lifts that depend on other cuts, cuts that leave along
   their path, parts that meet only what the cutter leaves where that matters.
4. What this file does not know: verdicts of whole cuts beyond pairs, depth and travel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import partial
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from kinematics.answers.map_frames import MapFrames, MapGrid, MapMove, rates_of
from kinematics.answers.worst_room import CutRoom
from kinematics.cut_pairs import Group, Moves, Target, measured
from kinematics.depth_rule import SLACK, cutter_outline
from kinematics.engine.chains import Chains
from kinematics.engine.exact_pair import BodyTree, body_tree, move_sets
from kinematics.engine.orientation_cells import fill_cells, fill_too_deep
from kinematics.engine.pair import ROUNDING, Clear, Contact
from kinematics.engine.round_clearance import farthest_from_line
from kinematics.engine.sweep import PolyPiece
from kinematics.errors import EngineError
from kinematics.placed_cut import PlacedCut
from kinematics.pose import Array
from kinematics.prepared import BEHIND_TOOL, Part
from kinematics.scene import Hole
from kinematics.setup_error import other_errors
from kinematics.solids import Piece
from kinematics.verdict import Verdict

Ints = NDArray[np.int64]
INNER_CODE = 500  # `who` of what lies inside the tool is by so much more
HEAD_CODE = 1_000_000  # `who` of pairs of the head's bodies begins here
CREDIT = 5.0  # mm more than is wanted that a pair of the head's bodies is asked for, so that its neighbours need not be
HITS, CAN_HIT, TIGHT = Verdict.HITS.severity, Verdict.CAN_HIT.severity, Verdict.TIGHT.severity


@dataclass(slots=True, eq=False)
class Sheet:
    """The cells of a map as they are filled in; arrays are (n_rows, n_columns).

    `severity`, `spare`, `over`, `who` are of the worst pair; `names` says who a code is. `whys`: of cells that could
    not be checked.
    """

    grid: MapGrid
    severity: Ints
    spare: Array
    over: Array
    who: Ints
    unsure: Ints
    too_deep: Ints
    out_of_travel: NDArray[np.bool_]
    names: dict[int, tuple[str, str]] = field(default_factory=dict)
    whys: dict[tuple[int, int], str] = field(default_factory=dict)

    @staticmethod
    def blank(grid: MapGrid) -> Sheet:
        """A sheet on which nothing comes near."""
        shape = (len(grid.rows_deg), len(grid.columns_deg))
        none = [np.zeros(shape, dtype=np.int64) for _ in range(3)]
        return Sheet(
            grid, none[0], np.full(shape, np.nan), np.full(shape, np.inf), np.full(shape, -1), none[1], none[2],
            np.zeros(shape, dtype=np.bool_),
        )  # fmt: skip

    def copy(self) -> Sheet:
        """Another sheet on which the same pairs come near."""
        pairs = (self.severity.copy(), self.spare.copy(), self.over.copy(), self.who.copy(), self.unsure.copy())
        return Sheet(self.grid, *pairs, self.too_deep, self.out_of_travel)

    def take(self, i: int, j: int, room: CutRoom) -> None:
        """A cell as it was checked by itself."""
        self.severity[i, j], self.spare[i, j], self.over[i, j], self.who[i, j] = 0, np.nan, np.inf, -1
        pair = room.pair
        if pair is not None and pair.verdict is not Verdict.CLEAR:
            is_contact = pair.verdict is Verdict.HITS or pair.spare is None
            self.severity[i, j] = pair.verdict.severity
            self.spare[i, j] = np.nan if is_contact or pair.spare is None else pair.spare
            self.over[i, j] = -np.inf if is_contact or pair.spare is None else pair.spare - pair.keep_off
            self.who[i, j] = self._code(pair.between)
        self.too_deep[i, j] = room.depth is not None and room.depth.verdict is not Verdict.CLEAR
        self.out_of_travel[i, j] = room.travel is not None and room.travel.verdict is not Verdict.CLEAR
        if room.why is not None:
            self.whys[i, j] = room.why

    def _code(self, between: tuple[str, str]) -> int:
        code = next((c for c, names in self.names.items() if names == between), None)
        if code is None:
            code = max(self.names, default=-1) + 1
            self.names[code] = between
        return code


@dataclass(frozen=True, slots=True, eq=False)
class _Run:
    """Parts that touch each other, one after the other, against one body."""

    target: Target
    move: MapMove
    parts: tuple[Part, ...]
    keep_off: float
    profile: Array
    ranges: Ints
    inner_profile: Array
    inner_ranges: Ints
    top: float
    inner_tree: BodyTree
    errors: Array
    rates: Array
    code: int


@dataclass(frozen=True, slots=True, eq=False)
class _Head:
    """A body of the head, or of the bed that moves, against a body; `down`: the stick-out may be longer so much."""

    part: Part
    target: Target
    move: MapMove
    down: float
    code: int


class MapBodies:
    """All bodies of a cut, ready to be compared with its tool at every cell of a grid."""

    def __init__(self, placed: PlacedCut, grid: MapGrid, move: MapMove) -> None:
        self.placed, self.grid, self.move = placed, grid, move
        self.pairs = placed.pairs
        self.machine = placed.prepared.scene.machine
        self.frames: MapFrames = move.frames
        self.names: dict[int, tuple[str, str]] = {}
        self._inner: dict[int, BodyTree] = {}
        self._errors: dict[int, Array] = {}
        sure: list[_Run] = []
        loose: list[_Run] = []
        heads: list[_Head] = []
        from_bed, of_bed = move.seen_from_bed(), move.of_bed()
        for group in self.pairs.groups:
            seen = move if group.moves is self.pairs.moves else from_bed
            if group.parts[0].order >= BEHIND_TOOL:
                seen = of_bed
            for j, target in enumerate(group.targets):
                whole = self.pairs.targets[target.order]
                compared = [k for k in range(len(group.parts)) if group.is_compared[k, j]]
                runs = sure if target is whole else loose
                runs += self._runs(group, seen, compared, whole, len(sure) + len(loose))
                heads += [
                    _Head(group.parts[k], target, seen, group.moves.down, HEAD_CODE + len(heads) + n)
                    for n, k in enumerate(k for k in compared if group.parts[k].round is None)
                ]
        self.sure, self.loose, self.heads = tuple(sure), tuple(loose), tuple(heads)
        self.names |= {head.code: (head.part.name, head.target.name) for head in heads}

    @staticmethod
    def of(placed: PlacedCut, grid: MapGrid) -> MapBodies | None:
        """The bodies, or None where the cells have to be checked one by one."""
        if placed.prepared.scene.lift.kind == "retract":
            return None
        if placed.cut.leave_to is not None and not isinstance(placed.cut.feature, Hole):
            return None
        move = MapMove.of(placed, grid)
        return None if move is None else MapBodies(placed, grid, move)

    # ---- who meets whom --------------------------------------------------------------------------

    def _runs(self, group: Group, move: MapMove, compared: list[int], target: Target, n_before: int) -> list[_Run]:
        """Round parts against a body in runs without a gap, each of one keep-off."""
        found: list[_Run] = []
        round_ones = [k for k in compared if group.parts[k].round is not None]

        def key(item: tuple[int, int]) -> tuple[int, float]:
            n, k = item
            return k - n, self.pairs.keep_off_of(group.parts[k])

        for (_, keep_off), items in groupby(enumerate(round_ones), key):
            parts = tuple(group.parts[k] for _, k in items)
            found.append(self._run(parts, target, move, keep_off, n_before + len(found)))
        return found

    def _run(self, parts: tuple[Part, ...], target: Target, move: MapMove, keep_off: float, code: int) -> _Run:
        outer = _joined([p.round.outer for p in parts if p.round is not None])
        inner = _joined([p.round.inner for p in parts if p.round is not None])
        for first, chains in ((0, "outer"), (INNER_CODE, "inner")):
            owners = [p.name for p in parts for _ in range(len(getattr(p.round, chains).ranges))]
            assert len(owners) <= INNER_CODE, "a tool has fewer stretches than that"
            self.names |= {1000 * code + first + n: (name, target.name) for n, name in enumerate(owners)}
        return _Run(
            target, move, parts, keep_off, *outer, *inner, float(outer[0][:, 1].max()), self._inner_of(target),
            self._errors_of(target), rates_of(move, target), code,
        )  # fmt: skip

    def _inner_of(self, target: Target) -> BodyTree:
        """The tree over triangles that lie inside a body."""
        if all(p.inner is p.outer for p in target.pieces):
            return target.tree
        if id(target.tree) not in self._inner:
            inside = [Piece(p.inner, p.inner, p.is_convex, p.mesh, p.on_solid) for p in target.pieces]
            self._inner[id(target.tree)] = body_tree(inside)
        return self._inner[id(target.tree)]

    def _errors_of(self, target: Target) -> Array:
        """The errors of a body that act any way, at every column: the second axis changes the arm of the tilt."""
        if target.order not in self._errors:
            n = len(self.grid.columns_deg)
            errors, body = self.placed.prepared.scene.setup_errors, target.body
            if self.frames.level_of(body.carrier) < 2 or errors.arm is not None:
                self._errors[target.order] = np.full(n, target.errors.total)
            else:
                first = self.machine.table_axes[0]
                found = np.zeros(n)
                for j in range(n):
                    X_GW = (self.frames.pose(body.carrier, 0, j) @ body.X_CG).inverse()
                    line = X_GW.points(np.asarray(first.origin)), X_GW.direction(first.axis)
                    arm = partial(farthest_from_line, target.tree.tree, *line)
                    found[j] = other_errors(errors, body, self.machine, arm).total
                self._errors[target.order] = found
        return self._errors[target.order]

    # ---- cells -----------------------------------------------------------------------------------

    def fill(self, sheet: Sheet, row0: int, row1: int) -> None:
        """Fill in some rows; those of other threads are left alone."""
        self.move.mark_travel(sheet.out_of_travel, row0, row1)
        for run in self.sure:
            self._fill(sheet, run, row0, row1)
        for run in self.loose:  # compared with too much of the workpiece: it may look worse than it is
            trial = sheet.copy()
            self._fill(trial, run, row0, row1)
            rows = slice(row0, row1)
            sheet.unsure[rows][(trial.who[rows] != sheet.who[rows]) | (trial.unsure[rows] != 0)] = 1
        boxes = {seen: move.box(row0, row1) for seen, move in {h.move.seen: h.move for h in self.heads}.items()}
        for head in self.heads:
            self._fill_head(sheet, head, self._box_gaps(boxes[head.move.seen], head, row0, row1), row0)
        self._fill_depth(sheet, row0, row1)
        singular = self.move.is_singular[row0:row1]
        sheet.unsure[row0:row1][singular] = 1

    def _fill(self, sheet: Sheet, run: _Run, row0: int, row1: int) -> None:
        target, move = run.target, run.move
        outer, inner = target.tree.tree, run.inner_tree.tree
        R_WC, p_WC = self.frames.of(target.body.carrier)
        taken = target.tree.chord_error + ROUNDING
        fill_cells(
            sheet.severity, sheet.spare, sheet.over, sheet.who, sheet.unsure,
            row0, row1, self.grid.rows_rad, self.grid.columns_rad,
            R_WC, p_WC, move.R_WA, move.p_WA,
            move.sets.points, move.sets.starts, move.lifting, move.sets.ball, move.sets.first,
            move.sure.points, move.sure.starts, move.sure_lifting, move.sure.ball, move.sure.first,
            move.retract, move.lift_to, move.gauge, self.pairs.down,
            run.profile, run.ranges, run.inner_profile, run.inner_ranges, run.top,
            outer.vertices, outer.faces, outer.boxes, outer.first, outer.count,
            inner.vertices, inner.faces, inner.boxes, inner.first, inner.count,
            target.body.X_CG.R_AB, target.body.X_CG.p_AB, taken, run.errors, run.keep_off,
            run.rates, move.spin, run.code,
        )  # fmt: skip

    def _fill_depth(self, sheet: Sheet, row0: int, row1: int) -> None:
        assembly = self.placed.assembly
        if assembly.flute is None or assembly.depth_limit is None:
            return
        ring, move = cutter_outline(assembly.cutter_radius), self.move
        for target in self.pairs.targets:
            if target.is_own_workpiece:
                tree, X_CG = target.tree.tree, target.body.X_CG
                fill_too_deep(
                    sheet.too_deep, sheet.severity, row0, row1, *self.frames.of(target.body.carrier),
                    move.R_WA, move.p_WA, move.feature_points, move.feature_ends, ring, assembly.depth_limit + SLACK,
                    tree.vertices, tree.faces, tree.boxes, tree.first, tree.count, X_CG.R_AB, X_CG.p_AB,
                )  # fmt: skip

    # ---- bodies of the head ------------------------------------------------------------------------

    def _fill_head(self, sheet: Sheet, head: _Head, gaps: Array, row0: int) -> None:
        """A body of the head, by polyhedra: where boxes alone do not keep it off, and its neighbours do not either."""
        part, target = head.part, head.target
        keep_off, errors = self.pairs.keep_off_of(part), self._errors_of(target)
        wanted = errors + keep_off + ROUNDING + target.tree.chord_error
        near = gaps < wanted
        if not near.any():
            return
        is_bound = head.move.spin == 0.0 and head.move.seen != "of the bed"
        by_column = float(rates_of(head.move, target)[1::2].sum()) if is_bound else math.inf
        columns = self.grid.columns_rad
        for i, row in enumerate(near, start=row0):
            known, at = -math.inf, 0.0
            for j in np.flatnonzero(row).tolist():
                if sheet.severity[i, j] == HITS or known - by_column * abs(columns[j] - at) >= wanted[j]:
                    continue
                known, at = self._measure_head(sheet, head, i, j), float(columns[j])

    def _measure_head(self, sheet: Sheet, head: _Head, i: int, j: int) -> float:
        """Compare at one cell; what is proven of the clearance."""
        keep_off, errors = self.pairs.keep_off_of(head.part), float(self._errors_of(head.target)[j])
        moves = Moves(move_sets(head.move.sets_at(i, j)), head.down)
        there = self.frames.target_at(head.target, i, j)
        far = errors + keep_off + CREDIT
        try:
            found = measured(head.part, there, moves, far)
        except EngineError:
            sheet.unsure[i, j] = 1
            return -math.inf
        if found is None:
            return far
        if isinstance(found.swept, Clear):
            left = found.swept.at_least - errors
            severity = CAN_HIT if left <= 0.0 else TIGHT if left < keep_off else 0
            rank = (severity, keep_off - left)
            if severity and rank > (sheet.severity[i, j], -sheet.over[i, j]):
                sheet.severity[i, j], sheet.spare[i, j] = severity, left
                sheet.over[i, j], sheet.who[i, j] = left - keep_off, head.code
            return found.swept.at_least
        is_hit = isinstance(found.exact, Contact) and found.exact.is_proven
        sheet.severity[i, j], sheet.spare[i, j] = HITS if is_hit else CAN_HIT, -math.inf
        sheet.over[i, j], sheet.who[i, j] = -math.inf, head.code
        return -math.inf

    def _box_gaps(self, box: tuple[Array, Array], head: _Head, row0: int, row1: int) -> Array:
        """Crude lower bounds of the clearance over some rows, by upright boxes; `box` is around the positions."""
        corners = np.concatenate([p.outer.vertices for p, _ in head.part.outer if isinstance(p, PolyPiece)])
        low, high = box
        low, high = low + corners.min(axis=0) - (0.0, 0.0, head.down), high + corners.max(axis=0)
        centre, half = self.frames.box_of(head.target, row0, row1)
        gap = np.maximum(np.maximum(low - centre - half, centre - half - high), 0.0)
        return np.asarray(np.sqrt((gap * gap).sum(axis=-1)))


def _joined(chains: list[Chains]) -> tuple[Array, Ints]:
    """Profiles of several parts as one, with the ranges of all chains."""
    profiles, ranges, n = [], [], 0
    for one in chains:
        profiles.append(one.profile)
        ranges.append(one.ranges + n)
        n += len(one.profile)
    return np.concatenate(profiles), np.concatenate(ranges)
