"""What `tightside whatif` was asked, from its arguments to dials and their values.

A range of values is FROM:TO:STEP or FROM:TO (eight steps), a list is A,B,C; a name in front of `=` says of what.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator

from app.jobs.stickout import NameFault, cut_called
from app.jobs.whatif import Asked, cuts_of_tool
from app.jobs.whatif_choices import (
    holder_dial,
    known_holders,
    order_dial,
    other_solution,
    screw_swap,
    word_at,
    word_dial,
)
from app.jobs.whatif_dials import (
    AS_IT_IS,
    Bench,
    Dial,
    DialFault,
    Value,
    fixture_turn,
    hint,
    number_dial,
    part_raise,
    part_shift,
    re_aim,
)
from app.scenes.faults import SceneFileError
from kinematics.answers.worst_room import CutName
from kinematics.errors import TightsideError

MOST_VALUES = 2000  # of one dial
STEPS = 8  # of a range without a step
DIGITS = 9


def asked_of(bench: Bench, arguments: argparse.Namespace) -> tuple[Asked, ...]:
    """The dials that were asked for, each with its values. Raises DialFault."""
    found = [one for option in _READERS for one in _told(option, bench, getattr(arguments, option))]
    if arguments.screws:
        found += _screws(bench, arguments.screws)
    if arguments.other_solution is not None:
        found.append(_other_solution(bench, arguments.other_solution))
    if arguments.order:
        found.append(_orders(bench, arguments.order))
    if not found:
        raise DialFault("nothing to turn; expected a dial, as --vary riser/h=10:80:10 (see tightside whatif --help)")
    return tuple(found)


def cuts_asked(bench: Bench, arguments: argparse.Namespace) -> frozenset[CutName] | None:
    """The cuts that count; None: all. Raises DialFault."""
    if not arguments.cut and not arguments.tool:
        return None
    found: set[CutName] = set()
    try:
        found.update(cut_called(bench.scene, name) for name in arguments.cut)
    except NameFault as fault:
        raise DialFault(f"--cut: {fault.message}") from fault
    for tool in arguments.tool:
        cuts = cuts_of_tool(bench.scene, tool)
        if not cuts:
            known = {cut.tool for _, cut in bench.scene.cuts()}
            raise DialFault(f"--tool: no tool '{tool}' makes a cut in this scene; {hint(tool, sorted(known), 'tools')}")
        found |= cuts
    return frozenset(found)


# ---- values ----------------------------------------------------------------------------------------


def named(asked: str) -> tuple[str | None, str]:
    """A name, if one is given, and the values: NAME=10:80:10 or 10:80:10."""
    name, equals, span = asked.rpartition("=")
    if equals and (not name.strip() or not span.strip()):
        raise DialFault(f"'{asked}' is not whole; expected NAME=VALUES, as riser/h=10:80:10")
    return (name.strip(), span) if equals else (None, span)


def values_of(span: str) -> tuple[float, ...]:
    """The values of FROM:TO:STEP, FROM:TO, or of a list A,B,C. Raises DialFault."""
    if ":" not in span:
        values = tuple(dict.fromkeys(_number(part) for part in span.split(",")))
        _check_count(len(values))
        return values
    parts = [_number(part) for part in span.split(":")]
    if len(parts) not in (2, 3):
        raise DialFault(f"'{span}' is no range; expected FROM:TO:STEP, as 10:80:10")
    start, end = parts[:2]
    if start == end:
        raise DialFault(f"the range '{span}' is empty; expected two ends, or one value: {parts[0]:g}")
    step = parts[2] if len(parts) == 3 else (end - start) / STEPS
    if step == 0.0 or (end - start) * step < 0.0:
        near = f"{start:g}:{end:g}:{-step if step else (end - start) / STEPS:g}"
        raise DialFault(f"the range '{span}' is empty: its step does not lead to its end; nearest: {near}")
    n = math.floor((end - start) / step + 1e-9)
    _check_count(n + 1)
    return tuple(round(start + k * step, DIGITS) + 0.0 for k in range(n + 1))


def _check_count(n: int) -> None:
    if n > MOST_VALUES:
        raise DialFault(f"{n} values; expected at most {MOST_VALUES}")


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise DialFault(f"'{text.strip()}' is not a number; expected FROM:TO:STEP or A,B,C, as 10:80:10")
    return value


# ---- one option each -------------------------------------------------------------------------------


def _told(option: str, bench: Bench, asked: list[str]) -> Iterator[Asked]:
    """What one option asks for; a fault names it."""
    for text in asked:
        try:
            yield _READERS[option](bench, text)
        except DialFault as fault:
            raise DialFault(f"--{option.replace('_', '-')} {text}: {fault.message}") from fault


def _vary(bench: Bench, text: str) -> Asked:
    path, span = named(text)
    if path is None:
        raise DialFault("expected PATH=VALUES, as riser/h=10:80:10")
    dial: Dial
    if path not in bench.numbers and word_at(bench, path) is not None:
        dial = word_dial(bench, path)
        words = tuple(dict.fromkeys(word.strip() for word in span.split(",")))
        for word in words:
            _check_word(bench, dial, word)
        return Asked(dial, words)
    try:
        dial = number_dial(bench, path)
    except DialFault:
        dial = word_dial(bench, path)  # which knows the words too that may have been meant
    return Asked(dial, values_of(span))


def _check_word(bench: Bench, dial: Dial, word: str) -> None:
    """Raise DialFault for a word that the scene does not know there: it is misspelt, no value to look at."""
    try:
        bench.file_with(dial.setting(bench, word))
    except SceneFileError as error:
        if any(fault.path == dial.name for fault in error.faults):
            raise DialFault(next(f.message for f in error.faults if f.path == dial.name)) from error
    except TightsideError as error:
        raise DialFault(error.message) from error


def _turn_fixture(bench: Bench, text: str) -> Asked:
    name, span = named(text)
    return Asked(fixture_turn(bench, name), values_of(span))


def _raise_part(bench: Bench, text: str) -> Asked:
    name, span = named(text)
    return Asked(part_raise(bench, name), values_of(span))


def _shift_part(bench: Bench, text: str) -> Asked:
    name, span = named(text)
    if name is None:
        raise DialFault("expected x, y or z and values, as x=-2:2:0.5")
    part, _, axis = name.rpartition("/")
    return Asked(part_shift(bench, axis, part or None), values_of(span))


def _re_aim(bench: Bench, text: str) -> Asked:
    path, span = named(text)
    if path is None:
        raise DialFault("expected an angle and values, as V6/tilt=75:115:5")
    return Asked(re_aim(bench, path), values_of(span))


def _holder(bench: Bench, text: str) -> Asked:
    tool, equals, names = text.partition("=")
    dial = holder_dial(bench, tool.strip())
    return Asked(dial, known_holders(bench, [n.strip() for n in names.split(",")] if equals else []))


_READERS = {
    "vary": _vary,
    "turn_fixture": _turn_fixture,
    "raise_part": _raise_part,
    "shift_part": _shift_part,
    "re_aim": _re_aim,
    "holder": _holder,
}


def _screws(bench: Bench, asked: list[str]) -> list[Asked]:
    """One dial for each set of screws; its values are tested, since a scene can't say what was meant."""
    by_set: dict[Dial, list[Value]] = {}
    for text in asked:
        try:
            names, kind = named(text)
            dial = screw_swap(bench, [] if names is None else [n.strip() for n in names.split(",")])
            dial.setting(bench, kind.strip())
        except DialFault as fault:
            raise DialFault(f"--screws {text}: {fault.message}") from fault
        by_set.setdefault(dial, [AS_IT_IS]).append(kind.strip())
    return [Asked(dial, tuple(dict.fromkeys(values))) for dial, values in by_set.items()]


def _other_solution(bench: Bench, names: str) -> Asked:
    try:
        dial = other_solution(bench, [n.strip() for n in names.split(",") if n.strip()])
    except DialFault as fault:
        raise DialFault(f"--other-solution: {fault.message}") from fault
    return Asked(dial, tuple(dial.solutions(bench)))


def _orders(bench: Bench, asked: list[str]) -> Asked:
    dial = order_dial()
    for order in asked:
        try:
            dial.setting(bench, order)
        except DialFault as fault:
            raise DialFault(f"--order {order}: {fault.message}") from fault
    return Asked(dial, (AS_IT_IS, *dict.fromkeys(asked)))
