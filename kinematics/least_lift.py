"""The least lift of a swing: how low may the spindle be while the table turns?

The tool is swept from the height to the top of travel, so that the spare never falls as the height
grows and there is one root. The spare changes by no more than the height does, so going down by what
is over the keep-off is safe; each height taken is proven clear.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from kinematics.engine.turning import TurnPair, TurnResult, least_over_turn
from kinematics.setup_error import stick_out_error
from kinematics.swing_pairs import SwingSetup

STEP = 0.02  # mm, of the height
SEARCH = 0.01  # mm, or a tenth of what is over the keep-off


def least_lift(setup: SwingSetup, keep_off: float) -> float | None:
    """The least height of the gauge line at which the swing is clear, to STEP, mm in W; None if none is.

    None also where bodies without the tool come too near: no height helps there.
    """
    low, top = setup.machine.z.limits
    tools = [setup.scene.tool(t) for t in setup.between.tools]
    others = setup.standing_pairs(exact=False) + setup.carried_pairs(exact=False)
    if others and not _is_clear(others, keep_off):
        return None

    def spare(height: float) -> TurnResult:
        setup.between = replace(setup.between, gauge_z=height)
        pairs = []
        for tool in tools:
            by = stick_out_error(setup.scene.setup_errors, tool)
            pairs += setup.tool_pairs(tool, by, exact=False, up=top - height)

        def enough(at_least: float, at_most: float) -> bool:
            if at_most < keep_off:
                return True
            return at_least >= keep_off and (
                at_most - at_least <= max(SEARCH, 0.1 * (at_most - keep_off)) and math.isfinite(at_most)
            )

        return least_over_turn(pairs, enough)

    asked = setup.between
    try:
        height, blocked = top, low
        result = spare(height)
        if not (result.is_settled and result.at_least >= keep_off):
            return None
        while height - blocked > STEP:
            step = max(height - (result.at_least - keep_off), low)
            if height - step < 0.25 * STEP or (height - step < 0.2 * (height - blocked) and blocked > low):
                step = (height + blocked) / 2
            tried = spare(step)
            if tried.is_settled and tried.at_least >= keep_off:
                height, result = step, tried
                if height <= low:
                    return low
            else:
                blocked = max(blocked, step)
        return height
    finally:
        setup.between = asked


def _is_clear(pairs: Sequence[TurnPair], keep_off: float) -> bool:
    result = least_over_turn(pairs, lambda low, high: low >= keep_off or high < keep_off)
    return result.is_settled and result.at_least >= keep_off
