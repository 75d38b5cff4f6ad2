"""How far a cut is from a verdict, for one tool: one certified number, as quickly as it can be had.

1. The margin to a limit is the least, over all pairs, of what is left over that limit: of the clearance over
   touching ("hits"), of the spare over nothing ("can hit"), of the spare over keep-off ("clear").
2. A margin is a proven lower bound; where solids touch it is minus infinity. It moves by no more than the tool,
   the part or a body moves: it is 1-Lipschitz in every length that shifts them.
3. Bodies stay placed between questions; only the tool, or the tip, changes.
4. What this file does not know: travel, depth, searches.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum

from kinematics.assembly import tool_assembly
from kinematics.cut_pairs import CutPairs, Pair
from kinematics.engine.exact_pair import near_enough
from kinematics.engine.pair import Clear, Contact
from kinematics.moves.cuts import CutMove, relifted
from kinematics.placed_cut import PlacedCut
from kinematics.scene import Tool


class Limit(Enum):
    """A limit between two verdicts."""

    HITS = "hits"
    CAN_HIT = "can hit"
    CLEAR = "clear"


@dataclass(frozen=True, slots=True)
class Margin:
    """What is left over a limit, mm (minus infinity: solids touch), and the pair that leaves the least."""

    value: float
    between: tuple[str, str] | None

    @property
    def is_met(self) -> bool:
        return self.value >= 0.0


NOTHING_NEAR = Margin(math.inf, None)


def trial(placed: PlacedCut, tool: Tool) -> CutPairs:
    """The pairs of a placed cut with another tool; raises ToolError, FeatureError."""
    prepared = placed.prepared
    assembly = tool_assembly(tool, prepared.scene.machine.spindle_nose)
    lift_to = prepared.lift_to(placed.orientation, placed.cut)
    move: CutMove = relifted(placed.cut, placed.move, assembly, placed.X_WP, lift_to)
    return CutPairs(prepared, placed.cut, tool, assembly, move, placed.bodies, placed.poses, placed.pairs.targets)


def margin(pairs: CutPairs, limit: Limit, enough: float = math.inf) -> Margin:
    """The margin of a cut to a limit; a margin of at least `enough` may be told as `enough`.

    Raises EngineError where a pair that might be the least can't be established.
    """
    best = Margin(enough, None) if enough < math.inf else NOTHING_NEAR
    errors, keep_off = (0.0 if limit is Limit.HITS else 1.0), (1.0 if limit is Limit.CLEAR else 0.0)
    for bound, pair in pairs.nearest_first(errors=errors, keep_off=keep_off):
        if bound >= best.value:
            break
        found = _measured(pairs, pair, limit, best.value)
        if found < best.value:
            best = Margin(found, pair.names)
            if found == -math.inf:
                break
    return best


def _subtract(pair: Pair, limit: Limit) -> float:
    if limit is Limit.HITS:
        return 0.0
    return pair.target.errors.total + (pair.keep_off if limit is Limit.CLEAR else 0.0)


def _measured(pairs: CutPairs, pair: Pair, limit: Limit, best: float) -> float:
    """The pair's margin, or `best` where it is no less."""
    subtract = _subtract(pair, limit)
    down = 0.0 if limit is Limit.HITS else pair.moves.down
    if pair.part.round is not None:
        target = pair.target
        found = near_enough(pair.part.round, pair.moves.arrays, down, target.tree, target.X_WG, best + subtract)
        return -math.inf if found is None else min(best, found - subtract)
    measured = pairs.measure(pair, best + subtract + pair.moves.down)
    if measured is None:
        return best
    answer = measured.exact if limit is Limit.HITS else measured.swept
    if isinstance(answer, Contact):
        return -math.inf
    assert isinstance(answer, Clear)
    return min(best, answer.at_least - subtract)


def with_stick_out(tool: Tool, length: float) -> Tool:
    return replace(tool, stick_out=length)
