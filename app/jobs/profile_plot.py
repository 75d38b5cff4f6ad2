"""Side-on: the tool of a cut in profile against what it sees from its axis, then what its stick-out lacks.

First the picture, then the same with the least stick-out that is clear, which takes longer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from app.jobs.plots import OutlineStep, Seen, SideOn
from kinematics.answers.seen_from_axis import Nearest, seen_all_round, seen_towards
from kinematics.answers.stick_out import CutStickOuts
from kinematics.errors import TightsideError
from kinematics.placed_cut import PlacedCut
from kinematics.pose import Vector
from kinematics.report import CutReport
from kinematics.tool_kinds import CUTTER, NECK, SHANK
from kinematics.verdict import Verdict

Level = tuple[float, float]
BELOW, ABOVE = 10.0, 6.0  # mm, seen under the tip and over the gauge line
N_BINS = 400
ON_AXIS = 0.5  # mm; what is nearer to the axis has no direction


def side_on(placed: PlacedCut, report: CutReport | None) -> Iterator[SideOn]:
    """The plot of a cut; raises TightsideError where the cut can't be laid out.

    `report` : what a check says of it, for the gap and the tight direction.
    """
    assembly, pairs = placed.assembly, placed.pairs
    low, high = -BELOW, assembly.gauge_length + ABOVE
    step = (high - low) / N_BINS
    tip, direction, gap = _tight_place(report)
    around = seen_all_round(pairs, low, high, step)
    toward = () if tip is None else seen_towards(pairs, np.array(tip), direction, low, high, step)
    made = SideOn(
        title=f"{placed.orientation.name} {placed.cut.name}, {placed.tool.id} in {placed.tool.holder.name}",
        verdict=report.verdict if report else Verdict.NOT_CHECKED,
        outline=tuple(OutlineStep(s.part, s.r1, s.r2, s.z1, s.z2) for s in assembly.outer),
        toward=_seen(toward),
        around=_seen(around),
        clock_deg=None if direction is None else clock_deg(direction, placed.prepared.scene.machine.operator),
        gap=gap,
        depth=report.depth.needs if report and report.depth else None,
        flute=assembly.flute,
        gauge_line=assembly.gauge_length,
        rises=frozenset(assembly.parts) - {CUTTER, NECK, SHANK},
    )
    yield made
    yield _with_least(made, placed)


def _with_least(made: SideOn, placed: PlacedCut) -> SideOn:
    """By how much the stick-out has to grow until the cut is clear, or why that is of no use."""
    try:
        answer = CutStickOuts(placed).answer(placed.tool.holder)
    except TightsideError as error:
        return replace(made, note=error.message)
    if answer.least_clear is None:
        return replace(made, note="" if answer.why is None else f"no length clears: {answer.why}")
    by = answer.least_clear - placed.tool.stick_out
    return replace(made, longer_by=by if by > 0.0 else None)


def _tight_place(report: CutReport | None) -> tuple[Vector | None, Level | None, tuple[Level, Level] | None]:
    """The tip at the tightest place in W, the level direction of the gap, and its ends as (radius, height)."""
    pair = report.worst if report else None
    if pair is None or pair.tip_W is None or pair.points_W is None:
        return None, None, None
    tip = pair.tip_W

    def seen(point: Vector) -> Level:
        return math.hypot(point[0] - tip[0], point[1] - tip[1]), point[2] - tip[2]

    on_tool, on_body = pair.points_W
    dx, dy = on_body[0] - tip[0], on_body[1] - tip[1]
    reach = math.hypot(dx, dy)
    direction = (dx / reach, dy / reach) if reach > ON_AXIS else None
    return tip, direction, (seen(on_tool), seen(on_body))


def _seen(nearest: tuple[Nearest, ...]) -> tuple[Seen, ...]:
    return tuple(Seen(n.z1, n.z2, n.radius, n.body) for n in nearest)


def clock_deg(direction: Level, operator: Vector) -> float:
    """A level direction of W as the operator sees it from above: degrees clockwise from 12, which is away."""
    right = (-operator[1], operator[0])
    across = direction[0] * right[0] + direction[1] * right[1]
    away = -(direction[0] * operator[0] + direction[1] * operator[1])
    return math.degrees(math.atan2(across, away)) % 360.0
