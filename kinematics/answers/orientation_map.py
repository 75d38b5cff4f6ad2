"""The map of a cut: what it leaves at every position of the table, the tip kept and the tool re-aimed.

1. A cell is one position: both angles exactly. What is told of it is what a check of the re-aimed cut would tell:
   the verdict of pairs, depth and travel, and the spare of the worst pair, except where that is clear; there it is
   proven that every pair has its keep-off, and how much more is not asked.
2. All cells at once, body by body (`map_bodies.py`), on all cores; what that can't do is checked cell by cell.
3. Rows are the first table axis, columns the second; a machine with one axis has one row.
4. What this file does not know: files, pictures, words for people, links and swings.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from enum import Enum
from functools import cached_property
from os import cpu_count

import numpy as np
from numpy.typing import NDArray

from kinematics.answers.map_bodies import MapBodies, Sheet
from kinematics.answers.map_frames import MapGrid
from kinematics.answers.re_aimed import re_aimed, with_orientation
from kinematics.answers.worst_room import CutRoom, cut_room
from kinematics.errors import TightsideError
from kinematics.machine import Machine, TableAxis
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.pose import Array, angle_difference_deg
from kinematics.prepared import Prepared
from kinematics.verdict import Verdict

ROWS_AT_ONCE = 8  # that one thread works on
MOST_CELLS = 1_000_000
WHOLE_TURN = 360.0
OF_SEVERITY = {v.severity: v for v in Verdict}


class Known(Enum):
    """What is known of the spare of a cell's worst pair."""

    AT_LEAST = "at least"  # every pair has its keep-off, proven
    VALUE = "value"
    CONTACT = "contact"  # proven
    TOUCH = "touch"  # contact that is not proven: it can hit
    NOTHING = "nothing"  # not checked


class NoMap(TightsideError):
    """There is nothing to map: no table axis, a step that gives no cell or too many."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One position of the table.

    `spare` is of the pair `between`: its value, or, of a clear cell, the keep-off that all pairs have; None on contact
    and where nothing is known. `why`: what else is wrong (depth, travel, not checked).
    """

    angles_deg: tuple[tuple[str, float], ...]
    verdict: Verdict
    known: Known
    spare: float | None
    between: tuple[str, str] | None
    is_too_deep: bool
    is_out_of_travel: bool
    why: str | None


@dataclass(frozen=True, eq=False)
class OrientationMap:
    """What a cut leaves over all positions of the table. Arrays are (n_rows, n_columns) and can't be written to.

    Parameters
    ----------
    row_axis, column_axis : names; the row axis is None where the machine has one table axis.
    keep_offs : of what cuts, and of all else.
    severity : of the whole verdict. `pair_severity`: of the pairs alone.
    spare : of the worst pair, mm; NaN where it is not asked or not known.
    known : index into `Known`. `pair`: index into `pairs`, -1 where none is told.
    whys : of cells that were not checked, and `why` of all of them.
    """

    orientation: str
    cut: str
    tool: str
    holder: str
    now: tuple[tuple[str, float], ...]
    keep_offs: tuple[float, float]
    row_axis: str | None
    column_axis: str
    rows_deg: Array
    columns_deg: Array
    severity: NDArray[np.int64]
    pair_severity: NDArray[np.int64]
    spare: Array
    known: NDArray[np.int64]
    pair: NDArray[np.int64]
    pairs: tuple[tuple[str, str], ...]
    too_deep: NDArray[np.bool_]
    out_of_travel: NDArray[np.bool_]
    whys: tuple[tuple[tuple[int, int], str], ...]
    why: str | None

    @cached_property
    def _why_of(self) -> dict[tuple[int, int], str]:
        return dict(self.whys)

    @property
    def keep_off(self) -> float:
        """The keep-off that every pair has at least."""
        return min(self.keep_offs)

    @property
    def shape(self) -> tuple[int, int]:
        return len(self.rows_deg), len(self.columns_deg)

    def cell(self, i: int, j: int) -> Cell:
        """The cell of row i and column j."""
        known = list(Known)[self.known[i, j]]
        spare = float(self.spare[i, j])
        rows = () if self.row_axis is None else ((self.row_axis, float(self.rows_deg[i])),)
        return Cell(
            angles_deg=(*rows, (self.column_axis, float(self.columns_deg[j]))),
            verdict=OF_SEVERITY[int(self.severity[i, j])],
            known=known,
            spare=self.keep_off if known is Known.AT_LEAST else spare if math.isfinite(spare) else None,
            between=self.pairs[self.pair[i, j]] if self.pair[i, j] >= 0 else None,
            is_too_deep=bool(self.too_deep[i, j]),
            is_out_of_travel=bool(self.out_of_travel[i, j]),
            why=self._why_of.get((i, j), self.why),
        )


def map_grid(machine: Machine, step_deg: float, now_deg: Mapping[str, float]) -> MapGrid:
    """All positions of the table at multiples of a step that are within its limits. Raises NoMap.

    An endless axis is told from -180 where it stands nearer to 0 than to 180 now, else from 0: that leaves it whole.
    """
    axes = machine.table_axes
    if not axes:
        raise NoMap("this machine has no table axis to turn: there is nothing to map")
    if len(axes) > 2:
        raise NoMap(f"this machine has {len(axes)} table axes; a map has two")
    columns = _angles(axes[-1], step_deg, now_deg)
    rows = _angles(axes[0], step_deg, now_deg) if len(axes) == 2 else np.zeros(1)
    n_cells = len(rows) * len(columns)
    if n_cells == 0:
        raise NoMap(f"a step of {step_deg:g} degrees leaves no position within the limits; expected a smaller one")
    if n_cells > MOST_CELLS:
        raise NoMap(f"a step of {step_deg:g} degrees makes {n_cells} positions; expected at most {MOST_CELLS}")
    return MapGrid(axes[0] if len(axes) == 2 else None, axes[-1], rows, columns)


def _angles(axis: TableAxis, step_deg: float, now_deg: Mapping[str, float]) -> Array:
    if axis.limits is None:
        is_near_0 = abs(angle_difference_deg(now_deg.get(axis.name, 0.0), 0.0)) <= WHOLE_TURN / 4
        first = math.ceil(-WHOLE_TURN / 2 / step_deg - 1e-9) if is_near_0 else 0
        last = first + math.ceil(WHOLE_TURN / step_deg - 1e-9)
        return np.arange(first, last, dtype=np.float64) * step_deg + 0.0
    first, last = math.ceil(axis.limits[0] / step_deg - 1e-9), math.floor(axis.limits[1] / step_deg + 1e-9)
    return np.arange(first, last + 1, dtype=np.float64) * step_deg + 0.0


def orientation_map(placed: PlacedCut, grid: MapGrid) -> Iterator[int | OrientationMap]:
    """How many rows are done, again and again, and in the end the map.

    Raises FeatureError, ToolError of a cut that can't be laid out.
    """
    sheet = Sheet.blank(grid)
    bodies = MapBodies.of(placed, grid)
    if bodies is None:
        sheet.unsure[:] = 1
    else:
        sheet.names |= bodies.names
        yield from _filled(bodies, sheet)
    yield from _checked_one_by_one(placed, sheet, is_all=bodies is None)
    yield _finished(placed, sheet)


def _filled(bodies: MapBodies, sheet: Sheet) -> Iterator[int]:
    """All cells, in bands of rows on all cores."""
    n_rows = len(sheet.grid.rows_deg)
    bands = [(a, min(a + ROWS_AT_ONCE, n_rows)) for a in range(0, n_rows, ROWS_AT_ONCE)]
    pool = ThreadPoolExecutor(max_workers=max(1, cpu_count() or 1))
    try:
        waiting: list[Future[None]] = [pool.submit(bodies.fill, sheet, a, b) for a, b in bands]
        for future, (_, end) in zip(waiting, bands, strict=True):
            future.result()
            yield end
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _checked_one_by_one(placed: PlacedCut, sheet: Sheet, *, is_all: bool) -> Iterator[int]:
    """The cells that are still unsure, each checked by itself."""
    todo = np.argwhere(sheet.unsure != 0)
    prepared, row = placed.prepared, -1
    for i, j in todo.tolist():
        if i != row:
            prepared, row = Prepared(placed.prepared.scene, placed.prepared), i  # what a row makes goes with it
            if is_all:
                yield i
        sheet.take(i, j, _room_at(placed, prepared, sheet.grid.angles(i, j)))


def _room_at(placed: PlacedCut, prepared: Prepared, angles_deg: dict[str, float]) -> CutRoom:
    name = (placed.orientation.name, placed.cut.name)
    try:
        if prepared.scene.lift.kind == "retract":  # how high it lifts depends on the cuts beside it
            aimed = re_aimed(prepared.scene, prepared.placed, placed.orientation, angles_deg)
            there = Prepared(with_orientation(prepared.scene, aimed), prepared)
            return cut_room(next(p for p in placed_cuts(there) if (p.orientation.name, p.cut.name) == name))
        alone = replace(placed.orientation, cuts=(placed.cut,))
        aimed = re_aimed(prepared.scene, prepared.placed, alone, angles_deg)
        return cut_room(replace(placed, prepared=prepared, orientation=aimed, cut=aimed.cuts[0]))
    except TightsideError as error:
        return CutRoom(*name, None, None, None, error.message)


def _finished(placed: PlacedCut, sheet: Sheet) -> OrientationMap:
    severity = sheet.severity.copy()
    severity[sheet.too_deep != 0] = np.maximum(severity[sheet.too_deep != 0], Verdict.CAN_HIT.severity)
    why = None
    if placed.premature:
        before = ", ".join("/".join(c) for c in placed.premature)
        why = f"the state {placed.state.name} exists only after {before}, made later"
        severity = np.maximum(severity, Verdict.NOT_CHECKED.severity)
    for i, j in sheet.whys:
        severity[i, j] = max(severity[i, j], Verdict.NOT_CHECKED.severity)
    sheet.spare[~np.isfinite(sheet.spare)] = np.nan
    severity[sheet.out_of_travel] = Verdict.HITS.severity
    pairs: dict[tuple[str, str], int] = {}
    pair = np.full(severity.shape, -1, dtype=np.int64)
    for code in np.unique(sheet.who).tolist():
        if code >= 0:
            pair[sheet.who == code] = pairs.setdefault(sheet.names[code], len(pairs))
    keep_off = placed.prepared.scene.keep_off
    arrays = (severity, sheet.severity, sheet.spare, _known(sheet), pair, sheet.too_deep != 0, sheet.out_of_travel)
    for array in arrays:
        array.flags.writeable = False
    severity, pair_severity, spare, known, pair, too_deep, out_of_travel = arrays
    return OrientationMap(
        orientation=placed.orientation.name,
        cut=placed.cut.name,
        tool=placed.tool.id,
        holder=placed.tool.holder.name,
        now=placed.orientation.angles_deg,
        keep_offs=(keep_off.cutter, keep_off.holder),
        row_axis=None if sheet.grid.row_axis is None else sheet.grid.row_axis.name,
        column_axis=sheet.grid.column_axis.name,
        rows_deg=sheet.grid.rows_deg,
        columns_deg=sheet.grid.columns_deg,
        severity=severity,
        pair_severity=pair_severity,
        spare=spare,
        known=known,
        pair=pair,
        pairs=tuple(pairs),
        too_deep=too_deep,
        out_of_travel=out_of_travel,
        whys=tuple(sheet.whys.items()),
        why=why,
    )


def _known(sheet: Sheet) -> NDArray[np.int64]:
    order = {known: k for k, known in enumerate(Known)}
    found = np.full(sheet.severity.shape, order[Known.AT_LEAST], dtype=np.int64)
    found[sheet.severity > 0] = order[Known.VALUE]
    found[np.isneginf(sheet.over)] = order[Known.TOUCH]
    found[np.isneginf(sheet.over) & (sheet.severity == Verdict.HITS.severity)] = order[Known.CONTACT]
    for i, j in sheet.whys:
        if not sheet.severity[i, j]:
            found[i, j] = order[Known.NOTHING]
    return found
