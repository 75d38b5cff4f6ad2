"""The scene of a new set-up, as text: it reads without faults, and its comments say what is assumed.

1. What nobody answered is assumed, marked by a comment at its line, and told once more in the scene's notes, which go
   on the sheet. Keep-off and set-up errors are left out: then every report lists their defaults as assumed.
2. Numbers are written in the units of the file, as short as they are exact to 0.00001.
3. The first cut of an orientation is a place to start from: the tip where it was pointed at, or touching the part.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from app.jobs.new_setup.answers import MM_PER_INCH, Answers, OrientationAnswer, ToolAnswer, Units
from app.jobs.new_setup.directions import ASSUMED_TOP, bar_top, way_in
from app.jobs.new_setup.holding import BELOW, Fixture, fixture, free_name
from app.scenes.yaml_text import Plain, number_text, rendered, text_text
from kinematics.errors import TightsideError
from kinematics.pose import Vector
from kinematics.scene import KeepOff, SetupErrors

SIDE = 2.0  # mm of bar on each side of the part, where nobody says it
RETRACT = 60.0  # mm
DIGITS = 5
LONGEST_NOTE = 240  # characters
ANGLE_KEYS = ("point_deg", "taper_deg", "flank_deg")
GRIP_WASTE, PART, BAR = "grip waste", "part", "bar"


class AnswerFault(TightsideError):
    """Two answers do not fit together: the bar is smaller than the part."""


def bar_size(answers: Answers) -> Vector:
    """The bar: as answered, or the part with something on every side and what it is held by.

    Raises
    ------
    AnswerFault : the part does not fit into it.
    """
    part, top = answers.part.size, bar_top(answers)
    if answers.bar.size is None:
        step = 1.0 if answers.units == "mm" else 0.05 * MM_PER_INCH
        x, y = (_up(side + 2.0 * SIDE, step) for side in part[:2])
        return x, y, _up(part[2] + top + BELOW[answers.holding.kind], step)
    for name, bar, side in zip("XYZ", answers.bar.size, (part[0], part[1], part[2] + top), strict=True):
        if bar < side - 1e-6:
            more = f" and {_shown(top, answers)} over it" if name == "Z" and top else ""
            raise AnswerFault(
                f"the bar has {_shown(bar, answers)} {answers.units} in {name}; expected at least "
                f"{_shown(side, answers)}, since the part{more} has to fit into it"
            )
    return answers.bar.size


def scene_text(answers: Answers) -> str:
    """The whole scene. Raises AnswerFault."""
    return "\n".join(_Text(answers).lines()) + "\n"


def _up(value: float, step: float) -> float:
    return round(math.ceil(value / step - 1e-9) * step, 6)


def _shown(mm: float, answers: Answers) -> str:
    return number_text(round(mm if answers.units == "mm" else mm / MM_PER_INCH, 3))


class _Text:
    """Answers on their way to lines."""

    def __init__(self, answers: Answers) -> None:
        self.a = answers
        self.bar = bar_size(answers)
        self.fixture: Fixture = fixture(answers.holding, self.bar, answers.taken)
        self.assumed: list[str] = []

    def lines(self) -> Iterator[str]:
        body = [*self._workpiece(), *self._bodies(), *self._holders(), *self._tools(), *self._orientations()]
        yield "# A new set-up. What is assumed is marked so: measure it, write it in, and take the mark away."
        yield "format: 1"
        yield f"units: {self.a.units}"
        yield f"title: {_quoted(self.a.title)}"
        yield f"machine: {text_text(self.a.machine)}"
        yield ""
        yield from self._defaults()
        yield ""
        yield from body
        self.assumed += self.a.assumed
        if self.assumed:
            yield ""
            yield "notes:"
            yield from (f"  - {_quoted(f'assumed: {text}')}" for text in _packed(self.assumed))

    def _defaults(self) -> Iterator[str]:
        keep, errors = KeepOff(), SetupErrors()
        pairs = ("location", "body_model", "diameters", "stick_out")
        values = ", ".join(f"{key}: {self.number(getattr(errors, key))}" for key in pairs)
        yield "# Left out, so that reports list them as assumed; write in what you measured, or what you want:"
        yield f"# keep_off: {{cut: {self.number(keep.cutter)}, swing: {self.number(keep.swing)}}}"
        yield f"# setup_errors: {{{values}, tilt_deg: {errors.tilt_deg:g}}}"

    # --- the parts of the file ---

    def _workpiece(self) -> Iterator[str]:
        part, (x, y, z) = self.a.part, self.bar
        waste = round(z - bar_top(self.a) - part.size[2], 6)
        mesh: dict[str, Plain] = {"file": part.file}
        if part.units is not None:
            mesh["units"] = part.units
        mesh["from"] = "base_centre"
        if part.up != "+Z":
            mesh["up"] = part.up
        yield "workpiece:                    # part zero P: the middle of the bar's top; its axes turn with the fixture"
        yield f"  zero: {self.flow({'rides_on': self.fixture.under, 'at': [0.0, 0.0, z]})}"
        yield "  states:"
        yield f"    {BAR}:{self._bar_words()}"
        yield f"      - {self.flow({'name': free_name('stock', self.a.taken), 'box': [x, y, z], 'at': [0.0, 0.0, -z]})}"
        yield f"    {PART}:                     # cuts name it once the part is milled that far"
        if waste > 1e-6:
            name = free_name(GRIP_WASTE, self.a.taken)
            yield f"      - {self.flow({'name': name, 'box': [x, y, waste], 'at': [0.0, 0.0, -z]})}"
        place: dict[str, Plain] = {
            "name": free_name("finished part", self.a.taken),
            "mesh": mesh,
            "at": [0.0, 0.0, waste - z],
        }
        yield f"      - {self.flow(place)}"
        yield ""

    def _bar_words(self) -> str:
        said = []
        if self.a.bar.size is None:
            said.append(f"bar {' x '.join(map(self.number, self.bar))}")
        if self.a.bar.top is None:
            said.append(f"{self.number(ASSUMED_TOP)} of it over the part")
        self.assumed += said
        return f"{' ' * 22}# assumed: {', '.join(said)}" if said else ""

    def _bodies(self) -> Iterator[str]:
        fix = self.fixture
        self.assumed += [self._in_units(text) for text in fix.assumed]
        yield "bodies:                       # `at`: the middle of the base, on the top of what it rides on"
        yield f"  - name: {fix.group}"
        yield f"    rides_on: {self.a.carrier}"
        yield f"    turn: {number_text(self.a.holding.turn)}                   # degrees, the part turns with it"
        words = "; ".join(self._in_units(text) for text in fix.assumed)
        yield f"    bodies:                   # assumed: {words}" if words else "    bodies:"
        yield from (f"      - {self.flow(body)}" for body in fix.bodies)
        yield ""

    def _in_units(self, words: str) -> str:
        """Words about sizes in mm, said to be so in a file in inches."""
        return words if self.a.units == "mm" or not any(c.isdigit() for c in words) else f"{words} (mm)"

    def _holders(self) -> Iterator[str]:
        if self.a.holders:
            yield "holders:                      # names of this scene for holders of the library"
            yield from (f"  {text_text(name)}: {text_text(holder)}" for name, holder in self.a.holders)
            yield ""

    def _tools(self) -> Iterator[str]:
        yield "tools:                        # stick_out: from the tip to the nut or holder face"
        for tool in self.a.tools:
            words = f"   # assumed: {', '.join(tool.assumed)}" if tool.assumed else ""
            if tool.assumed:
                self.assumed.append(f"{tool.id}: {', '.join(tool.assumed)}")
            yield f"  - {self.flow(_tool(tool))}{words}"
        yield ""

    def _orientations(self) -> Iterator[str]:
        retract = RETRACT if self.a.retract is None else self.a.retract
        said = "   # assumed" if self.a.retract is None else ""
        yield f"retract: {self.number(retract)}{said}"
        if said:
            self.assumed.append(f"retract {self.number(retract)}")
        yield "orientations:                 # cuts in P; depth runs along the tool axis, down to the tip"
        for orientation in self.a.orientations:
            yield f"  - name: {text_text(orientation.name)}"
            yield from (f"    {text_text(name)}: {number_text(angle)}" for name, angle in orientation.angles_deg)
            yield "    cuts:"
            yield from self._cut(orientation)

    def _cut(self, o: OrientationAnswer) -> Iterator[str]:
        cut: dict[str, Plain] = {
            "name": o.cut or ("touch" if o.depth is None else "hole"),
            "tool": o.tool,
            "state": o.state or BAR,
            "hole": {"at": list(way_in(self.a, o)), "depth": o.depth or 0.0},
        }
        said = []
        if o.at is None:
            said.append("where the cut enters")
        if o.depth is None:
            said.append("the tip only touches")
        if o.state is None:
            said.append("the whole bar is there")
        words = f"   # assumed: {', '.join(said)}" if said else ""
        if said:
            self.assumed.append(f"{o.name}: {', '.join(said)}")
        yield f"      - {self.flow(cut)}{words}"

    # --- values ---

    def flow(self, value: Mapping[str, Plain]) -> str:
        """A mapping in one line, its lengths in the units of the file."""
        converted = self._converted(value, "")
        assert isinstance(converted, Mapping), "a mapping stays one"
        return rendered(converted)

    def _converted(self, value: Plain, key: str) -> Plain:
        if isinstance(value, str | bool):
            return value
        if isinstance(value, int | float):
            return float(value) if key in ANGLE_KEYS else self._length(float(value))
        if isinstance(value, Mapping):
            return {k: self._converted(v, k) for k, v in value.items()}
        return [self._converted(v, key) for v in value]

    def _length(self, mm: float) -> float:
        return round(mm if self.a.units == "mm" else mm / MM_PER_INCH, DIGITS) + 0.0

    def number(self, mm: float) -> str:
        return number_text(self._length(mm))


def tool_entry(tool: ToolAnswer, units: Units) -> Mapping[str, Plain]:
    """A tool as an entry of a scene's tools, in these units."""

    def told(key: str, value: Plain) -> Plain:
        if isinstance(value, Mapping):
            return {k: told(k, v) for k, v in value.items()}
        if isinstance(value, bool) or not isinstance(value, int | float) or key in ANGLE_KEYS:
            return value
        return round(value if units == "mm" else value / MM_PER_INCH, DIGITS) + 0.0

    return {key: told(key, value) for key, value in _tool(tool).items()}


def _tool(tool: ToolAnswer) -> Mapping[str, Plain]:
    found: dict[str, Plain] = {"id": tool.id, "kind": tool.kind}
    for key, value in tool.numbers:
        found[key] = value
        if key == "shank" and tool.neck is not None:
            found["neck"] = {"d": tool.neck[0], "to": tool.neck[1]}
    if tool.is_measured:
        found["stick_out_measured"] = True
    return {**found, "holder": tool.holder}


def _packed(texts: Sequence[str]) -> Iterator[str]:
    """Texts put together, as many as make a note that is still read."""
    note = ""
    for text in texts:
        if note and len(note) + len(text) > LONGEST_NOTE:
            yield note
            note = ""
        note = f"{note}; {text}" if note else text
    if note:
        yield note


def _quoted(text: str) -> str:
    return text_text(text, '"')
