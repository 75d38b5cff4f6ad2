"""Machines of one's own: which way an axis turns, worked out by hand, and files with only the asked numbers changed."""

from __future__ import annotations

import difflib
import math
from pathlib import Path

import pytest

from app.jobs.new_setup.own_machine import (
    AGAINST,
    AWAY,
    LEFT,
    RIGHT,
    TO_YOU,
    WITH,
    dimensions,
    free_machine_file,
    machine_text,
    own_machine,
    sign_questions,
    sign_remedies,
)
from app.scenes.catalogue_machines import machine_called
from app.scenes.catalogues import Catalogues
from app.scenes.edits import EditError, value_at
from kinematics.machine import Machine

CATALOGUES = Catalogues()
TEXT_9 = (
    "Key in A +30: does the part lean to you, or away from you? Stand at the machine and look; "
    "don't take it from memory."
)


def machine(name: str, folder: Path = Path()) -> Machine:
    return machine_called(name, folder, CATALOGUES)


def leant(axis: tuple[float, float, float], degrees: float) -> tuple[float, float, float]:
    """Where +Z goes when it is turned about an axis; the rotation formula of Rodrigues, from memory."""
    x, y, z = axis
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    cross = (y, -x, 0.0)  # axis x (0, 0, 1)
    return tuple(
        a * s + v * z * (1 - c) + (c if i == 2 else 0.0) for i, (a, v) in enumerate(zip(cross, axis, strict=True))
    )


@pytest.mark.parametrize(
    ("name", "axis", "direction", "sign", "seen"),
    [
        # the operator stands at -Y: a lean to -Y is to you, to -X is left; the sign is read from the machine's file
        ("compact_ac", "tilt", (1.0, 0.0, 0.0), 1, TO_YOU),
        ("single_rotary", "rotary", (1.0, 0.0, 0.0), -1, AWAY),
        ("compact_bc", "tilt", (0.0, 1.0, 0.0), -1, LEFT),
        ("inclined_bc", "swivel", (0.0, -math.sqrt(0.5), math.sqrt(0.5)), -1, RIGHT),
    ],
)
def test_that_a_lean_is_told_as_the_right_hand_rule_gives_it(name, axis, direction, sign, seen) -> None:
    x, y, _ = leant(direction, 30.0 * sign)
    by_hand = (TO_YOU if y < 0 else AWAY) if abs(y) >= abs(x) else LEFT if x < 0 else RIGHT
    assert by_hand == seen
    question = next(q for q in sign_questions(machine(name)) if q.axis == axis)
    assert question.says == seen
    assert seen in question.choices


@pytest.mark.parametrize(("name", "seen"), [("compact_ac", AGAINST), ("compact_bc", WITH)])
def test_that_a_rotary_counts_against_the_clock_by_the_right_hand(name, seen) -> None:
    question = next(q for q in sign_questions(machine(name)) if q.axis == "rotary")
    assert question.says == seen  # +Z points up: seen from above the right hand turns against the clock
    assert question.words.startswith("Key in C +30: which way does the part turn, seen from above?")


def test_that_the_question_is_the_designs_word_for_word() -> None:
    assert sign_questions(machine("compact_ac"))[0].words == TEXT_9


def test_that_a_vise_station_has_nothing_to_ask() -> None:
    assert sign_questions(machine("vise_station")) == ()


def on_the_control(found: Machine, axis: str) -> list[float]:
    """The limits of an axis as the control shows them."""
    sign = dict(found.control.signs)[axis]
    return sorted(sign * limit for limit in found.axis(axis).limits)


@pytest.mark.parametrize("n", [0, 1])
def test_that_a_remedy_turns_what_is_seen_and_keeps_what_it_says(n, tmp_path) -> None:
    before = machine("compact_ac")
    remedy = sign_remedies(before, "tilt")[n]
    text = own_machine(machine_text("compact_ac", tmp_path, CATALOGUES), dict(remedy.values), "mine")
    (tmp_path / "mine.machine.yaml").write_text(text, encoding="utf-8")
    after = machine("mine.machine.yaml", tmp_path)
    assert sign_questions(before)[0].says == TO_YOU
    assert sign_questions(after)[0].says == AWAY
    low, high = on_the_control(after, "tilt")
    assert f"A goes from {low:g} to {high:g} on my control" in remedy.words
    if n == 0:  # the table itself is the same
        assert after.axis("tilt").limits == before.axis("tilt").limits == (-15.0, 115.0)
    else:  # the control shows the same, and the table leans the other way as far
        assert on_the_control(after, "tilt") == on_the_control(before, "tilt") == [-15.0, 115.0]
        assert after.axis("tilt").limits == (-115.0, 15.0)


def test_that_only_the_asked_numbers_change(tmp_path) -> None:
    text = machine_text("compact_ac", tmp_path, CATALOGUES)
    made = own_machine(text, {"tilt/origin/z": 113.5, "linear_axes/x/limits/1": -210.0}, "My machine")
    changed = [line for line in difflib.ndiff(text.splitlines(), made.splitlines()) if line[0] in "+-"]
    assert len(changed) == 8  # title, sources and two lines, before and after
    assert value_at(made, "tilt/origin/z", kind="machine") == 113.5
    assert value_at(made, "title", kind="machine") == "My machine"


def test_that_numbers_go_into_a_file_in_inches_as_inches() -> None:
    text = 'format: 1\nunits: inch\ntitle: "a"\nlinear_axes:\n  x: {limits: [-8, 8], moves: head}\n'
    made = own_machine(text, {"linear_axes/x/limits/2": 254.0}, "b")
    assert value_at(made, "linear_axes/x/limits/2", kind="machine") == 10.0


def test_that_a_number_of_nothing_is_refused(tmp_path) -> None:
    with pytest.raises(EditError, match="nothing is called 'tlt/origin/z'"):
        own_machine(machine_text("compact_ac", tmp_path, CATALOGUES), {"tlt/origin/z": 1.0}, "x")


@pytest.mark.parametrize("name", CATALOGUES.names("machine"))
def test_that_every_dimension_is_a_number_of_the_file(name, tmp_path) -> None:
    text = machine_text(name, tmp_path, CATALOGUES)
    for one in dimensions(machine(name)):
        assert value_at(text, one.path, kind="machine") == pytest.approx(one.value), one.path
        assert one.find
    marks = [one.mark for one in dimensions(machine(name))]
    assert len(set(marks)) == len(marks)


def test_that_a_taken_name_is_not_written_over(tmp_path) -> None:
    assert free_machine_file(tmp_path, "mine").name == "mine.machine.yaml"
    (tmp_path / "mine.machine.yaml").touch()
    assert free_machine_file(tmp_path, "mine").name == "mine_2.machine.yaml"
