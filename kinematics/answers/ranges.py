"""Stretches of a length with a verdict each: joined, rounded so that none claims more than was proven, combined.

What this file does not know: what the length is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from kinematics.answers.roots import rounded_down, rounded_up
from kinematics.verdict import Verdict, worst


@dataclass(frozen=True, slots=True)
class Range:
    """A stretch of lengths, mm, over which the verdict is at most this bad."""

    start: float
    end: float
    verdict: Verdict


def merged(pieces: Sequence[Range]) -> tuple[Range, ...]:
    """Ranges in order, those of one verdict joined; between two of them the better one gives way to whole steps."""
    return _rounded(_joined(pieces))


def _joined(pieces: Sequence[Range]) -> list[Range]:
    joined: list[Range] = []
    whole = [p for p in pieces if p.end > p.start] or list(pieces[:1])
    for piece in whole:
        if joined and joined[-1].verdict is piece.verdict:
            joined[-1] = replace(joined[-1], end=piece.end)
        else:
            joined.append(piece)
    return joined


def _rounded(joined: Sequence[Range]) -> tuple[Range, ...]:
    """Ends at whole steps, except the first and the last; a step that holds an end has the worst that is in it."""
    first, last = joined[0].start, joined[-1].end
    inner = [end for piece in joined[:-1] for end in (rounded_down(piece.end), rounded_up(piece.end))]
    ends = sorted({first, last, *(end for end in inner if first < end < last)})
    if len(ends) == 1:
        return tuple(joined)
    return tuple(
        _joined(
            [Range(a, b, worst([p.verdict for p in joined if p.start < b and p.end > a])) for a, b in pairwise(ends)]
        )
    )


def worst_of(several: Sequence[Sequence[Range]]) -> tuple[Range, ...]:
    """The worst verdict of several rows of ranges, wherever all of them say something."""
    ends = sorted({end for ranges in several for r in ranges for end in (r.start, r.end)})
    if len(ends) == 1:
        return tuple(_joined([Range(ends[0], ends[0], worst([ranges[0].verdict for ranges in several]))]))
    pieces = []
    for a, b in pairwise(ends):
        verdicts = [_verdict_at(ranges, a, b) for ranges in several]
        if all(v is not None for v in verdicts):
            pieces.append(Range(a, b, worst([v for v in verdicts if v is not None])))
    return tuple(_joined(pieces)) if pieces else ()


def _verdict_at(ranges: Sequence[Range], a: float, b: float) -> Verdict | None:
    return next((r.verdict for r in ranges if r.start <= a and b <= r.end), None)


def least_at(ranges: Sequence[Range], at_most: Verdict) -> float | None:
    """The least length whose verdict is no worse than this."""
    return next((r.start for r in ranges if r.verdict.severity <= at_most.severity), None)
