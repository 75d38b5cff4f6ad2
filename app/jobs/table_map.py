"""The map of a cut over all positions of the table: made with progress, as rows of values, as a summary.

1. The tip is kept and the tool re-aimed. A cell holds for its angles exactly, not for what lies between cells.
2. A clear cell says that every pair has its keep-off; how much more is not worked out.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from dataclasses import dataclass

from app.jobs.report import Json, nearest
from app.jobs.stickout import cut_called
from kinematics.answers.orientation_map import Cell, OrientationMap, map_grid, orientation_map
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.verdict import Verdict

_TAKEN_DOWN = 2e-6  # mm; twice the rounding that is subtracted before a bound is called proven


@dataclass(frozen=True, slots=True)
class Rows:
    """How far a map is."""

    done: int
    of: int


def cut_map(prepared: Prepared, name: str, step_deg: float) -> Iterator[Rows | OrientationMap]:
    """How far it is, and in the end the map of the cut called ORIENTATION/CUT, every so many degrees.

    Raises NameFault where no cut is called so, NoMap where there is nothing to map, FeatureError, ToolError.
    """
    wanted = cut_called(prepared.scene, name)
    placed = _placed(prepared, wanted)
    grid = map_grid(prepared.scene.machine, step_deg, placed.angles)
    for said in orientation_map(placed, grid):
        yield Rows(said, len(grid.rows_deg)) if isinstance(said, int) else said


def _placed(prepared: Prepared, name: tuple[str, str]) -> PlacedCut:
    return next(p for p in placed_cuts(prepared) if (p.orientation.name, p.cut.name) == name)


def counts(found: OrientationMap) -> dict[Verdict, int]:
    """How many cells have which verdict, the worst first."""
    worst_first = sorted(Verdict, key=lambda v: -v.severity)
    return {v: int((found.severity == v.severity).sum()) for v in worst_first}


def cell_now(found: OrientationMap) -> Cell:
    """The cell nearest to where the orientation stands."""
    now = dict(found.now)

    def off(angle: float, at: float) -> float:
        return abs(math.remainder(angle - at, 360.0))

    row = now.get(found.row_axis, 0.0) if found.row_axis is not None else 0.0
    column = now.get(found.column_axis, 0.0)
    i = min(range(len(found.rows_deg)), key=lambda i: off(row, float(found.rows_deg[i])))
    j = min(range(len(found.columns_deg)), key=lambda j: off(column, float(found.columns_deg[j])))
    return found.cell(i, j)


def map_csv(found: OrientationMap) -> str:
    """All cells as comma-separated values: degrees as the table turns, mm; spares rounded down."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    axes = [*([] if found.row_axis is None else [found.row_axis]), found.column_axis]
    writer.writerow([*axes, "verdict", "known", "spare", "part", "body", "why"])
    n_rows, n_columns = found.shape
    for i in range(n_rows):
        for j in range(n_columns):
            cell = found.cell(i, j)
            angles = [f"{angle:g}" for _, angle in cell.angles_deg]
            spare = "" if cell.spare is None else f"{_down(cell.spare):.4f}"
            writer.writerow([*angles, cell.verdict, cell.known.value, spare, *(cell.between or ("", "")), why(cell)])
    return text.getvalue()


def _down(value: float) -> float:
    return math.floor((value + _TAKEN_DOWN) * 1e4) / 1e4


def why(cell: Cell) -> str:
    """What is wrong with a cell besides its pairs."""
    said = []
    if cell.is_out_of_travel:
        said.append("out of travel")
    if cell.is_too_deep:
        said.append("flute too short")
    if cell.why is not None:
        said.append(cell.why)
    return "; ".join(said)


def map_json(found: OrientationMap) -> Json:
    """The map as the JSON object of `tightside map --json`: what it is of, how many cells are what, and all cells."""
    return {
        "orientation": found.orientation,
        "cut": found.cut,
        "tool": found.tool,
        "holder": found.holder,
        "now": {name: nearest(angle) for name, angle in found.now},
        "keep_off": nearest(found.keep_off),
        "rows": None if found.row_axis is None else _axis_json(found.row_axis, found.rows_deg.tolist()),
        "columns": _axis_json(found.column_axis, found.columns_deg.tolist()),
        "counts": {str(v): n for v, n in counts(found).items()},
        "cells": [_cell_json(found.cell(i, j)) for i in range(found.shape[0]) for j in range(found.shape[1])],
    }


def _axis_json(name: str, angles: list[float]) -> Json:
    return {"axis": name, "angles": [nearest(a) for a in angles]}


def _cell_json(cell: Cell) -> Json:
    return {
        "angles": {name: nearest(angle) for name, angle in cell.angles_deg},
        "verdict": str(cell.verdict),
        "known": cell.known.value,
        "spare": None if cell.spare is None else nearest(_down(cell.spare)),
        "between": None if cell.between is None else list(cell.between),
        "why": why(cell) or None,
    }
