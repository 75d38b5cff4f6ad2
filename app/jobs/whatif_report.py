"""What dials leave, as data for programs: the keys and their order are a contract.

Lengths in mm, angles in degrees, whatever the units of the scene; null where a thing does not exist.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from app.jobs.report import LENGTH_DIGITS, Json, nearest
from app.jobs.results import name_of_move
from app.jobs.whatif import DialAnswer, DialValue
from app.jobs.whatif_dials import MM_PER_INCH, Dial, Value
from kinematics.answers.worst_room import LeastTravel
from kinematics.report import SwingReport

LEFT_OUT = "links and swings"


def what_if_json(answers: Sequence[DialAnswer], *, with_swings: bool, cancelled: str | None) -> Json:
    """The answers as the JSON object of `tightside whatif --json`."""
    return {
        "dials": [_dial_json(answer) for answer in answers],
        "left_out": [] if with_swings else [LEFT_OUT],
        "cancelled": cancelled,
    }


def _dial_json(answer: DialAnswer) -> Json:
    dial, best = answer.asked.dial, answer.best
    per = _per_unit(dial)
    ranges = answer.ranges
    return {
        "name": dial.name,
        "values": [_value_json(dial, value) for value in answer.values],
        "unit": "mm" if dial.unit == "inch" else dial.unit,
        "now": _in_mm(dial, dial.now),
        "best": None if best is None else _in_mm(dial, best.value),
        "ranges": None
        if ranges is None
        else [{"from": nearest(r.start * per), "to": nearest(r.end * per), "verdict": str(r.verdict)} for r in ranges],
        "why_no_ranges": answer.why_no_ranges,
    }


def _value_json(dial: Dial, value: DialValue) -> Json:
    room = value.room
    pair = room.pair if room else None
    return {
        "value": _in_mm(dial, value.value),
        "verdict": str(value.verdict),
        "spare": None if pair is None or pair.spare is None else _down(pair.spare),
        "orientation": room.orientation if room else None,
        "cut": room.cut if room else None,
        "between": list(pair.between) if pair else None,
        "travel": _travel_json(room.travel) if room and room.travel else None,
        "keep_off": nearest(pair.keep_off) if pair else None,
        "cause": room.cause if room else "scene",
        "why": room.why if room else value.why,
        "swing": _swing_json(room.swing) if room and room.swing else None,
    }


def _travel_json(travel: LeastTravel) -> Json:
    return {
        "verdict": str(travel.verdict),
        "least_left": _down(travel.least_left),
        "axis": travel.axis,
        "reached": nearest(travel.reached),
        "orientation": travel.orientation,
        "cut": travel.cut,
    }


def _swing_json(swing: SwingReport) -> Json:
    spare = None if swing.spare is None else _down(swing.spare)
    return {"name": name_of_move(swing), "verdict": str(swing.verdict), "spare": spare}


def _per_unit(dial: Dial) -> float:
    return MM_PER_INCH if dial.unit == "inch" else 1.0


def _in_mm(dial: Dial, value: Value | None) -> Value | None:
    return nearest(value * _per_unit(dial)) if isinstance(value, float | int) else value


def _down(value: float) -> float:
    """Proven: never above what was proven."""
    return math.floor(value * 10.0**LENGTH_DIGITS) / 10.0**LENGTH_DIGITS
