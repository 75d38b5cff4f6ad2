"""What `tightside map` prints: how many positions of the table are what, and what the cut leaves where it stands."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.text import Text

from app.cli.output import CAUTIONS, MARKS, new_table, print_blocks, print_json
from app.jobs.table_map import cell_now, counts, map_json, why
from app.jobs.words import CANNOT_REACH, angles_text, spare_text
from kinematics.verdict import Verdict

if TYPE_CHECKING:
    from app.scenes.reader import SceneFile
    from kinematics.answers.orientation_map import Cell, OrientationMap


def print_map_json(found: OrientationMap) -> None:
    """The whole map for programs."""
    print_json(map_json(found))


def print_map(scene_file: SceneFile, found: OrientationMap, written: Sequence[Path]) -> None:
    """The map for people: the picture and the values are in their files."""
    scene = scene_file.scene
    blocks: list[RenderableType] = [Text(f"{scene.title}; {scene.machine.title}; mm and degrees"), Text()]
    head = Text.assemble((f"{found.orientation} {found.cut}, {found.tool} in {found.holder}", "bold"))
    n_rows, n_columns = found.shape
    head.append(f", {n_rows * n_columns} positions of the table")
    blocks.append(head)
    table = new_table("verdict", "positions", "share", numbers=("positions", "share"))
    table.columns[0].no_wrap = True
    n_out = int(found.out_of_travel.sum())
    for verdict, count in counts(found).items():
        n = count - n_out if verdict is Verdict.HITS else count
        table.add_row(f"{MARKS[verdict]} {verdict}", str(n), f"{100.0 * n / found.severity.size:.1f} %")
        if verdict is Verdict.HITS:
            share = f"{100.0 * n_out / found.severity.size:.1f} %"
            table.add_row(f"{MARKS[verdict]} {CANNOT_REACH}", str(n_out), share)
    blocks += [table, Text(f"Nearest to now: {_cell(cell_now(found), found.keep_off)}")]
    blocks += [Text(f"Written: {file}") for file in written]
    legend = (
        "Part, fixture and the place of the tip are kept, the tool is re-aimed. A position holds for its angles "
        "exactly, and for the cut alone: swings are not in it. A clear one has its keep-off, proven."
    )
    print_blocks([*blocks, Text(), Text(legend), Text(), Text(CAUTIONS)])


def _cell(cell: Cell, keep_off: float) -> str:
    said = f"{angles_text(cell.angles_deg)}: {cell.verdict}"
    if cell.between is None and cell.spare is not None:
        said += f", spare at least {spare_text(cell.spare, keep_off)}"
    elif cell.between is not None:
        spare = "" if cell.spare is None else f", spare {spare_text(cell.spare, keep_off)}"
        said += f"{spare} ({', '.join(cell.between)})"
    return "; ".join(part for part in (said, why(cell)) if part)
