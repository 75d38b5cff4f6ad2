"""What can be wrong with the numbers of a tool and its holder, each fault with its key.

Numbers are judged first, one by one; how they fit together only once each of them can be meant.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator

from kinematics.errors import ToolError
from kinematics.scene import Tool
from kinematics.tool_kinds import (
    ANGLES,
    CUTTER,
    KINDS,
    MAY_BE_ZERO,
    NECK,
    ROUNDING,
    SHANK,
    SHAPE_KEYS,
    TYPED,
    cutter_top,
    fault,
    given,
    gripped_length,
    is_ball_on_stem,
    largest_stick_out,
    least_grip,
    least_stick_out,
    shank_begins,
    shank_d,
)

TOOL_PARTS = (CUTTER, NECK, SHANK)
SPINDLE_NOSE = "spindle nose"
SIT_ON_HOLDER = ("face mill", "probe")  # kinds that no holder grips from outside


def tool_faults(tool: Tool) -> tuple[ToolError, ...]:
    """Everything that is wrong with the numbers of a tool and its holder; empty if nothing is.

    Numbers are judged first; how they fit together only once each of them can be meant.
    """
    if tool.kind not in KINDS:
        nearest = difflib.get_close_matches(tool.kind, KINDS, 1, cutoff=0.0)[0]
        return (ToolError(f"no kind {tool.kind!r}; nearest: {nearest}", origin=tool.origin, key=("kind",)),)
    numbers = (*(_outline_faults(tool) if tool.outline else _number_faults(tool)), *_holder_faults(tool))
    return numbers or tuple(_fit_faults(tool))


def _is_length(value: float) -> bool:
    return math.isfinite(value) and value > 0.0


def _a(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def _number_faults(tool: Tool) -> Iterator[ToolError]:
    """Numbers that are missing, not of this kind, or not possible on their own."""
    kind = KINDS[tool.kind]
    for key in kind.needs:
        if getattr(tool, key) is None:
            yield fault(tool, key, f"{_a(tool.kind)} needs {_listed(kind.needs)}; {key} is missing")
    if tool.kind == "engraver" and (tool.point_deg is None) == (tool.taper_deg is None):
        what = "both are given" if tool.point_deg is not None else "both are missing"
        yield fault(tool, "point_deg", f"an engraver needs either point_deg or taper_deg; {what}")
    for key in SHAPE_KEYS:
        value = getattr(tool, key)
        if value is None:
            continue
        if key not in kind.needs and key not in kind.may:
            has = _listed((*kind.needs, *kind.may))
            yield fault(tool, key, f"{_a(tool.kind)} has no {key}; it has {has}")
        elif key == "neck":
            yield from _length_fault(tool, ("neck", "d"), value[0])
            yield from _length_fault(tool, ("neck", "to"), value[1])
        elif key in ANGLES:
            yield from _angle_fault(tool, key, value)
        elif not (key in MAY_BE_ZERO and value == 0.0):
            yield from _length_fault(tool, (key,), value)
    yield from _common_faults(tool)


def _common_faults(tool: Tool) -> Iterator[ToolError]:
    yield from _length_fault(tool, ("stick_out",), tool.stick_out)
    if tool.overall is not None:
        yield from _length_fault(tool, ("overall",), tool.overall)


def _listed(words: tuple[str, ...]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _length_fault(tool: Tool, key: tuple[str, ...], value: float) -> Iterator[ToolError]:
    if not _is_length(value):
        yield fault(tool, key, f"{'/'.join(key)} is {value:g} mm; expected a length above 0")


def _angle_fault(tool: Tool, key: str, value: float) -> Iterator[ToolError]:
    most = ANGLES[key]
    if key == "taper_deg":
        if not 0.0 <= value < most or (value == 0.0 and tool.kind == "engraver"):
            low = "above 0" if tool.kind == "engraver" else "at least 0"
            yield fault(tool, key, f"{key} is {value:g} degrees; expected {low} and below {most:g}, counted per side")
    elif not 0.0 < value <= most:
        yield fault(tool, key, f"{key} is {value:g} degrees; expected above 0 and at most {most:g}")


def _outline_faults(tool: Tool) -> Iterator[ToolError]:
    """An outline has its parts in order from the tip, begins with the cutter, and stands alone."""
    for key in SHAPE_KEYS:
        if getattr(tool, key) is not None:
            yield fault(tool, key, f"{key} is given beside an outline, which replaces it; leave one of them out")
    if tool.outline[0].part != CUTTER:
        yield fault(tool, ("outline", "1"), f"outline begins with the {tool.outline[0].part}; expected the cutter")
    highest = 0
    for number, step in enumerate(tool.outline, start=1):
        step_key = ("outline", str(number))
        if not _is_length(step.length):
            yield fault(tool, step_key, f"length of the step is {step.length:g} mm; expected a length above 0")
        yield from _diameter_faults(step.d1, step.d2, tool.origin, step_key)
        if step.part not in TOOL_PARTS:
            yield fault(tool, step_key, f"no part {step.part!r} in an outline; expected cutter, neck or shank")
            continue
        place = TOOL_PARTS.index(step.part)
        if place < highest:
            yield fault(
                tool,
                step_key,
                f"{step.part} above the {TOOL_PARTS[highest]}; expected cutter, neck, shank in this order",
            )
        highest = max(highest, place)
    yield from _common_faults(tool)


def _diameter_faults(d1: float, d2: float, origin: object, key: tuple[str, ...]) -> Iterator[ToolError]:
    """A step may come to a point (one diameter 0), but not to less."""
    if not (math.isfinite(d1) and math.isfinite(d2) and min(d1, d2) >= 0.0 and max(d1, d2) > 0.0):
        yield ToolError(
            f"diameters of the step are {d1:g} and {d2:g} mm; expected one above 0, none below", origin=origin, key=key
        )


def _holder_faults(tool: Tool) -> Iterator[ToolError]:
    holder = tool.holder
    if not holder.steps:
        yield ToolError("holder has no steps; expected at least one", origin=holder.origin, key=("profile",))
    for number, step in enumerate(holder.steps, start=1):
        key = ("profile", str(number))
        if not _is_length(step.length):
            yield ToolError(
                f"length of the step is {step.length:g} mm; expected a length above 0", origin=holder.origin, key=key
            )
        yield from _diameter_faults(step.d1, step.d2, holder.origin, key)
        if step.name in (*TOOL_PARTS, SPINDLE_NOSE):
            yield ToolError(
                f"a holder's step is called {step.name!r}, which names another part of the assembly; "
                "expected a name of its own",
                origin=holder.origin,
                key=key,
            )
    if holder.grip is not None and not (math.isfinite(holder.grip) and holder.grip >= 0.0):
        yield ToolError(
            f"grip is {holder.grip:g} mm; expected a length of at least 0", origin=holder.origin, key=("grip",)
        )


def _fit_faults(tool: Tool) -> Iterator[ToolError]:
    """Whether the numbers, each possible on its own, fit together."""
    if tool.outline:
        length = sum(step.length for step in tool.outline)
        if length < tool.stick_out - ROUNDING:
            yield fault(
                tool,
                "stick_out",
                f"stick-out of {tool.stick_out:g} mm is longer than the outline; expected at most {length:g} mm",
            )
            return
    else:
        wide = tuple(_width_faults(tool))
        yield from wide
        try:
            KINDS[tool.kind].shape(tool)
        except ToolError as too_short:
            yield too_short
            return
        if wide:
            return
        yield from _neck_faults(tool)
    yield from _stick_out_faults(tool)


def _width_faults(tool: Tool) -> Iterator[ToolError]:
    d = given(tool.d)
    if tool.corner_radius is not None and tool.corner_radius > d / 2.0 + ROUNDING:
        yield fault(
            tool,
            "corner_radius",
            f"corner radius of {tool.corner_radius:g} mm; expected at most half of d, {d / 2:g} mm",
        )
    if tool.tip_d is not None and tool.tip_d > d:
        yield fault(tool, "tip_d", f"tip of {tool.tip_d:g} mm; expected at most d, {d:g} mm")
    if is_ball_on_stem(tool) and tool.flute is not None and tool.flute > d:
        yield fault(tool, "flute", f"flute of {tool.flute:g} mm; expected at most the height of the ball, {d:g} mm")
    widest = max(d, given(tool.shank))
    if tool.neck is not None and tool.neck[0] > widest:
        yield fault(
            tool,
            ("neck", "d"),
            f"neck of {tool.neck[0]:g} mm is wider than cutter and shank; expected at most {widest:g} mm",
        )


def _neck_faults(tool: Tool) -> Iterator[ToolError]:
    if tool.neck is None:
        return
    d, to = tool.neck
    top, shank = cutter_top(tool), given(tool.shank)
    if to < top - TYPED:
        yield fault(
            tool,
            ("neck", "to"),
            f"neck ends at {to:g} mm from the tip, within what cuts; expected above {top:.4g} mm",
        )
    if to > tool.stick_out and d > shank:
        yield fault(
            tool,
            "stick_out",
            f"stick-out of {tool.stick_out:g} mm puts the neck, {d:g} mm wide up to {to:g} mm, into the holder, "
            f"which grips {shank:g} mm; expected at least {to:g} mm",
        )


def narrow_holder_faults(tool: Tool) -> Iterator[ToolError]:
    """A holder is round the shank that it grips: over the least grip it is nowhere narrower.

    Not so a probe or a face mill, which sit on what holds them, and a holder of no grip, into which a head is screwed.
    """
    shank, grip = shank_d(tool), least_grip(tool)
    if tool.kind in SIT_ON_HOLDER or grip <= 0.0:
        return
    z = 0.0
    for step in tool.holder.steps:
        share = min(1.0, (grip - z) / step.length)
        at_end = step.d1 + share * (step.d2 - step.d1)
        if min(step.d1, at_end) < shank - TYPED:
            where = z if step.d1 <= at_end else z + share * step.length
            yield fault(
                tool,
                "holder",
                f"holder {tool.holder.name} is {min(step.d1, at_end):.4g} mm wide {where:.4g} mm from its face, where "
                f"it grips a shank of {shank:g} mm; expected at least {shank:g} mm",
            )
            return
        z += step.length
        if z >= grip:
            return


def _stick_out_faults(tool: Tool) -> Iterator[ToolError]:
    least = least_stick_out(tool)
    if tool.stick_out < least - TYPED:
        yield fault(
            tool,
            "stick_out",
            f"stick-out of {tool.stick_out:g} mm is shorter than the flute; the holder would grip what cuts; "
            f"expected at least {least:.4g} mm",
        )
    gripped, most = gripped_length(tool), largest_stick_out(tool)
    if gripped is None or most is None or gripped >= least_grip(tool) - ROUNDING:
        return
    begins = shank_begins(tool)
    if begins > most:
        yield fault(
            tool,
            "overall",
            f"overall length of {tool.overall:g} mm leaves {given(tool.overall) - begins:.4g} mm of full shank, below "
            f"the least grip of {least_grip(tool):g} mm in holder {tool.holder.name}; no stick-out would grip",
        )
    else:
        yield fault(
            tool,
            "stick_out",
            f"stick-out of {tool.stick_out:g} mm leaves {gripped:.4g} mm in holder {tool.holder.name}, below the least "
            f"grip of {least_grip(tool):g} mm; the largest stick-out that still grips: {most:.4g} mm",
        )
