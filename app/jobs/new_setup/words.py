"""Words of a line that somebody types: where each stands, what is wrong with it, numbers with or without a unit.

1. Spans count characters from the start of the line, so that a word can be underlined while it is typed.
2. Lengths come out in mm. A number without a unit is in the units of the line; with one (6mm, 1/4in, 0.25") in that.
3. Nothing raises: whatever is typed gives words and faults.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from app.jobs.new_setup.answers import MM_PER_INCH, Units
from app.scenes.document import nearest

Measure = Literal["length", "angle"]

LONGEST_LINE = 500  # characters; a longer line is not a tool
MOST = 10_000.0  # mm; no length in a set-up is larger

_WORD = re.compile(r"\S+")
_NUMBER = re.compile(r"([+-]?)(?:(\d+)-)?(\d+/\d+|\d+(?:\.\d*)?|\.\d+)(mm|in|inch|\"|deg|\u00b0)?", re.IGNORECASE)
_UNIT_WORDS = {"mm": 1.0, "in": MM_PER_INCH, "inch": MM_PER_INCH, '"': MM_PER_INCH}
_ANGLE_WORDS = ("deg", "\u00b0")


@dataclass(frozen=True, slots=True)
class Word:
    """A word of a line, from `start` to `end`."""

    text: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class LineFault:
    """What is wrong with the characters from `start` to `end`; an empty span at the end: something is missing."""

    start: int
    end: int
    message: str


@dataclass(frozen=True, slots=True)
class Candidate:
    """A word that may stand at the cursor, and what it means."""

    text: str
    about: str


@dataclass(frozen=True, slots=True)
class Completion:
    """What may stand in place of the characters from `start` to `end`."""

    start: int
    end: int
    candidates: tuple[Candidate, ...]


def words_of(text: str) -> tuple[Word, ...]:
    return tuple(Word(m.group(), m.start(), m.end()) for m in _WORD.finditer(text[:LONGEST_LINE]))


@dataclass(slots=True)
class Line:
    """A line that is read word by word; collects faults on the way."""

    text: str
    units: Units
    words: tuple[Word, ...] = ()
    at: int = 0
    faults: list[LineFault] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.words = words_of(self.text)
        if len(self.text) > LONGEST_LINE:
            self.faults.append(LineFault(LONGEST_LINE, len(self.text), f"expected at most {LONGEST_LINE} characters"))

    @property
    def word(self) -> Word | None:
        """The next word, or None at the end."""
        return self.words[self.at] if self.at < len(self.words) else None

    def n_left(self) -> int:
        """How many words have not been taken."""
        return len(self.words) - self.at

    def take(self) -> Word:
        word = self.words[self.at]
        self.at += 1
        return word

    def tell(self, word: Word, message: str) -> None:
        self.faults.append(LineFault(word.start, word.end, message))

    def tell_end(self, message: str) -> None:
        """Something is missing at the end of the line."""
        end = len(self.text.rstrip())
        self.faults.append(LineFault(end, end, message))

    def tell_span(self, first: Word, last: Word, message: str) -> None:
        self.faults.append(LineFault(first.start, last.end, message))

    def length(self, what: str) -> float | None:
        """The length in mm that stands next; a unit may stand after a blank. Tells a fault and gives None."""
        return self._number(what, "length")

    def angle(self, what: str) -> float | None:
        """The angle in degrees that stands next."""
        return self._number(what, "angle")

    def _number(self, what: str, measure: Measure) -> float | None:
        word = self.word
        if word is None:
            self.tell_end(f"{what} is missing; expected a number")
            return None
        self.take()
        value = self.number_in(word, word.text, what, measure)
        following = self.word
        if value is not None and following is not None and _is_unit(following.text):
            self.take()
            return self.number_in(word, word.text + following.text, what, measure)
        return value

    def number_in(self, word: Word, text: str, what: str, measure: Measure) -> float | None:
        """The number that a text of a word means; tells what is wrong with it."""
        if "," in text and re.fullmatch(r"[+-]?\d+,\d+\D*", text):
            self.tell(word, f"'{text}' has a decimal comma; expected a decimal point: {text.replace(',', '.')}")
            return None
        match = _NUMBER.fullmatch(text)
        if match is None:
            self.tell(word, f"'{text}' is no number; expected {what} as a number")
            return None
        unit = (match[4] or "").lower()
        if measure == "length" and unit in _ANGLE_WORDS:
            self.tell(word, f"'{text}' is an angle; expected a length")
            return None
        if measure == "angle" and unit in _UNIT_WORDS:
            self.tell(word, f"'{text}' is a length; expected an angle in degrees")
            return None
        try:
            number = _plain(match)
        except ZeroDivisionError:
            self.tell(word, f"'{text}' divides by 0; expected a number")
            return None
        if measure == "angle":
            return number
        scale = _UNIT_WORDS[unit] if unit else (MM_PER_INCH if self.units == "inch" else 1.0)
        value = round(number * scale, 9)
        if abs(value) > MOST:
            self.tell(word, f"'{text}' is {value:g} mm; expected at most {MOST:g}")
            return None
        return value


def _plain(match: re.Match[str]) -> float:
    sign, whole, number = match[1], match[2], match[3]
    value = float(Fraction(number)) if "/" in number else float(number)
    value += float(whole or 0)
    return -value if sign == "-" else value


def _is_unit(text: str) -> bool:
    return text.lower() in _UNIT_WORDS or text.lower() in _ANGLE_WORDS


def split_number(text: str, known: Iterable[str]) -> tuple[str, str] | None:
    """A key with its number stuck to it: d6 is d and 6. None where it is no such word."""
    match = re.fullmatch(r"([A-Za-z_]+)([+-]?[\d.].*)", text)
    return (match[1].lower(), match[2]) if match and match[1].lower() in set(known) else None


def near(word: str, known: Iterable[str]) -> str:
    """The hint for a word that is not known; empty where nothing is like it."""
    found = nearest(word, list(known))
    return f"; nearest: {found}" if found else ""


def completion(text: str, cursor: int, offered: Iterable[Candidate]) -> Completion:
    """What of the words that are offered may stand at the cursor, by what is there of one; case does not matter."""
    start, end = word_round(text, cursor)
    begun = text[start:cursor].lower()
    return Completion(start, end, tuple(c for c in offered if c.text.lower().startswith(begun)))


def word_round(text: str, cursor: int) -> tuple[int, int]:
    """The span of the word that the cursor is in or at; empty between blanks."""
    start = end = max(0, min(cursor, len(text)))
    while start > 0 and not text[start - 1].isspace():
        start -= 1
    while end < len(text) and not text[end].isspace():
        end += 1
    return start, end
