"""A tool typed in one line: `2 end mill d6 flute 13 out 20 holder H11`.

The line is: the number (or name) of the tool, its kind, then keys with their numbers in any order; `d6` and `d 6` are
the same. Lengths are in the units of the line unless they have their own (`d1/4in`). What is wrong is told by the word
that it is about, what is missing at the end; a line without faults is a tool that the scene can hold.

    d        largest diameter of what cuts      out       stick-out from the nut or holder face
    flute    cutting length                     holder    a name of this scene or of the library, or a file
    shank    diameter of the shank              overall   overall length
    neck     `neck 9.7 to 60`                   measured  the stick-out was measured
    corner   corner radius                      point     included angle of the point
    tip      diameter of the flat at the tip    taper     degrees per side        flank   of a dovetail, from the flat
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from app.jobs.new_setup.answers import MM_PER_INCH, ToolAnswer, Units
from app.jobs.new_setup.words import (
    Candidate,
    Completion,
    Line,
    LineFault,
    Measure,
    Word,
    completion,
    near,
    split_number,
    word_round,
    words_of,
)
from app.scenes.document import nearest
from app.scenes.names import FORBIDDEN, RESERVED
from kinematics.scene import Holder, Tool
from kinematics.tool_faults import tool_faults
from kinematics.tool_kinds import ANGLES, KINDS

KEYS = {
    "d": ("d", "the largest diameter of what cuts"),
    "flute": ("flute", "the cutting length"),
    "shank": ("shank", "the diameter of the shank"),
    "neck": ("neck", "a thinner length above what cuts: neck 9.7 to 60"),
    "corner": ("corner_radius", "the corner radius"),
    "point": ("point_deg", "the included angle of the point, degrees"),
    "tip": ("tip_d", "the diameter of the flat at the tip"),
    "taper": ("taper_deg", "the taper, degrees per side"),
    "flank": ("flank_deg", "the flank of a dovetail cutter, degrees from the flat"),
    "overall": ("overall", "the overall length"),
    "out": ("stick_out", "the stick-out from the nut or holder face"),
    "holder": ("holder", "the holder, by its name"),
    "measured": ("measured", "the stick-out was measured"),
}
ALIASES = {"dia": "d", "diameter": "d", "r": "corner", "stick_out": "out", "stickout": "out", "oal": "overall"}
SHORT_KINDS = {"endmill": "end mill", "ballmill": "ball mill", "bullmill": "bull mill", "facemill": "face mill"}
POINTS_DEG = {"drill": 118.0, "step drill": 118.0, "spot drill": 90.0, "chamfer mill": 90.0}  # common, no source
SAME_SHANK = ("end mill", "ball mill", "bull mill", "drill", "step drill", "spot drill", "reamer", "chamfer mill")
LEAST_MILL_SHANK = {"mm": 6.0, "inch": 0.25 * MM_PER_INCH}  # of small mills; common practice, no source
MILLS = ("end mill", "ball mill", "bull mill")
_LONGEST_KIND = max(len(kind.split()) for kind in KINDS)


@dataclass(frozen=True, slots=True)
class ToolLine:
    """A line as it was read. `tool` is None while there are faults."""

    text: str
    words: tuple[Word, ...]
    tool: ToolAnswer | None
    faults: tuple[LineFault, ...]


def tool_line(
    text: str,
    holders: Mapping[str, Holder],
    *,
    units: Units = "mm",
    taken: Collection[str] = (),
    number: int = 1,
) -> ToolLine:
    """Read one line.

    Parameters
    ----------
    holders : that may be named.
    taken : names that other tools have.
    number : of the tool where the line does not begin with one.
    """
    read = _Reading(Line(text, units), holders)
    tool = read.tool(set(taken), number)
    faults = sorted(read.line.faults, key=lambda f: (f.start, f.end))
    return ToolLine(text, read.line.words, None if faults else tool, tuple(faults))


def tool_of(answer: ToolAnswer, holder: Holder) -> Tool:
    """A tool as the core knows it, in its holder."""
    n = answer.number
    return Tool(
        id=answer.id,
        kind=answer.kind,
        stick_out=n("stick_out") or 0.0,
        holder=holder,
        d=n("d"),
        flute=n("flute"),
        shank=n("shank"),
        neck=answer.neck,
        corner_radius=n("corner_radius"),
        point_deg=n("point_deg"),
        tip_d=n("tip_d"),
        taper_deg=n("taper_deg"),
        flank_deg=n("flank_deg"),
        overall=n("overall"),
    )


def tool_completion(text: str, cursor: int, holders: Mapping[str, Holder]) -> Completion:
    """What may stand at the cursor: kinds at first, then keys that are not there yet, holders after `holder`."""
    start, _ = word_round(text, cursor)
    before = [word.text.lower() for word in words_of(text[:start])]
    return completion(text, cursor, _offered(before, holders))


def _offered(before: list[str], holders: Mapping[str, Holder]) -> Iterator[Candidate]:
    if before and before[-1] == "holder":
        yield from (Candidate(name, holder.title) for name, holder in holders.items())
        return
    begins = {kind.split()[0] for kind in KINDS}
    of_kind = before if not before or before[0] in begins or before[0] in SHORT_KINDS else before[1:]
    kind, n_words = _kind_in(of_kind)
    for name in KINDS:
        rest = name.split()
        if len(rest) > len(of_kind) and rest[: len(of_kind)] == of_kind:
            yield Candidate(" ".join(rest[len(of_kind) :]), f"kind: {name}")
    if kind is None:
        return
    given = {_key_of(word) for word in of_kind[n_words:]}
    for key, (name, about) in KEYS.items():
        fits = name in (*KINDS[kind].needs, *KINDS[kind].may, "stick_out", "overall", "holder", "measured")
        if fits and key not in given:
            yield Candidate(key, about)


def _kind_in(words: list[str]) -> tuple[str | None, int]:
    """The kind that the words begin with, the longest that fits, and of how many words it is."""
    if words and words[0] in SHORT_KINDS:
        return SHORT_KINDS[words[0]], 1
    for n in range(min(_LONGEST_KIND, len(words)), 0, -1):
        if (name := " ".join(words[:n])) in KINDS:
            return name, n
    return None, 0


def _key_of(word: str) -> str | None:
    """The key that a word is or begins with."""
    lowered = word.lower()
    if (stuck := split_number(lowered, (*KEYS, *ALIASES))) is not None:
        lowered = stuck[0]
    lowered = ALIASES.get(lowered, lowered)
    return lowered if lowered in KEYS else None


class _Reading:
    """One line on its way to a tool."""

    def __init__(self, line: Line, holders: Mapping[str, Holder]) -> None:
        self.line = line
        self.holders = holders
        self.numbers: dict[str, float] = {}
        self.neck: tuple[float, float] | None = None
        self.holder: str | None = None
        self.is_measured = False
        self.spans: dict[str, Word] = {}  # the word that a key of the scene came from
        self.assumed: list[str] = []

    def tool(self, taken: set[str], number: int) -> ToolAnswer | None:
        line = self.line
        if line.n_left() == 0:
            line.tell_end("is empty; expected a tool, as 2 end mill d6 flute 13 out 20 holder H11")
            return None
        name = self._name(taken, number)
        kind = self._kind()
        while line.n_left():
            self._key()
        if kind is None:
            return None
        self._missing(kind)
        if line.faults:
            return None
        assert self.holder is not None, "a missing holder is a fault"
        numbers = tuple((key, self.numbers[key]) for key in _ORDER if key in self.numbers)
        answer = ToolAnswer(
            name, kind, numbers, self.holder, self.neck, self.is_measured, tuple(self.assumed), line.text.strip()
        )
        self._fit(answer)
        return answer

    def _name(self, taken: set[str], number: int) -> str:
        line, words = self.line, [w.text.lower() for w in self.line.words]
        default = f"T{number}"
        while default in taken:
            number += 1
            default = f"T{number}"
        if _kind_in(words)[0] is not None or (_kind_in(words[1:])[0] is None and not words[0].lstrip("t").isdigit()):
            return default
        word = line.take()
        name = f"T{word.text}" if word.text.isdigit() else word.text
        name = name.upper() if name[:1] == "t" and name[1:].isdigit() else name
        if bad := sorted({c for c in name if c in FORBIDDEN or not c.isprintable()}):
            line.tell(word, f"the name '{name}' has {' '.join(bad)} in it; expected a name as 2, T2 or T2b")
        elif name in RESERVED:
            line.tell(word, f"the name '{name}' is reserved; expected a name as 2, T2 or T2b")
        elif name in taken:
            line.tell(word, f"{name} is taken by another tool; expected another number")
        return name

    def _kind(self) -> str | None:
        line = self.line
        rest = [w.text.lower() for w in line.words[line.at :]]
        kind, n_words = _kind_in(rest)
        if kind is not None:
            self.spans["kind"] = line.words[line.at]
            line.at += n_words
            return kind
        first = line.at
        while line.word is not None and _key_of(line.word.text) is None:
            line.take()
        if line.at == first:
            line.faults.append(LineFault(*self._here(), f"the kind is missing; expected one of {', '.join(KINDS)}"))
        else:
            said = " ".join(rest[: line.at - first])
            hint = near(said, KINDS) or f"; expected one of {', '.join(KINDS)}"
            line.tell_span(line.words[first], line.words[line.at - 1], f"no kind '{said}'{hint}")
        return None

    def _here(self) -> tuple[int, int]:
        word = self.line.word
        at = word.start if word is not None else len(self.line.text.rstrip())
        return at, at

    def _key(self) -> None:
        line = self.line
        word = line.take()
        key = _key_of(word.text)
        if key is None:
            line.tell(word, f"'{word.text}' is no key of a tool{near(word.text, (*KEYS, *ALIASES))}")
            if (meant := nearest(word.text.rstrip("0123456789.,"), KEYS)) is not None:
                self.spans.setdefault(KEYS[meant][0], word)  # so it is not missing too
            while line.word is not None and _key_of(line.word.text) is None:
                line.take()  # what stands after a word that nobody knows belongs to it
            return
        name = KEYS[key][0]
        if name in self.spans:
            line.tell(word, f"{key} stands twice; expected it once")
        self.spans[name] = word
        if key == "measured":
            self.is_measured = True
        elif key == "holder":
            self._take_holder(word)
        elif key == "neck":
            self._take_neck(word)
        else:
            value = self._value(word, key, name)
            if value is not None:
                self.numbers[name] = value

    def _value(self, word: Word, key: str, name: str) -> float | None:
        measure: Measure = "angle" if name in ANGLES else "length"
        stuck = split_number(word.text, (*KEYS, *ALIASES))
        if stuck is not None:
            return self.line.number_in(word, stuck[1], key, measure)
        following = self.line.word
        if following is None or _key_of(following.text) is not None:
            self.line.tell(word, f"{key} has no number; expected one after it, as {key} {_EXAMPLES.get(key, '6')}")
            return None
        self.spans[name] = following
        return self.line.length(key) if measure == "length" else self.line.angle(key)

    def _take_holder(self, word: Word) -> None:
        line = self.line
        if line.word is None:
            known = ", ".join(list(self.holders)[:4])
            line.tell(word, f"holder has no name; expected one of {known}{', ...' if len(self.holders) > 4 else ''}")
            return
        named = line.take()
        self.spans["holder"] = named
        if named.text in self.holders:
            self.holder = named.text
            return
        line.tell(named, f"no holder '{named.text}' in this set-up or in the library{near(named.text, self.holders)}")

    def _take_neck(self, word: Word) -> None:
        d = self._value(word, "neck", "neck")
        to = self.line.word
        if d is None:
            return
        if to is None or to.text.lower() != "to":
            self.line.tell(word, "neck says no height; expected its diameter and up to where, as neck 9.7 to 60")
            return
        self.line.take()
        height = self.line.length("the height of the neck")
        if height is not None:
            self.neck = (d, height)

    def _missing(self, kind: str) -> None:
        """What the kind needs and nobody said: assumed where the trade has a usual value, else told."""
        line, d = self.line, self.numbers.get("d")
        if "shank" in KINDS[kind].needs and "shank" not in self.spans and kind in SAME_SHANK and d is not None:
            shank = max(d, LEAST_MILL_SHANK[line.units]) if kind in MILLS else d
            self.numbers["shank"] = shank
            shown = shank if line.units == "mm" else shank / MM_PER_INCH
            self.assumed.append(f"shank {shown:g}")
        if "point_deg" in KINDS[kind].needs and "point_deg" not in self.spans and kind in POINTS_DEG:
            self.numbers["point_deg"] = POINTS_DEG[kind]
            self.assumed.append(f"point {POINTS_DEG[kind]:g} degrees")
        by_name = {name: key for key, (name, _) in KEYS.items()}
        for name in (*KINDS[kind].needs, "stick_out", "holder"):
            follows = name == "shank" and "d" in self.spans and d is None  # assumed once d can be read
            if name not in self.spans and name not in self.numbers and not follows:
                key = by_name[name]
                line.tell_end(f"{key} is missing ({KEYS[key][1]}); expected {key} {_EXAMPLES.get(key, '6')}")

    def _fit(self, answer: ToolAnswer) -> None:
        """Whether the numbers fit together, and into the holder; told by the word that each is about."""
        holder = self.holders[answer.holder]
        tool = tool_of(answer, holder)
        for error in tool_faults(tool):
            self._tell_by(error.key, error.message)
        shank = answer.number("shank")
        if shank is not None and holder.shanks is not None and not holder.shanks[0] <= shank <= holder.shanks[1]:
            low, high = holder.shanks
            said = f"{answer.holder} grips shanks of {low:g} to {high:g} mm, the shank has {shank:g}"
            self._tell_by(("holder",), f"{said}; expected another holder, or the true shank")

    def _tell_by(self, key: tuple[str, ...], message: str) -> None:
        word = self.spans.get(key[0]) if key else None
        if word is None:
            self.line.tell_end(message)
        else:
            self.line.tell(word, message)


_ORDER = (
    "d",
    "flute",
    "shank",
    "corner_radius",
    "point_deg",
    "tip_d",
    "taper_deg",
    "flank_deg",
    "overall",
    "stick_out",
)
_EXAMPLES = {"d": "6", "flute": "13", "out": "20", "holder": "NAME", "point": "118", "corner": "0.5", "flank": "60"}
