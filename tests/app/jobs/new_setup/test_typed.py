"""What follows from a page of a new set-up: a scene as soon as there is enough, and each fault by its field."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from app.jobs.new_setup.answers import HoldingKind
from app.jobs.new_setup.part_files import part_answer
from app.jobs.new_setup.screws import screw_names
from app.jobs.new_setup.typed import (
    DEFAULT_TOOL,
    Followed,
    Typed,
    TypedOrientation,
    followed,
    free_orientation_name,
    tool_lines,
    typed_orientation,
    why_not_name,
)
from app.scenes.catalogues import Catalogues
from app.scenes.reader import read_scene_text
from kinematics.assembly import tool_assembly
from tests.app.jobs.new_setup.boxes import write_box

CATALOGUES = Catalogues()
TOOL = "2 end mill d6 flute 13 out 20 holder collet_11_jis30"
UP, BACK = (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)


@pytest.fixture
def typed(tmp_path) -> Typed:
    file = write_box(tmp_path / "box.stl", 40.0, 30.0, 20.0)
    part = part_answer(file, units="mm")
    return Typed(part=part, machine="compact_ac", tools=TOOL, orientations=(TypedOrientation("V1", UP),))


def follow(typed: Typed, folder: Path) -> Followed:
    return followed(typed, folder, CATALOGUES)


def read(now: Followed, folder: Path):
    return read_scene_text(now.text, folder / "new.scene.yaml").scene


def test_that_a_scene_follows_as_soon_as_there_is_a_tool_and_an_orientation(typed, tmp_path) -> None:
    for missing, words in (
        (replace(typed, part=None), "the part file"),
        (replace(typed, tools=""), "a tool"),
        (replace(typed, orientations=()), "an orientation"),
    ):
        now = follow(missing, tmp_path)
        assert now.text == ""
        assert words in now.missing
    now = follow(typed, tmp_path)
    assert now.is_right
    scene = read(now, tmp_path)
    assert [cut.tool for _, cut in scene.cuts()] == ["T2"]


@pytest.mark.parametrize(
    ("field", "text", "message"),
    [
        ("bar", "40x34", "'40x34' has 2 sides; expected three, as 40x34x52"),
        ("bar", "39x34x52", "the bar has 39 mm in X; expected at least 40, since the part has to fit into it"),
        ("top", "-1", "'-1' is below 0; expected the bar over the part as a length of 0 or more"),
        ("riser", "x", "'x' is no number; expected the riser as a number"),
        ("turn", "900", "turned 900 degrees; expected -360 to 360"),
        ("screws", "ISO 4763 M6", "no screws 'ISO 4763 M6'"),
        ("machine", "compact_ad", "no machine 'compact_ad' in the library; nearest: compact_ac"),
    ],
)
def test_that_a_fault_is_told_by_its_field(typed, tmp_path, field, text, message) -> None:
    now = follow(replace(typed, **{field: text}), tmp_path)
    assert now.faults[field].startswith(message)
    assert not now.is_right


def test_that_a_wrong_field_keeps_the_right_ones(typed, tmp_path) -> None:
    now = follow(replace(typed, riser="x", turn="90"), tmp_path)
    assert now.answers is not None
    assert now.answers.holding.turn == 90.0
    assert now.answers.holding.riser is None


@pytest.mark.parametrize("kind", list(HoldingKind))
def test_that_every_kind_of_holding_reads_without_faults(typed, tmp_path, kind) -> None:
    read(follow(replace(typed, holding=str(kind)), tmp_path), tmp_path)


def test_that_a_wrong_line_leaves_the_other_tools_there(typed, tmp_path) -> None:
    now = follow(replace(typed, tools=f"{TOOL}\n3 end mil d6"), tmp_path)
    assert [tool.tool.id for tool in now.tools if tool.tool] == ["T2"]
    wrong = now.tools[1]
    assert wrong.row == 1
    assert wrong.text[wrong.faults[0].start : wrong.faults[0].end] == "end mil"
    assert not now.is_right
    assert now.text


def test_that_a_line_with_an_equals_sign_names_a_holder(typed, tmp_path) -> None:
    lines = f"{TOOL.replace('collet_11_jis30', 'H11')}\nH11 = collet_11_jis30"
    scene = read(follow(replace(typed, tools=lines), tmp_path), tmp_path)
    assert scene.tools[0].holder.name == "H11"
    wrong = follow(replace(typed, tools=f"{TOOL}\nH11 = collet_12"), tmp_path)
    assert "no holder 'collet_12' in the library" in wrong.tools[1].faults[0].message


def test_that_the_drawn_outline_is_the_one_that_is_checked(typed, tmp_path) -> None:
    now = follow(typed, tmp_path)
    scene = read(now, tmp_path)
    whole = tool_assembly(scene.tools[0], scene.machine.spindle_nose).outer
    assert now.tools[0].profile == whole[: len(now.tools[0].profile)]
    assert now.tools[0].profile[-1].z2 == pytest.approx(80.0)  # 20 out of a holder with a gauge length of 60


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_that_a_tool_that_stands_in_is_marked_as_assumed(typed, tmp_path, units) -> None:
    line = DEFAULT_TOOL[units]
    now = follow(replace(typed, units=units, tools=line, stand_in=line), tmp_path)
    assert "T1: all of this tool, to begin with" in "; ".join(read(now, tmp_path).notes)
    mine = follow(replace(typed, units=units, tools=line), tmp_path)
    assert "to begin with" not in mine.text


def test_that_signs_nobody_looked_at_are_noted(typed, tmp_path) -> None:
    assert "which way A and C turn" in "; ".join(read(follow(typed, tmp_path), tmp_path).notes)
    one = replace(typed, signs=(("compact_ac", "tilt", "to you"),))
    assert "which way C turns" in follow(one, tmp_path).text
    both = replace(one, signs=(*one.signs, ("compact_ac", "rotary", "against the clock")))
    assert "which way" not in follow(both, tmp_path).text
    other = replace(both, machine="compact_bc")
    assert "which way B and C turn" in follow(other, tmp_path).text


def test_that_the_other_position_is_the_other_solution(typed, tmp_path) -> None:
    leant = TypedOrientation("V1", (0.0, math.sin(math.radians(10.0)), math.cos(math.radians(10.0))))
    angles = []
    for which in (0, 1):
        now = follow(replace(typed, orientations=(replace(leant, which=which),)), tmp_path)
        angles.append(dict(now.answers.orientations[0].angles_deg))
    # the tilt axis is +X: +10 turns what leans to +Y upright; -10 does once the rotary has turned it to -Y
    assert angles[0] == pytest.approx({"tilt": 10.0, "rotary": 0.0})
    assert angles[1] == pytest.approx({"tilt": -10.0, "rotary": 180.0})


def test_that_a_direction_out_of_limits_is_told_and_left_out(typed, tmp_path) -> None:
    below = (TypedOrientation("V1", UP), TypedOrientation("V2", (0.0, 0.0, -1.0)))
    now = follow(replace(typed, orientations=below), tmp_path)
    assert now.orientations[1].why.startswith("no position of the table within its limits: tilt")
    assert [o.name for o in read(now, tmp_path).orientations] == ["V1"]


def test_that_a_clicked_point_moves_with_the_bar_over_the_part(typed, tmp_path) -> None:
    clicked = replace(typed, orientations=(TypedOrientation("V1", UP, (5.0, -3.0, -2.0)),))
    for top, z in (("", -3.0), ("4", -6.0)):  # from the middle of the bar's top; 1 is assumed
        now = follow(replace(clicked, top=top), tmp_path)
        assert now.answers.orientations[0].at == (5.0, -3.0, z)


def test_that_an_orientation_can_be_typed_as_a_line(typed, tmp_path) -> None:
    now = follow(typed, tmp_path)
    made, faults = typed_orientation("V2 +Y T2 at 0 15 -10 depth 4", now, typed)
    assert faults == ()
    assert (made.name, made.direction_P, made.tool, made.depth) == ("V2", BACK, "T2", "4 mm")
    assert made.point == (0.0, 15.0, -9.0)  # 1 of the bar is over the part
    again = follow(replace(typed, orientations=(*typed.orientations, made)), tmp_path)
    assert again.answers.orientations[1].at == (0.0, 15.0, -10.0)
    none, faults = typed_orientation("V2 +Q", now, typed)
    assert none is None
    assert faults[0].message.startswith("'+Q' is no direction")


def test_that_names_of_orientations_are_their_own(typed, tmp_path) -> None:
    now = follow(typed, tmp_path)
    assert free_orientation_name(typed) == "V2"
    assert "is taken by another orientation" in why_not_name("V1", typed, now, 1)
    assert "means something else" in why_not_name("T2", typed, now, 0)
    assert "is no name" in why_not_name("a/b", typed, now, 0)
    assert why_not_name("front", typed, now, 0) == ""


def test_that_what_stands_is_drawn_before_there_is_a_tool(typed, tmp_path) -> None:
    now = follow(replace(typed, tools="", orientations=()), tmp_path)
    assert now.stands is not None
    assert now.bar == (44.0, 34.0, 29.0)  # 2 on each side, 1 over it, 8 for the dovetail
    now = follow(replace(typed, tools="", orientations=(), bar="1x1x1"), tmp_path)
    assert now.stands is not None
    assert "bar" in now.faults


def test_that_lines_are_read_while_they_are_typed(typed, tmp_path) -> None:
    for n in range(len(TOOL) + 1):
        lines, holders = tool_lines(replace(typed, tools=TOOL[:n]), tmp_path, CATALOGUES)
        assert len(lines) == (1 if TOOL[:n].strip() else 0)
        assert "collet_11_jis30" in holders
    assert lines[0].tool is not None


def test_that_only_screws_are_offered_as_screws() -> None:
    names = screw_names(CATALOGUES)
    assert {"ISO 4762 M6", "DIN 7984 M6", "ISO 4017 M8"} <= set(names)
    assert not any(name.startswith(("ISO 7089", "ISO 8734", "ISO 2338")) for name in names)
