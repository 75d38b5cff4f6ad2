"""A change that somebody may take, as a plain value: what to set, what it gains, in words.

`alternatives.py` finds them; loading this file loads no engine.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from app.jobs.words import MILLIMETRES, Lengths
from app.scenes.yaml_text import Plain
from kinematics.verdict import Verdict


class Kind(StrEnum):
    """What is changed, from the least trouble at the machine to the most (common practice, no source)."""

    STICK_OUT = "stick-out"
    HOLDER = "holder"
    SCREWS = "screws"
    TURN = "fixture turned"
    RAISE = "part raised"
    SOLUTION = "other solution"


@dataclass(frozen=True, slots=True)
class Left:
    """What is left somewhere: the verdict, the spare of its worst pair (mm; None on contact), and where that is."""

    verdict: Verdict
    spare: float | None
    keep_off: float
    orientation: str = ""


@dataclass(frozen=True, slots=True)
class Proposal:
    """One change.

    Parameters
    ----------
    words : what to do, in words.
    numbers, texts : what to set by path, in the units of the file.
    here, everywhere : what the orientation, and the whole set-up without its swings, leave then.
    before : what the orientation leaves now.
    makes_worse : the set-up as a whole gets a worse verdict, or less room at its worst, than it has now.
    """

    kind: Kind
    words: str
    numbers: tuple[tuple[str, float], ...]
    texts: tuple[tuple[str, Plain], ...]
    here: Left
    everywhere: Left
    before: Left
    makes_worse: bool

    @property
    def gain(self) -> float | None:
        """Spare won at the orientation, mm; None where one of the two is not known."""
        now, then = self.before.spare, self.here.spare
        return None if now is None or then is None else then - now

    @property
    def sentence(self) -> str:
        """What to do, as the beginning of a sentence."""
        return f"{self.words[:1].upper()}{self.words[1:]}"


def advice_words(change: Proposal | None, lengths: Lengths = MILLIMETRES) -> str:
    """The sentence of an advice; empty for none."""
    if change is None or change.here.spare is None:
        return ""
    left = lengths.proven(change.here.spare)
    if change.kind is Kind.SCREWS:
        return f"{change.sentence} make it {left}."
    comma = "," if "," in change.words else ""
    return (
        f"{change.sentence}{comma} is clear."
        if change.here.verdict is Verdict.CLEAR
        else (f"{change.sentence}{comma} leaves {left}.")
    )
