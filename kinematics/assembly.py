"""The tool in its holder as a stack of frusta about the spindle axis, heights from the tip up.

1. `outer` is never smaller than the tool as described, `inner` never larger; they differ only along
   arcs, by at most `tool_kinds.ARC_GAP`.
2. Every slice is convex and filled to the axis. Flat ends and steps need no slice of their own.
3. The shank is taken at full width right above the flutes unless a neck is given, and both end where
   the holder begins.
4. Part names from the tip up: cutter, neck, shank, the holder's steps, spindle nose.
5. What this file does not know: obstacles, cuts, clearances.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from kinematics.machine import SpindleStep
from kinematics.scene import Tool
from kinematics.tool_faults import SPINDLE_NOSE, tool_faults
from kinematics.tool_kinds import CUTTER, KINDS, NECK, ROUNDING, SHANK, Point, cutter_top, flute_length, given

HOLDER = "holder"


@dataclass(frozen=True, slots=True)
class Slice:
    """A frustum about the spindle axis: radius r1 at height z1, r2 at z2 above it, filled to the axis."""

    part: str
    r1: float
    r2: float
    z1: float
    z2: float

    def __post_init__(self) -> None:
        assert self.z2 > self.z1, "a slice has a height"
        assert min(self.r1, self.r2) >= 0.0 < max(self.r1, self.r2), "a slice has a radius"


@dataclass(frozen=True, slots=True)
class ToolAssembly:
    """A tool in its holder under the spindle nose. Lengths in mm, heights from the tip up.

    Parameters
    ----------
    outer : slices that cover the tool from outside.
    inner : slices that lie inside it, of the same parts.
    gauge_length : from the tip to the gauge line.
    stick_out : from the tip to the lower end of the holder.
    cutter_radius : largest radius of the cutter (of the ball, for a probe).
    flute : cutting length from the tip; None where there is no depth rule (a probe).
    depth_limit : the greatest depth that the depth rule allows: `flute`, or, where what is above the
        flutes is thinner than the cutter, the height at which it no longer is. None for a probe.
    parts : names of the parts, from the tip up.
    cannot_lift : it undercuts, so it cannot lift straight out of what it cuts.
    is_probe : it touches and does not cut; its "cutter" is the ball.
    """

    outer: tuple[Slice, ...]
    inner: tuple[Slice, ...]
    gauge_length: float
    stick_out: float
    cutter_radius: float
    flute: float | None
    depth_limit: float | None
    parts: tuple[str, ...]
    cannot_lift: bool
    is_probe: bool

    def slices_of(self, part: str) -> tuple[tuple[Slice, ...], tuple[Slice, ...]]:
        """Outer and inner slices of one part."""
        return tuple(s for s in self.outer if s.part == part), tuple(s for s in self.inner if s.part == part)

    def radius_of(self, part: str) -> float:
        """The largest outer radius of one part."""
        return max(max(s.r1, s.r2) for s in self.outer if s.part == part)


def tool_assembly(tool: Tool, spindle_nose: tuple[SpindleStep, ...] = ()) -> ToolAssembly:
    """The assembly of one tool in its holder under the spindle nose.

    Raises
    ------
    ToolError : the first of `tool_faults`, with the origin of the tool (or of its holder) and the key.
    """
    faults = tool_faults(tool)
    if faults:
        raise faults[0]
    kind = KINDS[tool.kind]
    outer, inner = _tool_slices(tool)
    above = tuple(_holder_slices(tool, spindle_nose))
    outer, inner = (*outer, *above), (*inner, *above)
    cutter_radius = max(max(s.r1, s.r2) for s in inner if s.part == CUTTER)
    flute = None if kind.is_probe else flute_length(tool)
    return ToolAssembly(
        outer=outer,
        inner=inner,
        gauge_length=tool.stick_out + sum(step.length for step in tool.holder.steps),
        stick_out=tool.stick_out,
        cutter_radius=cutter_radius,
        flute=flute,
        depth_limit=None if flute is None else _depth_limit(outer, flute, cutter_radius),
        parts=tuple(dict.fromkeys(s.part for s in outer)),
        cannot_lift=kind.cannot_lift,
        is_probe=kind.is_probe,
    )


def _slices(part: str, points: Sequence[Point]) -> Iterator[Slice]:
    """Slices between the points; runs on one line are one slice, level runs are none."""
    kept: list[Point] = []
    for point in points:
        while len(kept) >= 2 and _on_one_line(kept[-2], kept[-1], point):
            kept.pop()
        kept.append(point)
    for (r1, z1), (r2, z2) in pairwise(kept):
        if z2 - z1 > ROUNDING:
            yield Slice(part, r1, r2, z1, z2)


def _on_one_line(a: Point, b: Point, c: Point) -> bool:
    (u, v), (x, y) = (b[0] - a[0], b[1] - a[1]), (c[0] - a[0], c[1] - a[1])
    return abs(u * y - v * x) <= ROUNDING * math.hypot(x, y) and v * y >= 0.0


def _tool_slices(tool: Tool) -> tuple[tuple[Slice, ...], tuple[Slice, ...]]:
    """Outer and inner slices of cutter, neck and shank up to the stick-out."""
    if tool.outline:
        steps = tuple(_stacked(((s.part, s.d1, s.d2, s.length) for s in tool.outline), 0.0, tool.stick_out))
        return steps, steps
    outer, inner = KINDS[tool.kind].shape(tool)
    z = cutter_top(tool)
    stem: list[tuple[str, float, float, float]] = []
    if tool.neck is not None:
        stem.append((NECK, tool.neck[0], tool.neck[0], max(tool.neck[1] - z, 0.0)))
    stem.append((SHANK, given(tool.shank), given(tool.shank), math.inf))
    above = tuple(_stacked(stem, z, tool.stick_out))
    return (*_slices(CUTTER, outer), *above), (*_slices(CUTTER, inner), *above)


def _stacked(steps: Iterable[tuple[str, float, float, float]], z: float, top: float) -> Iterator[Slice]:
    """Slices of (part, d1, d2, length) stacked from z, cut off at `top`."""
    for part, d1, d2, length in steps:
        z2 = min(z + length, top)
        if z2 - z > ROUNDING:
            at_top = d2 if z2 == z + length else d1 + (d2 - d1) * (z2 - z) / length
            yield Slice(part, d1 / 2.0, at_top / 2.0, z, z2)
        z += length


def _holder_slices(tool: Tool, spindle_nose: tuple[SpindleStep, ...]) -> Iterator[Slice]:
    holder = [(step.name or HOLDER, step.d1, step.d2, step.length) for step in tool.holder.steps]
    nose = [(SPINDLE_NOSE, step.d1, step.d2, step.length) for step in spindle_nose]
    return _stacked((*holder, *nose), tool.stick_out, math.inf)


def _depth_limit(outer: tuple[Slice, ...], flute: float, cutter_radius: float) -> float:
    """The lowest height above the flutes at which the assembly is as wide as the cutter."""
    for s in outer:
        if s.part == CUTTER:
            continue
        if s.r1 >= cutter_radius - ROUNDING:
            return max(flute, s.z1)
        if s.r2 >= cutter_radius - ROUNDING:
            return max(flute, s.z1 + (s.z2 - s.z1) * (cutter_radius - s.r1) / (s.r2 - s.r1))
    return outer[-1].z2
