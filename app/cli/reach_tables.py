"""What `tightside reach` prints: for each cut its positions of the table, then how far an axis may turn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.text import Text

from app.cli.output import CAUTIONS, MARKS, new_table, print_blocks, print_json
from app.jobs.reach import reaches_json
from app.jobs.words import CANNOT_REACH, angles_text, number, spare_text
from kinematics.answers.angle_reach import AngleReach, Stop, Within
from kinematics.verdict import Verdict

if TYPE_CHECKING:
    from app.jobs.reach import CutReach
    from app.scenes.reader import SceneFile
    from kinematics.answers.table_solutions import AimedAt

_LEGEND = (
    "Part, fixture and the place of the tip are kept, the tool is re-aimed. Proven for every angle from the lowest to "
    "the highest, for the cut alone: turn the scene and check it for the swings."
)
_STOPS = {"depth": "flute too short", "travel": "travel", "axis limit": "limit of the axis", "all round": "all round"}


def print_head(scene_file: SceneFile) -> None:
    scene = scene_file.scene
    print_blocks([Text(f"{scene.title}; {scene.machine.title}; mm and degrees"), Text()])


def print_result(reach: CutReach) -> None:
    """The answers of one cut."""
    head = Text.assemble((f"{reach.orientation} {reach.cut}, {reach.tool} in {reach.holder}", "bold"))
    head.append(f", now {angles_text(reach.now) or 'on a table without axes'}")
    print_blocks([head, *_positions(reach), *_angle(reach.angle), Text()])


def print_tail(results: Sequence[CutReach], *, is_json: bool) -> None:
    """What stands under the tables; in JSON, all."""
    if is_json:
        print_json(reaches_json(results))
        return
    print_blocks([Text(_LEGEND), Text(), Text(CAUTIONS)])


def _positions(reach: CutReach) -> Iterator[RenderableType]:
    if not reach.positions:
        yield Text("  no position of the table aims the tool so")
        return
    axes = [name for name, _ in reach.positions[0].angles_deg]
    table = new_table("  position", *axes, "verdict", "spare", "between", numbers=(*axes, "spare"))
    for position in reach.positions:
        table.add_row(*_cells(position))
    yield table
    for position in reach.positions:
        if (why := _remark(position)) is not None:
            yield Text(f"  {angles_text(position.angles_deg)}: {why}")


def _cells(position: AimedAt) -> Iterator[str]:
    room = position.room
    yield "  now" if position.is_now else "  same aim"
    for name, angle in position.angles_deg:
        yield "any" if name in position.free and not position.is_now else number(angle)
    reaches = position.verdict is not Verdict.HITS or (room.pair is not None and room.pair.verdict is Verdict.HITS)
    yield f"{MARKS[position.verdict]} {position.verdict if reaches else CANNOT_REACH}"
    spare = None if room.pair is None else room.pair.spare
    yield "?" if room.pair is None or spare is None else spare_text(spare, room.pair.keep_off)
    yield "" if room.pair is None else ", ".join(room.pair.between)


def _remark(position: AimedAt) -> str | None:
    room = position.room
    said = []
    if position.free:
        said.append(f"{' and '.join(position.free)} may stand anywhere and aim the same")
    if room.travel is not None and room.travel.why is not None:
        said.append(room.travel.why)
    if room.depth is not None and room.depth.verdict is not Verdict.CLEAR:
        said.append(f"flute too short, {number(room.depth.needs)} needed, {number(room.depth.has)} there")
    if room.why is not None:
        said.append(room.why)
    return "; ".join(said) or None


def _angle(angle: AngleReach | None) -> Iterator[RenderableType]:
    if angle is None:
        return
    table = new_table(
        f"  {angle.axis}", "lowest", "highest", "stops below", "stops above", numbers=("lowest", "highest")
    )
    for name, within in (
        ("clear", angle.clear),
        ("cannot hit", angle.cannot_hit),
        ("does not hit", angle.not_hits),
    ):
        table.add_row(f"  {name}", *_ends(within))
    yield table


def _ends(within: Within | None) -> tuple[str, str, str, str]:
    if within is None:
        return "nowhere", "", "", ""
    return number(within.lowest), number(within.highest), _stop(within.stops_low), _stop(within.stops_high)


def _stop(stop: Stop) -> str:
    if stop.between is not None:
        return ", ".join(stop.between)
    return _STOPS.get(stop.kind) or stop.why or stop.kind
