"""Tools and orientations typed one per line: what they mean, which characters are wrong, what may stand there."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.jobs.new_setup.answers import ToolAnswer
from app.jobs.new_setup.orientation_lines import OrientationLine, orientation_line
from app.jobs.new_setup.tool_lines import KEYS, ToolLine, tool_completion, tool_line
from app.scenes.catalogue_machines import machine_called
from app.scenes.catalogues import Catalogues
from kinematics.scene import Holder, HolderStep
from kinematics.tool_kinds import KINDS

NUT = (HolderStep(19.0, 19.0, 12.0, "nut"), HolderStep(32.0, 32.0, 40.0))
HOLDERS = {
    "H11": Holder("H11", NUT, "11 mm collet", grip=12.0, shanks=(0.5, 7.0)),
    "H16": Holder("H16", NUT, "16 mm collet", grip=15.0, shanks=(1.0, 10.0)),
}
GOOD = "2 end mill d6 flute 13 out 20 holder H11"
MACHINE = machine_called("compact_ac", Path(), Catalogues())


def read(text: str, **options: object) -> ToolLine:
    return tool_line(text, HOLDERS, **options)  # type: ignore[arg-type]  # keyword arguments by name


def tool(text: str, **options: object) -> ToolAnswer:
    line = read(text, **options)
    assert line.tool is not None, line.faults
    return line.tool


def faults(line: ToolLine | OrientationLine) -> list[tuple[str, str]]:
    """Each fault with the characters that it is about."""
    return [(line.text[f.start : f.end], f.message) for f in line.faults]


# --- tools ------------------------------------------------------------------------------------------


def test_that_a_line_is_the_tool_that_it_says() -> None:
    found = tool(GOOD)
    assert (found.id, found.kind, found.holder) == ("T2", "end mill", "H11")
    assert dict(found.numbers) == {"d": 6.0, "flute": 13.0, "shank": 6.0, "stick_out": 20.0}
    assert found.assumed == ("shank 6",)
    assert found.line == GOOD


@pytest.mark.parametrize(
    "text",
    [
        "2 end mill d 6 flute 13 out 20 holder H11",
        "T2 endmill d6mm flute 13 mm out20 holder H11",
        "2 END MILL D6 OUT 20 FLUTE 13 holder H11",
        "2 end mill holder H11 stick_out 2e1 d6 flute 13".replace("2e1", "20.0"),
        "2   end  mill\td6 flute 13 out 20   holder H11  ",
    ],
)
def test_that_the_same_tool_may_be_typed_in_many_ways(text: str) -> None:
    assert dict(tool(text).numbers) == dict(tool(GOOD).numbers)
    assert tool(text).id == "T2"


@pytest.mark.parametrize(
    ("number", "mm"),
    [
        ("1/4in", 6.35),
        ('1/4"', 6.35),
        ("0.25in", 6.35),
        ("1/4 inch", 6.35),
        ("6", 6.0),
        (".5in", 12.7),
        ("1-1/4in", 31.75),
    ],
)
def test_that_a_length_may_have_its_own_unit(number: str, mm: float) -> None:
    # 25.4 mm to the inch, by definition
    found = dict(tool(f"1 end mill d1 flute 1 out {number} shank 6 holder H11 overall 200").numbers)
    assert found["stick_out"] == pytest.approx(mm, abs=1e-9)


def test_that_a_line_in_inches_is_in_inches_unless_a_number_says_mm() -> None:
    found = dict(tool("1 end mill d1/4 flute 3/4 out 1 overall 57mm holder H11", units="inch").numbers)
    assert found == {"d": 6.35, "flute": 19.05, "shank": 6.35, "overall": 57.0, "stick_out": 25.4}


def test_that_small_mills_get_the_usual_shank_and_drills_their_own() -> None:
    # common practice, no source: mills under 6 mm are made on 6 mm shanks; the wider shank is the safe side
    assert tool("1 end mill d3 flute 6 out 16 holder H11").number("shank") == 6.0
    drill = tool("1 drill d4.2 flute 24 out 34 holder H11")
    assert (drill.number("shank"), drill.number("point_deg")) == (4.2, 118.0)
    assert drill.assumed == ("shank 4.2", "point 118 degrees")
    assert tool("1 spot drill d6 flute 4 shank 6 point 142 out 18 holder H11").assumed == ()


def test_that_neck_and_measured_are_taken() -> None:
    found = tool("1 end mill d10 flute 22 neck 9.7 to 40 out 47 holder H16 measured")
    assert (found.neck, found.is_measured) == ((9.7, 40.0), True)


@pytest.mark.parametrize(
    ("text", "where", "said"),
    [
        ("2 end mil d6 flute 13 out 20 holder H11", "end mil", "no kind 'end mil'; nearest: end mill"),
        (
            "2 end mill d6,5 flute 13 out 20 holder H11",
            "d6,5",
            "'6,5' has a decimal comma; expected a decimal point: 6.5",
        ),
        ("2 end mill d6 flut 13 out 20 holder H11", "flut", "'flut' is no key of a tool; nearest: flute"),
        ("2 end mill d6 flute x out 20 holder H11", "x", "'x' is no number; expected flute as a number"),
        (
            "2 end mill d6 flute 13 out 20 holder H12",
            "H12",
            "no holder 'H12' in this set-up or in the library; nearest: H1",
        ),
        ("2 end mill d6 flute 13 out 10 holder H11", "10", "stick-out of 10 mm is shorter than the flute"),
        ("2 end mill d6 d7 flute 13 out 20 holder H11", "d7", "d stands twice"),
        ("2 end mill d6 flute out 20 holder H11", "flute", "flute has no number"),
        ("2 end mill d6 flute 13 out 20", "", "holder is missing"),
        ("2 end mill flute 13 out 20 holder H11", "", "d is missing"),
        ("2 tap d5 flute 15 out 40 holder H11", "", "shank is missing"),
        ("2 end mill d10 flute 13 out 20 holder H11", "H11", "H11 grips shanks of 0.5 to 7 mm, the shank has 10"),
        ("2 end mill d6 flute 13 point 90 out 20 holder H11", "90", "an end mill has no point_deg"),
        ("2 end mill d6 flute 13 neck 5 out 20 holder H11", "neck", "neck says no height"),
        ("2 drill d6 flute 30 point 118in out 40 holder H11", "118in", "'118in' is a length; expected an angle"),
        ("2 end mill d1/0 flute 13 out 20 holder H11", "d1/0", "'1/0' divides by 0"),
        ("2 end mill d99999 flute 13 out 20 holder H11", "d99999", "expected at most 10000"),
        ("a/b end mill d6 flute 13 out 20 holder H11", "a/b", "the name 'a/b' has / in it"),
        ("2 d6 flute 13", "", "the kind is missing"),
        ("", "", "is empty"),
    ],
)
def test_that_what_is_wrong_is_told_at_its_word(text: str, where: str, said: str) -> None:
    line = read(text)
    assert line.tool is None
    assert any(spot == where and said in message for spot, message in faults(line)), faults(line)


def test_that_a_number_is_given_where_none_is_typed_and_never_twice() -> None:
    assert tool("end mill d6 flute 13 out 20 holder H11", number=3).id == "T3"
    assert tool("end mill d6 flute 13 out 20 holder H11", number=3, taken={"T3", "T4"}).id == "T5"
    assert faults(read(GOOD, taken={"T2"})) == [("2", "T2 is taken by another tool; expected another number")]


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_that_every_kind_can_be_typed(kind: str) -> None:
    numbers = "d6 flute 6 shank 4 out 40" if kind in ("lollipop", "probe") else "d6 flute 13 shank 6 out 40"
    if kind in ("lollipop", "probe"):
        numbers = "d6 shank 4 out 40"
    more = {
        "bull mill": "corner 1",
        "dovetail cutter": "flank 80",
        "engraver": "tip 0.2 point 90",
    }.get(kind, "")
    assert tool(f"1 {kind} {numbers} {more} holder H11").kind == kind


# --- completion -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "offered"),
    [
        ("2 b", {"ball mill", "bull mill"}),
        ("sp", {"spot drill"}),
        ("2 end mill d6 holder ", {"H11", "H16"}),
        ("2 end mill d6 holder h16", {"H16"}),
        ("2 end mill d6 fl", {"flute"}),
        ("2 dovetail cutter d6 fl", {"flute", "flank"}),
        ("2 spot ", {"drill"}),
    ],
)
def test_that_the_words_that_may_come_are_offered(text: str, offered: set[str]) -> None:
    found = tool_completion(text, len(text), HOLDERS)
    assert {c.text for c in found.candidates} == offered
    assert text[found.start : found.end] == (text.split(" ")[-1])


def test_that_a_key_is_offered_once_and_only_where_the_kind_has_it() -> None:
    offered = {c.text for c in tool_completion("2 end mill d6 flute 13 ", 23, HOLDERS).candidates}
    assert offered == {"shank", "neck", "corner", "taper", "overall", "out", "holder", "measured"}
    assert offered <= set(KEYS)


# --- orientations -----------------------------------------------------------------------------------


TOOLS = (tool(GOOD), tool("3 drill d5 flute 26 out 34 holder H16"))


def orient(text: str, **options: object) -> OrientationLine:
    return orientation_line(text, MACHINE, TOOLS, **options)  # type: ignore[arg-type]  # by name


def upright(angles: dict[str, float], turn_deg: float) -> np.ndarray:
    """Where directions of the part point: tilt about X, rotary about Z, the fixture turned about Z."""

    def about(axis: int, deg: float) -> np.ndarray:
        c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
        return np.array([[1, 0, 0], [0, c, -s], [0, s, c]] if axis == 0 else [[c, -s, 0], [s, c, 0], [0, 0, 1]])

    return about(0, angles["tilt"]) @ about(2, angles["rotary"]) @ about(2, turn_deg)


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 180.0, 37.0])
@pytest.mark.parametrize("direction", ["+Z", "+X", "-X", "+Y", "-Y", "0.7,0,0.7", "0.1,-0.2,0.9"])
def test_that_the_table_brings_the_direction_upright(direction: str, turn_deg: float) -> None:
    line = orient(direction, turn_deg=turn_deg)
    assert line.orientation is not None, line.faults
    for solution in line.solutions:
        wanted = np.asarray(line.orientation.direction_P) / np.linalg.norm(line.orientation.direction_P)
        np.testing.assert_allclose(upright(dict(solution.angles_deg), turn_deg) @ wanted, (0, 0, 1), atol=1e-9)


def test_that_both_positions_of_the_table_are_there_and_the_second_can_be_asked_for() -> None:
    # 10 degrees off the vertical towards +X: tilt 10 with the rotary at 90, or tilt -10 with it at -90
    text = "0.17364818,0,0.98480775"
    angles = [dict(s.angles_deg) for s in orient(text).solutions]
    assert sorted(round(a["tilt"], 4) for a in angles) == [-10.0, 10.0]
    first, second = (orient(f"{text} {which}").orientation for which in ("first", "second"))
    assert first is not None and second is not None
    assert dict(first.angles_deg)["tilt"] == pytest.approx(-dict(second.angles_deg)["tilt"], abs=1e-4)


def test_that_an_orientation_takes_name_tool_place_depth_state_and_cut() -> None:
    line = orient('V7 +Y T3 at 0 15 -30 depth 8 state part cut "drain hole"')
    found = line.orientation
    assert found is not None, line.faults
    assert (found.name, found.tool, found.at, found.depth) == ("V7", "T3", (0.0, 15.0, -30.0), 8.0)
    assert (found.state, found.cut) == ("part", "drain hole")
    assert dict(found.angles_deg) == {"tilt": 90.0, "rotary": 0.0}


@pytest.mark.parametrize(
    ("text", "where", "said"),
    [
        ("V1", "", "the direction is missing"),
        ("V1 up", "up", "'up' is no direction; expected +X, -X, +Y, -Y, +Z, -Z"),
        ("-Z", "-Z", "no position of the table brings -Z upright within its limits"),
        ("0,0,0", "0,0,0", "0,0,0 is no direction"),
        ("+Z T9", "T9", "no tool 'T9'; expected T2, T3"),
        ("+Z dept 3", "dept", "'dept' is no word of an orientation; nearest: depth"),
        ("+Z at 1 2", "", "Z is missing"),
        ("+Z depth -3", "depth", "depth of -3 mm"),
        ("+Z state raw", "raw", "no state 'raw'; expected bar or part"),
        ("+Y second", "second", "no second position of the table within its limits; the first: tilt 90, rotary 0"),
        ("T2 +Z", "T2", "the name 'T2' means something else"),
        ("+Z cut a/b", "a/b", "'a/b' is no name of a cut"),
    ],
)
def test_that_what_is_wrong_with_an_orientation_is_told_at_its_word(text: str, where: str, said: str) -> None:
    line = orient(text)
    assert line.orientation is None
    assert any(spot == where and said in message for spot, message in faults(line)), faults(line)


# --- whatever is typed ------------------------------------------------------------------------------


PIECES = st.sampled_from(
    ["2", "T1", "end mill", "d6", "d", "1/0", '1/4"', "out", "holder", "H11", "neck", "to", "+Y", "at", ","]
)
LINES = st.one_of(st.text(max_size=60), st.lists(PIECES, max_size=12).map(" ".join))


@given(LINES, st.integers(-5, 80))
def test_that_no_line_raises_and_every_span_lies_in_it(text: str, cursor: int) -> None:
    for line in (read(text), orient(text)):
        assert all(0 <= f.start <= f.end <= len(text) for f in line.faults)
        assert all(text[w.start : w.end] == w.text for w in line.words)
    found = tool_completion(text, cursor, HOLDERS)
    assert 0 <= found.start <= found.end <= len(text)
