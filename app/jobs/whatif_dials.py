"""Dials: what can be turned, and which numbers and words of the file change with it.

1. Every dial is a set of edits of the scene file by path, so that what is told of a value is what a check of the
   edited file says; only the order of the orientations is no number of the file.
2. Values are in the units of the file, as `tightside edit` would set them.
3. Dials are plain values: they are resolved against a `Bench`, which holds the scene.
4. What this file does not know: clearances, verdicts, what a dial was asked by.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from app.scenes.catalogues import Catalogues
from app.scenes.document import Document, nearest
from app.scenes.edits import edited
from app.scenes.live import LiveScene, Number
from app.scenes.reader import SceneFile
from kinematics.answers.changed_scenes import group_under, grown_to_seat, turned_under
from kinematics.answers.re_aimed import re_aimed
from kinematics.errors import TightsideError
from kinematics.placement import PlacedScene, place_scene
from kinematics.scene import Body, Cut, Hole, Orientation, Placement, Pocket, Profile, Scene, Slot, Workpiece
from kinematics.shapes import Box, Revolve

MM_PER_INCH = 25.4
AS_IT_IS = "as it is"
DIGITS = 9  # numbers that are worked out are written to so many decimals
Value = float | str
Numbers = dict[str, float]
Words = tuple[tuple[str, str | tuple[float, ...]], ...]
_POINTS = {"at": (0.0, 0.0, 0.0), "axis": (0.0, 0.0, 1.0)}  # what counts where the file gives none


class DialFault(TightsideError):
    """A dial that can't be turned as it was asked; the message says why, and what is nearest."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One value of a dial: words, then numbers, to be set by path, or an order of the orientations."""

    numbers: Mapping[str, float] = field(default_factory=dict)
    words: Words = ()
    order: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Dial(ABC):
    """What can be turned, as it stands in one scene.

    Parameters
    ----------
    name : what it is called in reports.
    unit : of its values: mm, inch or deg; empty for words and plain numbers.
    now : its value in the scene; None where that is not one number or word.
    why_no_ranges : None where ranges can be told: everything then moves along a line or a circle as it is turned.
    """

    name: str
    unit: str
    now: Value | None
    why_no_ranges: str | None

    @abstractmethod
    def setting(self, bench: Bench, value: Value, /) -> Setting:
        """What to set for a value; raises DialFault."""


class Bench:
    """A scene to turn dials of. Raises SceneFileError where it is at fault."""

    def __init__(self, live: LiveScene, catalogues: Catalogues | None = None) -> None:
        self.live, self.catalogues = live, catalogues or Catalogues()
        self.scene_file: SceneFile = live.with_values({})
        self.scene: Scene = self.scene_file.scene
        self.numbers: dict[str, Number] = {number.path: number for number in live.numbers()}
        self._with_words: dict[Words, LiveScene] = {}

    @cached_property
    def document(self) -> Document:
        """The scene file as text and tree."""
        return Document(str(self.live.path), self.live.text, "scene")

    @property
    def length_unit(self) -> str:
        """Of the file: mm or inch."""
        return self.scene_file.units

    @property
    def per_mm(self) -> float:
        """Units of length of the file in a millimetre."""
        return 1.0 / MM_PER_INCH if self.length_unit == "inch" else 1.0

    @cached_property
    def placed(self) -> PlacedScene:
        """The scene as it is, placed."""
        return place_scene(self.scene)

    def file_with(self, setting: Setting) -> SceneFile:
        """The scene at a setting. Raises EditError, SceneFileError."""
        live = self.live
        if words := (*setting.words, *self.points_for(setting.numbers)):
            if words not in self._with_words:
                self._with_words[words] = LiveScene(edited(live.text, words), live.path, catalogues=self.catalogues)
            live = self._with_words[words]
        found = live.with_values(setting.numbers)
        if not setting.order:
            return found
        by_name = {o.name: o for o in found.scene.orientations}
        return replace(found, scene=replace(found.scene, orientations=tuple(by_name[n] for n in setting.order)))

    def points_for(self, paths: Iterable[str]) -> Words:
        """The points that the file does not give and that numbers are entries of."""
        owners = dict.fromkeys(path[:-2] for path in paths if path[-2:] in ("/x", "/y", "/z"))
        missing = [owner for owner in owners if f"{owner}/z" not in self.numbers and self.document.find(owner) is None]
        return tuple((owner, _POINTS[key]) for owner in missing if (key := owner.rpartition("/")[2]) in _POINTS)


def as_number(dial: Dial, value: Value) -> float:
    """A value as a number; raises DialFault."""
    if isinstance(value, str) or not math.isfinite(value):
        raise DialFault(f"{dial.name}: '{value}' is not a number; expected one")
    return value


def hint(name: str, known: Iterable[str], what: str) -> str:
    """The nearest of the known names, or all of them."""
    names = tuple(known)
    near = nearest(name, names)
    return f"nearest: {near}" if near else f"{what} of this scene: {', '.join(names) or 'none'}"


# ---- any number ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NumberDial(Dial):
    """A number of the scene by its path, which is its name."""

    def setting(self, _bench: Bench, value: Value, /) -> Setting:
        return Setting({self.name: as_number(self, value)})


def number_dial(bench: Bench, path: str) -> NumberDial:
    """The dial of a number that the file gives, or that the format knows there. Raises DialFault."""
    given = bench.numbers.get(path)
    number = given or _put_in(bench, path)
    if number is None:
        near = nearest(path, bench.numbers)
        more = f"nearest: {near}" if near else "expected the path of a number, as riser/h or T4/stick_out"
        raise DialFault(f"no number is called '{path}'; {more}")
    why = None if moves_evenly(bench.scene, path) else "how things move as this number changes is not known"
    return NumberDial(path, number.unit, given.value if given else None, why)


def _put_in(bench: Bench, path: str) -> Number | None:
    """The number at a path where the file gives none, if the format knows one there."""
    try:
        text = edited(bench.live.text, [*bench.points_for([path]), (path, 0.0)])
        completed = LiveScene(text, bench.live.path, catalogues=bench.catalogues)
    except TightsideError:
        return None
    return next((number for number in completed.numbers() if number.path == path), None)


def moves_evenly(scene: Scene, path: str) -> bool:
    """Whether everything moves along a line or a circle, at one speed, as the number at a path changes."""
    owner, *rest = path.split("/")
    keys = tuple(rest)
    if owner in ("setup_errors", "keep_off") or path in ("retract", "swings/lift/gauge_z"):
        return True
    if owner in {w.name or "workpiece" for w in scene.workpieces}:
        return keys[:2] in (("zero", "at"), ("zero", "turn"))
    if owner in {tool.id for tool in scene.tools}:
        return keys == ("stick_out",)
    for orientation in scene.orientations:
        if orientation.name == owner:
            return _turns_orientation(orientation, keys)
    states = (state.bodies for w in scene.workpieces for state in w.states)
    for bodies in (scene.bodies, scene.machine.bodies, *states):
        for body in bodies:
            if body.name == owner:
                return _moves_body(body, keys)
    return False


def _turns_orientation(orientation: Orientation, keys: tuple[str, ...]) -> bool:
    if len(keys) == 1:
        return keys[0] in dict(orientation.angles_deg)
    for cut in orientation.cuts:
        if keys[0] == cut.name:
            depth = keys[1:] == ("depth",) and isinstance(cut.feature, Hole | Slot | Profile)
            return depth or keys[1] in ("at", "from", "to", "retract") or keys[1:3] == ("leave", "to")
    return False


def _moves_body(body: Body, keys: tuple[str, ...]) -> bool:
    if keys[:1] in (("at",), ("turn",), ("errors",)):
        return True
    if isinstance(body.shape, Box):
        return keys in (("1",), ("2",), ("3",))
    return isinstance(body.shape, Revolve) and (keys in (("d",), ("h",), ("d1",), ("d2",)) or keys[0].isdecimal())


# ---- the fixture under the part --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FixtureTurn(Dial):
    """A group turned about its own Z, parts kept where they are; values are degrees from where it stands now."""

    group: str

    def setting(self, bench: Bench, value: Value, /) -> Setting:
        group = _groups(bench.scene)[self.group]
        turn, zeros = turned_under(bench.scene, group, as_number(self, value))
        found = {f"{self.group}/turn": turn}
        for workpiece, zero in zeros:
            found |= _zero_numbers(bench, workpiece, zero)
        return Setting(found)


def fixture_turn(bench: Bench, group: str | None = None) -> FixtureTurn:
    """The dial of a group, or of the outermost one that a part stands on. Raises DialFault."""
    groups = _groups(bench.scene)
    if group is not None:
        if group not in groups:
            raise DialFault(f"no group '{group}' in this scene; {hint(group, groups, 'groups')}")
        return _fixture_turn(group)
    for workpiece in bench.scene.workpieces:
        if (found := group_under(bench.scene, workpiece)) is not None:
            return _fixture_turn(found.name)
    raise DialFault(f"the part stands on no group; expected NAME=VALUES; groups: {', '.join(groups) or 'none'}")


def _fixture_turn(group: str) -> FixtureTurn:
    return FixtureTurn(f"turn of {group}", "deg", 0.0, None, group)


def _groups(scene: Scene) -> dict[str, Body]:
    return {b.name: b for b in scene.bodies if b.shape is None}


def _zero_path(workpiece: Workpiece) -> str:
    return f"{workpiece.name or 'workpiece'}/zero"


def _zero_numbers(bench: Bench, workpiece: Workpiece, zero: Placement) -> Numbers:
    """The numbers of a zero that change."""
    path, old = _zero_path(workpiece), workpiece.zero
    found: Numbers = {}
    if zero.turn_deg != old.turn_deg:
        found[f"{path}/turn"] = zero.turn_deg
    for key, before, after, unit in (("at", old.at, zero.at, bench.per_mm), ("axis", old.axis, zero.axis, 1.0)):
        if after != before:
            found |= {f"{path}/{key}/{c}": v * unit for c, v in zip("xyz", after, strict=True)}
    return found


# ---- the part in the fixture -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PartRaise(Dial):
    """Parts higher over what they stand on, what stands on the seat grown down to it; added to what is."""

    parts: tuple[str, ...]

    def setting(self, bench: Bench, value: Value, /) -> Setting:
        by = as_number(self, value)
        found: Numbers = {}
        for part in (_parts(bench.scene)[name] for name in self.parts):
            found[f"{_zero_path(part)}/at/z"] = part.zero.at[2] * bench.per_mm + by
            for grown in grown_to_seat(part, by / bench.per_mm):
                height = next(p for key in ("3", "h", "1/2") if (p := f"{grown.body}/{key}") in bench.numbers)
                found[height] = grown.height * bench.per_mm
                found[f"{grown.body}/at/z"] = grown.base * bench.per_mm
        return Setting({path: round(number, DIGITS) for path, number in found.items()})


@dataclass(frozen=True, slots=True)
class PartShift(Dial):
    """Parts shifted along x, y or z of what they stand on; added to what is."""

    axis: str
    parts: tuple[str, ...]

    def setting(self, bench: Bench, value: Value, /) -> Setting:
        by, k = as_number(self, value), "xyz".index(self.axis)
        parts = (_parts(bench.scene)[name] for name in self.parts)
        at = {f"{_zero_path(part)}/at/{self.axis}": part.zero.at[k] * bench.per_mm + by for part in parts}
        return Setting({path: round(number, DIGITS) for path, number in at.items()})


def part_raise(bench: Bench, part: str | None = None) -> PartRaise:
    """The dial that raises one part, or all of them together. Raises DialFault."""
    parts = _named_parts(bench, part)
    name = "part raised" if len(parts) == 1 else f"raised: {', '.join(parts)}"
    return PartRaise(name, bench.length_unit, 0.0, None, parts)


def part_shift(bench: Bench, axis: str, part: str | None = None) -> PartShift:
    """The dial that shifts one part, or all of them together. Raises DialFault."""
    if axis not in ("x", "y", "z"):
        raise DialFault(f"no direction '{axis}'; expected x, y or z")
    parts = _named_parts(bench, part)
    name = f"part shifted {axis}" if len(parts) == 1 else f"shifted {axis}: {', '.join(parts)}"
    return PartShift(name, bench.length_unit, 0.0, None, axis, parts)


def _parts(scene: Scene) -> dict[str, Workpiece]:
    return {w.name or "workpiece": w for w in scene.workpieces}


def _named_parts(bench: Bench, part: str | None) -> tuple[str, ...]:
    known = _parts(bench.scene)
    if part is None:
        return tuple(known)
    if part not in known:
        raise DialFault(f"no workpiece '{part}' in this scene; {hint(part, known, 'workpieces')}")
    return (part,)


# ---- how the tool is aimed -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ReAim(Dial):
    """An angle of one orientation, with part, fixture and tip kept and the tool re-aimed."""

    orientation: str
    axis: str

    def setting(self, bench: Bench, value: Value, /) -> Setting:
        old = next(o for o in bench.scene.orientations if o.name == self.orientation)
        new = re_aimed(bench.scene, bench.placed, old, {self.axis: as_number(self, value)})
        return Setting(_aimed_numbers(bench, old, new))


def re_aim(bench: Bench, path: str) -> ReAim:
    """The dial of an angle, as V6/tilt. Raises DialFault."""
    known = {f"{o.name}/{axis}": (o.name, axis, now) for o in bench.scene.orientations for axis, now in o.angles_deg}
    if path not in known:
        raise DialFault(f"no angle '{path}'; {hint(path, known, 'angles')}")
    orientation, axis, now = known[path]
    return ReAim(f"{path}, re-aimed", "deg", now, None, orientation, axis)


def _aimed_numbers(bench: Bench, old: Orientation, new: Orientation) -> Numbers:
    """The numbers of an orientation that change when it is aimed anew."""
    before = dict(old.angles_deg)
    found = {f"{old.name}/{axis}": angle for axis, angle in new.angles_deg if angle != before[axis]}
    for was, cut in zip(old.cuts, new.cuts, strict=True):
        for key, p, q in _entries(was, cut):
            path = f"{old.name}/{cut.name}/{key}"
            found |= {f"{path}/{c}": b * bench.per_mm for c, a, b in zip("xyz", p, q, strict=True) if a != b}
    return found


def _entries(old: Cut, new: Cut) -> tuple[tuple[str, tuple[float, ...], tuple[float, ...]], ...]:
    """The points of a feature that re-aiming moves, by their keys."""
    match old.feature, new.feature:
        case (Slot() as a, Slot() as b):
            return ("from", a.start, b.start), ("to", a.end, b.end)
        case (Hole() | Pocket() | Profile() as a, Hole() | Pocket() | Profile() as b):
            return (("at", a.at, b.at),)
    return ()
