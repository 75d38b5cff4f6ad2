"""Which positions of the table a cut can be made at, and how far past 90: one result per cut as it is known.

The ranges of an angle hold for the cut alone; swings and links to it are for a check of the changed scene.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.jobs.report import Json, nearest
from app.jobs.stickout import NameFault
from app.scenes.document import nearest as nearest_word
from kinematics.answers.angle_reach import AngleReach, Stop, Within, angle_reach
from kinematics.answers.ranges import Range
from kinematics.answers.table_solutions import AimedAt, aimed_at
from kinematics.errors import ShapeError
from kinematics.machine import TableAxis
from kinematics.pose import Vector, unit
from kinematics.prepared import Prepared
from kinematics.scene import Scene
from kinematics.verdict import Verdict, worst

CutName = tuple[str, str]


@dataclass(frozen=True, slots=True)
class CutReach:
    """What one cut can be made at. `angle` is None where the machine has no table axis."""

    orientation: str
    cut: str
    tool: str
    holder: str
    now: tuple[tuple[str, float], ...]
    positions: tuple[AimedAt, ...]
    angle: AngleReach | None

    @property
    def best(self) -> Verdict:
        """The best verdict of a position; hits where no position aims the tool so."""
        return min((p.verdict for p in self.positions), key=lambda v: v.severity, default=Verdict.HITS)


def table_axis(scene: Scene, name: str | None) -> TableAxis | None:
    """The table axis called so; the first one where none is named, None where there is none. Raises NameFault."""
    axes = scene.machine.table_axes
    if name is None:
        return axes[0] if axes else None
    for axis in axes:
        if axis.name == name:
            return axis
    near = nearest_word(name, [axis.name for axis in axes])
    known = ", ".join(axis.name for axis in axes) or "none"
    raise NameFault(f"no table axis '{name}' on this machine; {f'nearest: {near}' if near else f'it has: {known}'}")


def direction_called(text: str) -> Vector:
    """The direction written as "x, y, z". Raises NameFault."""
    words = text.replace(",", " ").split()
    try:
        numbers = [float(word) for word in words]
        if len(numbers) == 3:
            return unit(numbers)
    except (ValueError, ShapeError):
        pass
    raise NameFault(f"'{text}' is no direction; expected x, y and z in the part, as 0,1,0, not all of them 0")


def steps_of(scene: Scene, only: CutName | None = None) -> list[str]:
    """What the job does, step by step, in words for a progress line."""
    cuts = [f"{o.name} {c.name}" for o, c in scene.cuts() if only in (None, (o.name, c.name))]
    return [f"turning the table for {name}, {i} of {len(cuts)} cuts" for i, name in enumerate(cuts, 1)]


def reaches(
    prepared: Prepared, axis: TableAxis | None, only: CutName | None = None, direction_P: Vector | None = None
) -> Iterator[CutReach]:
    """One result per cut in machining order; with `only`, that cut.

    `direction_P` : to aim the tool along, from the tip up, in the part; None: as it stands there now.
    """
    scene = prepared.scene
    for orientation, cut in scene.cuts():
        if only not in (None, (orientation.name, cut.name)):
            continue
        tool = scene.tool(cut.tool)
        yield CutReach(
            orientation=orientation.name,
            cut=cut.name,
            tool=tool.id,
            holder=tool.holder.name,
            now=orientation.angles_deg,
            positions=aimed_at(prepared, orientation, cut, direction_P),
            angle=None if axis is None else angle_reach(prepared, orientation, cut, axis),
        )


def verdict_of(results: Sequence[CutReach]) -> Verdict:
    """The worst, over the cuts, of the best position of each."""
    return worst([r.best for r in results]) if results else Verdict.CLEAR


def reaches_json(results: Sequence[CutReach]) -> Json:
    """The answers as the JSON object of `tightside reach --json`."""
    return {"cuts": [_cut_json(r) for r in results]}


def _cut_json(reach: CutReach) -> Json:
    return {
        "orientation": reach.orientation,
        "cut": reach.cut,
        "tool": reach.tool,
        "holder": reach.holder,
        "now": {name: nearest(angle) for name, angle in reach.now},
        "positions": [_position_json(p) for p in reach.positions],
        "angle": None if reach.angle is None else _angle_json(reach.angle),
    }


def _position_json(position: AimedAt) -> Json:
    room = position.room
    return {
        "angles": {name: nearest(angle) for name, angle in position.angles_deg},
        "now": position.is_now,
        "free": list(position.free),
        "outside": list(position.outside),
        "verdict": str(position.verdict),
        "spare": None if room.pair is None else nearest(room.pair.spare),
        "keep_off": None if room.pair is None else nearest(room.pair.keep_off),
        "between": None if room.pair is None else list(room.pair.between),
        "depth": None if room.depth is None else str(room.depth.verdict),
        "travel": None if room.travel is None else str(room.travel.verdict),
        "least_left": None if room.travel is None else nearest(room.travel.least_left),
        "why": room.why or (None if room.travel is None else room.travel.why),
    }


def _angle_json(angle: AngleReach) -> Json:
    return {
        "axis": angle.axis,
        "now": nearest(angle.now),
        "limits": None if angle.limits is None else [nearest(v) for v in angle.limits],
        "clear": _within_json(angle.clear),
        "cannot_hit": _within_json(angle.cannot_hit),
        "not_hits": _within_json(angle.not_hits),
        "ranges": [_range_json(r) for r in angle.ranges],
    }


def _range_json(r: Range) -> Json:
    return {"from": nearest(r.start), "to": nearest(r.end), "verdict": str(r.verdict)}


def _within_json(within: Within | None) -> Json | None:
    if within is None:
        return None
    return {
        "lowest": nearest(within.lowest),
        "highest": nearest(within.highest),
        "stops_low": _stop_json(within.stops_low),
        "stops_high": _stop_json(within.stops_high),
    }


def _stop_json(stop: Stop) -> Json:
    return {"by": stop.kind, "between": None if stop.between is None else list(stop.between), "why": stop.why}
