"""Reports made by hand, for tests of what is said about them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from kinematics.report import AxisTravel, CutReport, DepthReport, ErrorTerms, Interval, PairReport, TravelReport
from kinematics.verdict import Verdict

TERMS = ErrorTerms(0.15, 0.30, 0.20, 0.04, 0.00)
FREE = AxisTravel((0.0, 10.0), (100.0, 90.0))
IN_TRAVEL = TravelReport(Verdict.CLEAR, FREE, FREE, FREE, 90.0)
OUT_OF_TRAVEL = TravelReport(Verdict.HITS, FREE, FREE, FREE, -4.0, "Y -129.00 is outside -125..125 by 4.00 mm")
DEEP_ENOUGH = DepthReport(Verdict.CLEAR, 8.0, 13.0)
TOO_SHORT = DepthReport(Verdict.CAN_HIT, 8.0, 6.5)


def a_pair(at_least: float = 2.24, *, verdict: Verdict = Verdict.TIGHT, **changed: Any) -> PairReport:
    pair = PairReport(
        between=("nut", "clamp screw L"),
        verdict=verdict,
        keep_off=2.0,
        clearance=Interval(at_least, at_least + 0.002),
        spare=at_least - TERMS.total,
        contact=None,
        setup_error=TERMS,
        points_W=((0.0, 0.0, 0.0), (0.0, at_least, 0.0)),
        normal_W=(0.0, 1.0, 0.0),
        tip_W=(0.0, 0.0, -20.0),
    )
    return replace(pair, **changed)


def a_cut(pair: PairReport | None, **changed: Any) -> CutReport:
    cut = CutReport(
        orientation="V6",
        cut="drain spot",
        workpiece=None,
        tool="T4",
        holder="H11",
        angles_deg=(("tilt", 105.0), ("rotary", 0.0)),
        verdict=pair.verdict if pair else Verdict.CLEAR,
        worst=pair,
        ties=(),
        next=(),
        side="away" if pair else None,
        clock=12 if pair else None,
        part_side="-Z" if pair else None,
        is_hidden_from_operator=True if pair else None,
        above_platter=68.0 if pair else None,
        points_P=((0.0, 0.0, 0.0), (0.0, 1.0, 0.0)) if pair else None,
        tip_P=(0.0, 0.0, 0.0) if pair else None,
        depth=DEEP_ENOUGH,
        travel=IN_TRAVEL,
    )
    return replace(cut, **changed)
