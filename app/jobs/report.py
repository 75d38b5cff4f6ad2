"""A check as data for programs: the keys and their order are a contract with whoever reads them.

Lengths in mm, angles in degrees, whatever the units of the scene; null where a thing does not exist.
Numbers are rounded to 1e-4 so that no bound is flattered: what is proven is rounded down, what is
attained is rounded up.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from app.jobs.results import Check, CutResult, MoveResult, NotChecked
from kinematics.report import (
    AxisTravel,
    CutReport,
    DepthReport,
    ErrorTerms,
    Interval,
    PairReport,
    SwingReport,
    TravelReport,
)
from kinematics.work_offset import WorkOffset

FORMAT = 1
LENGTH_DIGITS = 4  # 1e-4 mm
DIRECTION_DIGITS = 6

Json = dict[str, Any]


def check_json(check: Check) -> Json:
    """A check as the JSON object of `tightside check --json`."""
    scene_file = check.scene_file
    return {
        "format": FORMAT,
        "program": program(),
        "scene": scene_file.scene.title,
        "input_sha256": scene_file.input_sha256,
        "verdict": str(check.verdict),
        "second_opinion": str(check.second_opinion),
        "cuts": [cut_json(cut) for cut in check.cuts],
        "links": [link_json(link) for link in check.links],
        "swings": [swing_json(swing) for swing in check.swings],
        "work_offsets": [offset_json(offset) for offset in check.work_offsets],
        "not_checked": [_item(item) for item in check.not_checked],
        "not_modelled": list(scene_file.scene.machine.not_modelled),
        "assumed": [*scene_file.scene.assumed, *scene_file.notes],
        "left_out": [_item(item) for item in check.left_out],
    }


def _item(item: NotChecked) -> Json:
    return {"what": item.what, "why": item.why}


def program() -> str:
    """Name and version of the program, as installed."""
    try:
        return f"tightside {version('tightside')}"
    except PackageNotFoundError:
        return "tightside, not installed"


def cut_json(cut: CutResult) -> Json:
    """One cut. What was not computed is null."""
    report = cut if isinstance(cut, CutReport) else None
    pair = report.worst if report else None
    return {
        "orientation": cut.orientation,
        "cut": cut.cut,
        "workpiece": cut.workpiece,
        "tool": cut.tool,
        "holder": cut.holder,
        "angles": {name: nearest(angle) for name, angle in cut.angles_deg},
        "verdict": str(cut.verdict),
        "clearance": _interval(pair.clearance) if pair else None,
        "contact": pair.contact if pair else None,
        "spare": _down(pair.spare) if pair else None,
        "keep_off": nearest(pair.keep_off) if pair else None,
        "setup_error": _setup_error(pair.setup_error) if pair else None,
        "between": list(pair.between) if pair else None,
        "ties": [list(names) for names in report.ties] if report else [],
        "points_w": _points(pair.points_W) if pair else None,
        "points_p": _points(report.points_P) if report else None,
        "normal_w": _vector(pair.normal_W, DIRECTION_DIGITS) if pair else None,
        "side": report.side if report else None,
        "clock": report.clock if report else None,
        "hidden_from_operator": report.is_hidden_from_operator if report else None,
        "part_side": report.part_side if report else None,
        "above_platter": nearest(report.above_platter) if report else None,
        "at_tip_p": _vector(report.tip_P) if report else None,
        "next": [_next(other) for other in report.next] if report else [],
        "depth": _depth(report.depth) if report else None,
        "travel": _travel(report.travel) if report else None,
    }


def link_json(link: MoveResult) -> Json:
    """One link: its orientation, the two cuts, and the fields of a swing."""
    return {"orientation": link.orientation, **swing_json(link)}


def swing_json(swing: MoveResult) -> Json:
    """One swing. What was not computed is null."""
    report = swing if isinstance(swing, SwingReport) else None
    return {
        "from": swing.start,
        "to": swing.end,
        "verdict": str(swing.verdict),
        "proven_enough": report.is_proven_enough if report else False,
        "normal_w": _vector(report.normal_W, DIRECTION_DIGITS) if report else None,
        "side": report.side if report else None,
        "clock": report.clock if report else None,
        "part_side": report.part_side if report else None,
        "clearance": _interval(report.clearance) if report else None,
        "contact": report.contact if report else None,
        "spare": _down(report.spare) if report else None,
        "keep_off": nearest(report.keep_off) if report else None,
        "setup_error": _setup_error(report.setup_error) if report else None,
        "between": list(report.between) if report and report.between else None,
        "tool": report.tool if report else None,
        "points_w": _points(report.points_W) if report else None,
        "at_angles": {name: nearest(angle) for name, angle in report.at_angles_deg} if report else None,
        "lift_gauge_z": nearest(report.lift_gauge_z) if report else None,
        "least_lift_gauge_z": _up(report.least_lift_gauge_z) if report else None,
    }


def offset_json(offset: WorkOffset) -> Json:
    """Part zero at one orientation, in W and as the control counts."""
    return {
        "orientation": offset.orientation,
        "workpiece": offset.workpiece,
        "w": _vector(offset.w),
        "control": _vector(offset.control),
        "angles_control": {letter: nearest(angle) for letter, angle in offset.angles_control},
    }


def _next(pair: PairReport) -> Json:
    interval = _interval(pair.clearance) or {"at_least": None, "value": None}
    return {"between": list(pair.between), **interval, "spare": _down(pair.spare)}


def _interval(interval: Interval | None) -> Json | None:
    if interval is None:
        return None
    return {"at_least": _down(interval.at_least), "value": _up(interval.value)}


def _setup_error(terms: ErrorTerms | None) -> Json | None:
    if terms is None:
        return None
    names = ("location", "body_model", "diameters", "stick_out", "tilt")
    return {
        "total": nearest(terms.total),
        "rss": nearest(terms.rss),
        "terms": {name: nearest(getattr(terms, name)) for name in names},
    }


def _depth(depth: DepthReport | None) -> Json | None:
    if depth is None:
        return None
    return {"verdict": str(depth.verdict), "needs": _up(depth.needs), "has": _down(depth.has)}


def _travel(travel: TravelReport) -> Json:
    axes = {"x": travel.x, "y": travel.y, "z": travel.z}
    return {
        "verdict": str(travel.verdict),
        **{name: _axis(axis) for name, axis in axes.items()},
        "least_left": _down(travel.least_left),
    }


def _axis(axis: AxisTravel) -> Json:
    return {"reached": [nearest(v) for v in axis.reached], "left": [_down(v) for v in axis.left]}


def _points(points: Iterable[Sequence[float]] | None) -> list[list[float | None] | None] | None:
    return None if points is None else [_vector(point) for point in points]


def _vector(values: Sequence[float] | None, digits: int = LENGTH_DIGITS) -> list[float | None] | None:
    return None if values is None else [nearest(value, digits) for value in values]


def nearest(value: float | None, digits: int = LENGTH_DIGITS) -> float | None:
    """A number to the nearest 1e-digits; a zero has no sign."""
    return _rounded(value, digits, ROUND_HALF_EVEN)


def _down(value: float | None) -> float | None:
    """A proven number: never above what was proven."""
    return _rounded(value, LENGTH_DIGITS, ROUND_FLOOR)


def _up(value: float | None) -> float | None:
    """What is attained or needed: never below what it is."""
    return _rounded(value, LENGTH_DIGITS, ROUND_CEILING)


def _rounded(value: float | None, digits: int, rounding: str) -> float | None:
    if value is None:
        return None
    return float(Decimal(value).quantize(Decimal(1).scaleb(-digits), rounding)) + 0.0
