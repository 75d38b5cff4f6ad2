"""The five verdicts, and how bad each is."""

from __future__ import annotations

from enum import StrEnum


class Verdict(StrEnum):
    """A verdict by its word. Severity: hits > can hit > not checked > tight > clear."""

    CLEAR = "clear"
    TIGHT = "tight"
    NOT_CHECKED = "not checked"
    CAN_HIT = "can hit"
    HITS = "hits"

    @property
    def severity(self) -> int:
        """0 for clear up to 4 for hits."""
        return _ORDER.index(self)


_ORDER = (Verdict.CLEAR, Verdict.TIGHT, Verdict.NOT_CHECKED, Verdict.CAN_HIT, Verdict.HITS)


def worst(verdicts: list[Verdict]) -> Verdict:
    """The most severe of the verdicts; not checked if there is none, since nothing was checked."""
    return max(verdicts, key=lambda v: v.severity, default=Verdict.NOT_CHECKED)


def verdict_of(spare: float, keep_off: float) -> Verdict:
    """The verdict of a pair that is not in contact: can hit at or below 0, tight below the keep-off."""
    if spare <= 0.0:
        return Verdict.CAN_HIT
    return Verdict.TIGHT if spare < keep_off else Verdict.CLEAR
