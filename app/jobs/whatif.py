"""What if a number were another: what the set-up leaves at each value of a dial, and the ranges of its verdict.

1. A value is told by what its cuts leave at worst, as a check of the scene with that value says it; links and swings
   count only where they are asked for.
2. A value at which there is no scene (it would be at fault) is told with what is wrong.
3. Ranges are of the cuts, and are proven as a whole (`kinematics/answers/dial_ranges.py`).
4. Everything that two values have in common is made once.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from app.jobs.whatif_dials import MM_PER_INCH, Bench, Dial, DialFault, Value
from app.scenes.faults import SceneFileError
from app.scenes.live import LiveScene
from kinematics.answers.dial_ranges import dial_pieces, joined
from kinematics.answers.ranges import Range
from kinematics.answers.worst_room import CutName, Room, Rooms
from kinematics.errors import TightsideError
from kinematics.prepared import Prepared
from kinematics.report import SwingReport
from kinematics.scene import Scene
from kinematics.swing_clearance import PROVEN, check_links, check_swings
from kinematics.verdict import Verdict

AS_GOOD = 0.01  # mm; spares that differ by no more are as good


@dataclass(frozen=True, slots=True)
class DialValue:
    """What the set-up leaves at one value. `room` is None where there is no such scene, and `why` says why."""

    value: Value
    room: Room | None
    why: str | None = None

    @property
    def verdict(self) -> Verdict:
        return Verdict.NOT_CHECKED if self.room is None else self.room.verdict


@dataclass(frozen=True, slots=True)
class Asked:
    """A dial and the values to turn it to, in the units of the file."""

    dial: Dial
    values: tuple[Value, ...]

    @property
    def ends(self) -> tuple[float, float] | None:
        """The least and the largest value; None where they are no numbers, or one only."""
        numbers = [v for v in self.values if not isinstance(v, str)]
        return (min(numbers), max(numbers)) if len(set(numbers)) > 1 else None


@dataclass(frozen=True, slots=True)
class DialAnswer:
    """What is known of one dial.

    Parameters
    ----------
    ranges : of its verdict over all cuts that count, in the units of the file; None where they were not asked for.
    why_no_ranges : why there are none, though they were asked for.
    """

    asked: Asked
    values: tuple[DialValue, ...]
    ranges: tuple[Range, ...] | None = None
    why_no_ranges: str | None = None

    @property
    def best(self) -> DialValue | None:
        return best_of(self.values, self.asked.dial.now)


Result = tuple[int, DialValue | Range]  # the number of the dial, and what became known of it


def what_if(
    bench: Bench,
    asked: Sequence[Asked],
    *,
    only: Collection[CutName] | None = None,
    with_swings: bool = False,
    with_ranges: bool = False,
) -> Iterator[Result]:
    """Every value of every dial, one dial turned at a time; after its values the pieces of its ranges."""
    for k, one in enumerate(asked):
        for found in dial_values(bench.live, one.dial, one.values, only=only, with_swings=with_swings, bench=bench):
            yield k, found
        if with_ranges and one.dial.why_no_ranges is None and one.ends is not None:
            for piece in dial_ranges(bench.live, one.dial, *one.ends, only=only, bench=bench):
                yield k, piece


def answers_of(
    asked: Sequence[Asked], results: Sequence[Result], *, with_ranges: bool = False
) -> tuple[DialAnswer, ...]:
    """What the results say of each dial, as far as they go."""
    found = []
    for k, one in enumerate(asked):
        own = [item for number, item in results if number == k]
        values = tuple(item for item in own if isinstance(item, DialValue))
        ranges = ranges_of([item for item in own if isinstance(item, Range)], one.dial.unit)
        why = None
        if with_ranges:
            why = one.dial.why_no_ranges or ("expected two values or more" if one.ends is None else None)
        found.append(DialAnswer(one, values, ranges if with_ranges and why is None else None, why))
    return tuple(found)


def verdict_of(answers: Sequence[DialAnswer]) -> Verdict:
    """The best verdict that some value of some dial reaches."""
    said = [value.verdict for answer in answers for value in answer.values]
    return min(said, key=lambda v: v.severity, default=Verdict.NOT_CHECKED)


def cuts_of_tool(scene: Scene, tool: str) -> frozenset[CutName]:
    """All cuts that a tool makes, as (orientation, cut)."""
    return frozenset((o.name, c.name) for o, c in scene.cuts() if c.tool == tool)


def dial_values(
    live: LiveScene,
    dial: Dial,
    values: Iterable[Value],
    *,
    only: Collection[CutName] | None = None,
    with_swings: bool = False,
    bench: Bench | None = None,
) -> Iterator[DialValue]:
    """One result for each value, in their order.

    Parameters
    ----------
    values : in the units of the file.
    only : the cuts that count, as (orientation, cut); None: all of them.
    with_swings : links and swings count too.
    bench : of the same live scene, where there is one already.

    Raises
    ------
    SceneFileError : the scene is at fault as it is.
    DialFault : the dial can't have such a value at all.
    """
    bench = bench or Bench(live)
    before: Prepared | None = None
    rooms = Rooms()
    for value in values:
        try:
            prepared = _prepared_at(bench, dial, value, before)
        except DialFault:
            raise
        except TightsideError as error:
            yield DialValue(value, None, _words_of(error))
            continue
        before = prepared
        yield DialValue(value, rooms.of(prepared, only, _moves(prepared) if with_swings else ()))


def _prepared_at(bench: Bench, dial: Dial, value: Value, like: Prepared | None) -> Prepared:
    return Prepared(bench.file_with(dial.setting(bench, value)).scene, like=like)


def _moves(prepared: Prepared) -> list[SwingReport]:
    scene = prepared.scene
    return [*check_links(scene, prepared), *check_swings(scene, prepared, PROVEN)]


def _words_of(error: TightsideError) -> str:
    """What is wrong with a scene, in one line."""
    if isinstance(error, SceneFileError) and error.faults:
        first = error.faults[0]
        more = f" (and {len(error.faults) - 1} more)" if len(error.faults) > 1 else ""
        return f"{first.path}: {first.message}{more}" if first.path else f"{first.message}{more}"
    return error.message


def dial_ranges(
    live: LiveScene,
    dial: Dial,
    low: float,
    high: float,
    *,
    only: Collection[CutName] | None = None,
    finest: float | None = None,
    bench: Bench | None = None,
) -> Iterator[Range]:
    """Pieces of [low, high] in order, in the units of the file, each with a verdict that no value in it exceeds.

    `ranges_of` joins them. Links and swings do not count.

    Parameters
    ----------
    only, bench : as in `dial_values`.
    finest : how near to an end of a range it is told, in the units of the file; None: as near as is usual.

    Raises
    ------
    DialFault : ranges of this dial can't be told, or the range is empty.
    SceneFileError : the scene is at fault as it is.
    """
    if not low < high:
        raise DialFault(f"{dial.name}: the range {low:g}..{high:g} is empty; expected the lower end first")
    bench = bench or Bench(live)
    if dial.why_no_ranges is not None:
        raise DialFault(f"{dial.name}: no ranges: {dial.why_no_ranges}")

    def scene_at(value: float) -> Scene:
        return bench.file_with(dial.setting(bench, value)).scene

    unit = MM_PER_INCH if dial.unit == "inch" else 1.0
    for piece in dial_pieces(
        lambda v: scene_at(v / unit), low * unit, high * unit, only, finest=finest and finest * unit
    ):
        yield Range(piece.start / unit, piece.end / unit, piece.verdict)


def ranges_of(pieces: Sequence[Range], unit: str = "mm") -> tuple[Range, ...]:
    """Pieces joined to ranges; ends are rounded, to 0.01 mm or degrees, so that the better one claims less."""
    if not pieces:
        return ()
    per = MM_PER_INCH if unit == "inch" else 1.0
    in_mm = joined([Range(p.start * per, p.end * per, p.verdict) for p in pieces])
    return tuple(Range(r.start / per, r.end / per, r.verdict) for r in in_mm)


def best_of(values: Sequence[DialValue], now: Value | None = None) -> DialValue | None:
    """The value with the best verdict and, of those, the largest worst spare.

    Of several as good, to AS_GOOD, the one that is nearest to `now`, and of those the first.
    """
    good = _as_good(values)
    if isinstance(now, str) or now is None:
        return next((v for v in good if v.value == now), good[0] if good else None)
    return min(good, key=lambda v: math.inf if isinstance(v.value, str) else abs(v.value - now), default=None)


def n_as_good(values: Sequence[DialValue]) -> int:
    """How many values are as good as the best of them, itself counted."""
    return len(_as_good(values))


def _as_good(values: Sequence[DialValue]) -> list[DialValue]:
    ranked = [(_rank(v), v) for v in values if v.room is not None]
    if not ranked:
        return []
    severity, left = min(rank for rank, _ in ranked)
    return [v for (s, own), v in ranked if s == severity and (own == left or own - left <= AS_GOOD)]


def _rank(value: DialValue) -> tuple[int, float]:
    assert value.room is not None, "a value without a room is not ranked"
    pair = value.room.pair
    if pair is None:
        return value.verdict.severity, -math.inf  # nothing is near
    return value.verdict.severity, math.inf if pair.spare is None else -pair.spare
