"""Tool kinds: what each needs and may have, and the profile of what it cuts with.

1. `KINDS` is the one table of tool kinds.
2. A profile is a run of points (r, z) from the tip up, once from outside and once from inside; the
   two differ only along arcs, by at most `ARC_GAP`.
3. What cannot be known is taken from outside: a step drill at its full diameter, a tap and a reamer
   as cylinders.
4. What this file does not know: holders, slices, obstacles.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from kinematics.errors import ToolError
from kinematics.pose import cos_sin_deg
from kinematics.scene import Tool

CUTTER = "cutter"
NECK = "neck"
SHANK = "shank"

ARC_GAP = 0.002  # mm, the most that outer and inner may differ along an arc
TYPED = 0.01  # mm, how far a length typed with two decimals may fall short of a computed one
ROUNDING = 1e-9  # mm, below this a length is rounding
GRIP_PER_SHANK = 2.0  # least gripped length over shank diameter (common practice, no source)

Point = tuple[float, float]  # (r, z)
Profile = tuple[list[Point], list[Point]]  # outer and inner, from the tip up


@dataclass(frozen=True, slots=True)
class Kind:
    """One row of the table of tool kinds. `shape` gives the profile of what cuts, from the tip up."""

    needs: tuple[str, ...]
    may: tuple[str, ...]
    shape: Callable[[Tool], Profile]
    cannot_lift: bool = False
    is_probe: bool = False


def cutter_top(tool: Tool) -> float:
    """Where what cuts ends, from the tip."""
    if tool.outline:
        return sum(step.length for step in tool.outline if step.part == CUTTER)
    return KINDS[tool.kind].shape(tool)[0][-1][1]


def flute_length(tool: Tool) -> float:
    """The cutting length; that of a lollipop is its ball unless told otherwise."""
    return cutter_top(tool) if tool.flute is None else tool.flute


def is_ball_on_stem(tool: Tool) -> bool:
    """Whether the tool is a whole ball on a thinner stem."""
    return KINDS[tool.kind].shape is _ball_on_stem


def shank_begins(tool: Tool) -> float:
    """Where the full shank begins, from the tip."""
    if tool.outline:
        return sum(step.length for step in tool.outline if step.part != SHANK)
    return max(cutter_top(tool), tool.neck[1] if tool.neck is not None else 0.0)


def shank_d(tool: Tool) -> float:
    return tool.outline[-1].d2 if tool.outline else given(tool.shank)


def least_grip(tool: Tool) -> float:
    """The least length of shank that its holder must grip, mm."""
    return tool.holder.grip if tool.holder.grip is not None else GRIP_PER_SHANK * shank_d(tool)


def gripped_length(tool: Tool) -> float | None:
    """The length of full shank inside the holder, mm; None where the overall length is not known."""
    if tool.overall is None:
        return None
    return tool.overall - max(tool.stick_out, shank_begins(tool))


def largest_stick_out(tool: Tool) -> float | None:
    """The largest stick-out that still leaves the least grip, mm; None where the overall length is not known."""
    return None if tool.overall is None else tool.overall - least_grip(tool)


def least_stick_out(tool: Tool) -> float:
    """The smallest stick-out: what cuts stays out of the holder (common practice, no source)."""
    return cutter_top(tool)


def fault(tool: Tool, key: str | tuple[str, ...], message: str) -> ToolError:
    return ToolError(message, origin=tool.origin, key=(key,) if isinstance(key, str) else key)


def given(value: float | None) -> float:
    assert value is not None, "the table of kinds says that this number is needed"
    return value


def _arc(r: float, z: float, radius: float, start_deg: float, end_deg: float) -> Profile:
    """Tangents and chords of an arc about (r, z). Angles count from straight down, outwards and up.

    The tangents touch at both ends and evenly between; the chords meet on the arc where two
    tangents cross. So with a half step h the tangents' corners stand off the chords' corners by
    radius (1 / cos h - 1), and nowhere are the two farther apart.
    """
    half_deg = math.degrees(math.acos(radius / (radius + ARC_GAP)))
    span_deg = end_deg - start_deg
    n = max(math.ceil(span_deg / (2.0 * half_deg)), math.ceil(span_deg / 90.0), 1)
    half_deg = span_deg / n / 2.0
    corner = radius / cos_sin_deg(half_deg)[0]
    outer, inner = [], []
    for i in range(n):
        c, s = cos_sin_deg(start_deg + (2 * i + 1) * half_deg)
        outer.append((r + corner * s, z - corner * c))
        inner.append((r + radius * s, z - radius * c))
    (c0, s0), (c1, s1) = cos_sin_deg(start_deg), cos_sin_deg(end_deg)
    first, last = (r + radius * s0, z - radius * c0), (r + radius * s1, z - radius * c1)
    if start_deg == 0.0:  # the first tangent is flat: keep it exactly level
        outer[0] = (outer[0][0], first[1])
    return [first, *outer, last], [first, *inner, last]


def _both(points: list[Point]) -> Profile:
    return points, list(points)


def _followed_by(profile: Profile, *points: Point) -> Profile:
    outer, inner = profile
    return [*outer, *points], [*inner, *points]


def _flat_end(tool: Tool) -> Profile:
    """A flat end, its corner round if `corner_radius` says so, its flank leaning out by `taper_deg`.

    The diameter is that of the tip plane, where the line of the flank meets it (with a corner radius
    this is the larger of two usual readings): the taper grows from there.
    """
    radius, flute, corner = given(tool.d) / 2.0, given(tool.flute), tool.corner_radius or 0.0
    c, s = cos_sin_deg(tool.taper_deg or 0.0)
    top = (radius + flute * s / c, flute)
    if corner == 0.0:
        return _both([(radius, 0.0), top])
    if corner * (1.0 - s) > flute + TYPED:
        raise fault(tool, "flute", f"flute of {flute:g} mm ends within the corner radius of {corner:g} mm")
    centre = max(radius - corner * (1.0 - s) / c, 0.0)
    return _with_flank(_arc(centre, corner, corner, 0.0, 90.0 - (tool.taper_deg or 0.0)), top)


def _ball_end(tool: Tool) -> Profile:
    """A ball of diameter d, then a flank that touches it and leans out by `taper_deg`."""
    radius, flute = given(tool.d) / 2.0, given(tool.flute)
    c, s = cos_sin_deg(tool.taper_deg or 0.0)
    touch = (radius * c, radius * (1.0 - s))
    if touch[1] > flute + TYPED:
        raise fault(
            tool,
            "flute",
            f"flute of {flute:g} mm ends within the ball; expected at least {touch[1]:.4g} mm",
        )
    top = (touch[0] + (flute - touch[1]) * s / c, flute)
    return _with_flank(_arc(0.0, radius, radius, 0.0, 90.0 - (tool.taper_deg or 0.0)), top)


def _with_flank(arc: Profile, top: Point) -> Profile:
    """The arc, then its last tangent up to `top`, unless the flute ends where the arc does."""
    return _followed_by(arc, top) if top[1] > arc[0][-1][1] + ROUNDING else arc


def _pointed(tool: Tool) -> Profile:
    """A point of included angle `point_deg` from `tip_d` to d, then a cylinder up to the flute."""
    radius, tip, flute = given(tool.d) / 2.0, (tool.tip_d or 0.0) / 2.0, given(tool.flute)
    c, s = cos_sin_deg(_half_point_deg(tool))
    length = (radius - tip) * c / s
    if length > flute + TYPED:
        raise fault(
            tool,
            "flute",
            f"flute of {flute:g} mm is shorter than the point; expected at least {length:.4g} mm",
        )
    return _both([(tip, 0.0), (radius, length), (radius, max(flute, length))])


def _half_point_deg(tool: Tool) -> float:
    return tool.point_deg / 2.0 if tool.point_deg is not None else given(tool.taper_deg)


def _dovetail(tool: Tool) -> Profile:
    """The wide end d at the tip, narrowing upwards; the flank is counted from the flat."""
    radius, flute = given(tool.d) / 2.0, given(tool.flute)
    c, s = cos_sin_deg(given(tool.flank_deg))
    run = flute * c / s
    if run >= radius:
        raise fault(
            tool,
            "flank_deg",
            f"flank of {tool.flank_deg:g} degrees runs in by {run:.4g} mm over the flute of {flute:g} mm; "
            f"expected less than the radius of {radius:g} mm",
        )
    return _both([(radius, 0.0), (radius - run, flute)])


def _ball_on_stem(tool: Tool) -> Profile:
    """A whole ball of diameter d at the tip, up to where the neck (or shank) leaves it."""
    radius = given(tool.d) / 2.0
    stem, name = (tool.neck[0], NECK) if tool.neck is not None else (given(tool.shank), SHANK)
    if stem >= 2.0 * radius:
        key = ("neck", "d") if name == NECK else ("shank",)
        raise fault(
            tool, key, f"{name} of {stem:g} mm is not thinner than the ball of {2 * radius:g} mm that it carries"
        )
    end_deg = 180.0 - math.degrees(math.asin(stem / 2.0 / radius))
    lower, upper = _arc(0.0, radius, radius, 0.0, 90.0), _arc(0.0, radius, radius, 90.0, end_deg)
    return lower[0] + upper[0][1:], lower[1] + upper[1][1:]


_MILL = ("d", "flute", "shank")
_POINT = (*_MILL, "point_deg")
KINDS: dict[str, Kind] = {
    "end mill": Kind(_MILL, ("neck", "corner_radius", "taper_deg"), _flat_end),
    "ball mill": Kind(_MILL, ("neck", "taper_deg"), _ball_end),
    "bull mill": Kind((*_MILL, "corner_radius"), ("neck", "taper_deg"), _flat_end),
    "drill": Kind(_POINT, ("neck", "tip_d"), _pointed),
    "step drill": Kind(_POINT, ("neck", "tip_d"), _pointed),
    "spot drill": Kind(_POINT, ("neck", "tip_d"), _pointed),
    "reamer": Kind(_MILL, ("neck",), _flat_end),
    "tap": Kind(_MILL, ("neck",), _flat_end),
    "dovetail cutter": Kind((*_MILL, "flank_deg"), ("neck",), _dovetail, cannot_lift=True),
    "slot cutter": Kind(_MILL, ("neck",), _flat_end, cannot_lift=True),
    "chamfer mill": Kind(_POINT, ("neck", "tip_d"), _pointed),
    "face mill": Kind(_MILL, ("neck", "corner_radius"), _flat_end),
    "lollipop": Kind(("d", "shank"), ("neck", "flute"), _ball_on_stem, cannot_lift=True),
    "engraver": Kind((*_MILL, "tip_d"), ("neck", "point_deg", "taper_deg"), _pointed),
    "probe": Kind(("d", "shank"), ("neck",), _ball_on_stem, is_probe=True),
}
SHAPE_KEYS = (
    "d",
    "flute",
    "shank",
    "neck",
    "corner_radius",
    "point_deg",
    "tip_d",
    "taper_deg",
    "flank_deg",
)
MAY_BE_ZERO = ("corner_radius", "tip_d", "taper_deg")
ANGLES = {"point_deg": 180.0, "taper_deg": 90.0, "flank_deg": 90.0}
