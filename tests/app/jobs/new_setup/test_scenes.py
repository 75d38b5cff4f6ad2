"""The scene that comes of the answers reads without a fault, stands where it was said, and marks what is assumed."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from app.jobs.new_setup.answers import HoldingKind
from app.jobs.new_setup.draft import Draft
from app.jobs.new_setup.part_files import UnitQuestion
from app.jobs.new_setup.rooms import rooms
from app.jobs.new_setup.scene_text import AnswerFault, bar_size, scene_text
from app.scenes.reader import SceneFile, read_scene_text
from kinematics.placement import place_scene
from kinematics.scene import Body
from kinematics.shapes import Box, MeshShape
from tests.app.jobs.new_setup.boxes import write_box

MACHINES = ("compact_ac", "compact_bc", "inclined_bc", "single_rotary", "vise_station")


def drafted(
    folder: Path, *, machine: str = "compact_ac", kind: str = "dovetail", units: str = "mm", turn: str = "0"
) -> Draft:
    """A part of 36 x 30 x 41.5 mm, held somehow, with one tool and one orientation."""
    part = write_box(folder / "part.stl", 36, 30, 41.5)
    draft = Draft(folder, units)  # type: ignore[arg-type]  # one of the two
    assert draft.take_part(part, units="mm") is None
    draft.take_machine(machine)
    draft.take_holding(kind, turn=turn)
    line = "1 end mill d6mm flute 13mm out 20mm holder collet_11_jis30"
    assert draft.take_tool(line).faults == ()
    return draft


def read(draft: Draft) -> SceneFile:
    return read_scene_text(scene_text(draft.answers()), draft.folder / "new.scene.yaml", catalogues=draft.catalogues)


def upward(draft: Draft) -> str:
    """A direction that the machine's table can bring upright."""
    for direction in ("+Z", "+Y", "+X"):
        if not draft.orientation(direction).faults:
            return direction
    raise AssertionError("no side of the part can be reached")


@pytest.mark.parametrize(
    ("machine", "kind", "units"), [*itertools.product(MACHINES, map(str, HoldingKind), ("mm", "inch"))]
)
def test_that_every_holding_on_every_machine_reads_without_a_fault(
    machine: str, kind: str, units: str, tmp_path: Path
) -> None:
    draft = drafted(tmp_path, machine=machine, kind=kind, units=units)
    assert draft.take_orientation(upward(draft)).faults == ()
    scene = read(draft).scene
    assert len(scene.cuts()) == 1
    assert any(note.startswith("assumed: ") for note in scene.notes)
    # what was left out is assumed in every report
    assert {"keep-off of cuts 2 (default)", "location 0.15 (default)"} <= set(scene.assumed)
    # the bar round the part in whole mm: 2 on each side, 1 over it
    x, y, _ = bar_size(draft.answers())
    assert x >= 40.0 and y >= 34.0
    if units == "mm":
        assert (x, y) == (40.0, 34.0)


def bodies(scene_file: SceneFile, state: str) -> dict[str, Body]:
    (workpiece,) = scene_file.scene.workpieces
    return {b.name: b for s in workpiece.states if s.name == state for b in s.bodies}


def test_that_bar_part_and_grip_waste_stand_as_the_numbers_say(tmp_path: Path) -> None:
    draft = drafted(tmp_path)
    draft.take_bar("40x34x52")
    draft.take_top("2")
    draft.take_orientation("+Z")
    scene_file = read(draft)
    stock = bodies(scene_file, "bar")["stock"]
    assert stock.shape == Box(40.0, 34.0, 52.0)
    assert stock.placement.at == (0.0, 0.0, -52.0)
    done = bodies(scene_file, "part")
    # 52 of bar, 2 over the part of 41.5: 8.5 are left under it
    assert done["grip waste"].shape == Box(40.0, 34.0, 8.5)
    part = done["finished part"]
    assert isinstance(part.shape, MeshShape)
    low, high = part.shape.mesh.bounds
    assert np.allclose(low, (-18.0, -15.0, 0.0)) and np.allclose(high, (18.0, 15.0, 41.5))
    assert part.placement.at[2] == -43.5


@pytest.mark.parametrize(("turn", "expected"), [("0", (0.0, 15.0)), ("90", (-15.0, 0.0)), ("180", (0.0, -15.0))])
def test_that_the_part_turns_with_the_fixture(turn: str, expected: tuple[float, float], tmp_path: Path) -> None:
    draft = drafted(tmp_path, turn=turn)
    draft.take_orientation("+Z")
    scene = read(draft).scene
    placed = place_scene(scene)
    carried = placed.zero_of(scene, scene.workpieces[0])
    # the middle of the part's back face, 15 behind P, by a turn about Z
    x, y, _ = carried.X_CP.points((0.0, 15.0, 0.0))
    assert (x, y) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("direction", "at"),
    [
        ("+Z", (0, 0, -1)),
        ("+Y", (0, 15, -21.75)),
        ("+X", (18, 0, -21.75)),
        ("-Y", (0, -15, -21.75)),
        ("0,1,1", (0, 15, -6.75)),
    ],
)
def test_that_a_cut_enters_where_a_line_up_the_tool_leaves_the_box(
    direction: str, at: tuple[float, float, float], tmp_path: Path
) -> None:
    # the part's box is 36 x 30 x 41.5 from Z -1 down, its middle at Z -21.75
    draft = drafted(tmp_path)
    draft.take_orientation(direction)
    ((_, cut),) = read(draft).scene.cuts()
    assert cut.feature.at == pytest.approx(at, abs=1e-3)  # type: ignore[union-attr]  # a hole has a place


def test_that_a_bar_that_is_too_small_is_told_with_the_axis(tmp_path: Path) -> None:
    draft = drafted(tmp_path)
    draft.take_orientation("+Z")
    for bar, said in (
        ("35x34x52", "35 mm in X; expected at least 36"),
        ("40x34x42", "42 mm in Z; expected at least 42.5"),
    ):
        draft.take_bar(bar)
        with pytest.raises(AnswerFault, match=said):
            draft.answers()


def test_that_a_file_in_inches_says_the_same_set_up(tmp_path: Path) -> None:
    sides = []
    for units in ("mm", "inch"):
        folder = tmp_path / units
        folder.mkdir()
        draft = drafted(folder, units=units)
        draft.take_bar("40mm x 34mm x 52mm")
        draft.take_orientation("V1 +Y at 0mm 15mm -30mm depth 8mm")
        sides.append(read(draft).scene)
    mm, inch = sides
    for a, b in zip(mm.bodies, inch.bodies, strict=True):
        assert a.name == b.name
        assert a.placement.at == pytest.approx(b.placement.at, abs=2e-4)
    tools = [scene.tools[0] for scene in sides]
    assert [t.stick_out for t in tools] == pytest.approx([20.0, 20.0], abs=2e-4)
    (cut_mm, cut_inch) = (scene.cuts()[0][1].feature for scene in sides)
    assert cut_mm.at == pytest.approx(cut_inch.at, abs=2e-4)  # type: ignore[union-attr]


def test_that_names_of_the_machine_are_left_to_it(tmp_path: Path) -> None:
    draft = drafted(tmp_path, kind="vise")  # compact_ac has a vise body of its own
    draft.take_orientation("+Z")
    scene = read(draft).scene
    assert "vise body 2" in {body.name for body in scene.bodies}
    assert scene.workpieces[0].zero.rides_on == "vise body 2"


def test_that_each_position_of_the_table_is_checked_and_one_out_of_limits_is_not(tmp_path: Path) -> None:
    draft = drafted(tmp_path)
    line = draft.orientation("+Y")
    assert line.orientation is not None
    found = list(
        rooms(draft.answers([line.orientation]), line.solutions, tmp_path / "new.scene.yaml", draft.catalogues)
    )
    assert [dict(r.solution.angles_deg)["tilt"] for r in found] == [90.0, -90.0]
    assert found[0].result is not None and found[0].result.cut == "touch"
    assert found[1].result is None  # the tilt ends at -15


@pytest.mark.parametrize(("units", "size"), [("mm", (36.0, 30.0, 41.5)), ("inch", (914.4, 762.0, 1054.1))])
def test_that_a_part_without_a_unit_is_asked_about_in_mm_and_inch(
    units: str, size: tuple[float, float, float], tmp_path: Path
) -> None:
    part = write_box(tmp_path / "part.stl", 36, 30, 41.5)
    draft = Draft(tmp_path)
    question = draft.take_part(part)
    assert isinstance(question, UnitQuestion)
    # word for word, with the numbers of the file and of 25.4 mm to the inch
    assert str(question) == "part.stl has no unit. Is it 36.0 x 30.0 x 41.5 mm, or 36.0 x 30.0 x 41.5 inch (914 mm)?"
    assert draft.take_part(part, units=units) is None
    assert draft.part is not None
    assert draft.part.size == pytest.approx(size, abs=1e-3)


@pytest.mark.parametrize(("up", "size"), [("+Z", (36, 30, 41.5)), ("+X", (41.5, 30, 36)), ("-Y", (36, 41.5, 30))])
def test_that_any_side_of_the_file_may_be_up(up: str, size: tuple[float, float, float], tmp_path: Path) -> None:
    draft = Draft(tmp_path)
    draft.take_part(write_box(tmp_path / "part.stl", 36, 30, 41.5), units="mm", up=up)
    assert draft.part is not None
    assert draft.part.size == pytest.approx(size, abs=1e-4)
