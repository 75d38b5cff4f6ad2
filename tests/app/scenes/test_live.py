"""Turned numbers: the scene, the faults and the text are those of a full read of the edited text.

The reference is `edited` and `read_scene_text`: splice, parse and read everything. It keeps nothing.
"""

from __future__ import annotations

import dataclasses
import pickle
import random
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from app.scenes.catalogues import Catalogues
from app.scenes.edits import EditError, edited
from app.scenes.faults import SceneFileError
from app.scenes.live import LiveScene
from app.scenes.origins import Mark, locate
from app.scenes.reader import SceneFile, read_scene_text
from kinematics.clearance import check_cuts
from kinematics.meshes import Mesh
from kinematics.prepared import Prepared
from kinematics.swing_clearance import check_links, check_swings
from tests.kinematics.mesh_writers import CUBE_F, CUBE_V, binary_stl

SAMPLES = sorted((Path(__file__).parents[3] / "sample_scenes").glob("*/*.scene.yaml"))
DEMO = next(file for file in SAMPLES if file.parent.name == "sampler_block_b")
BY_NAME = {"ids": lambda file: file.parent.name}
TURNS = {  # from the value in the file to one that may be right, and to some that are wrong in one place or another
    "a little more": lambda v: round(v + 0.375, 6),
    "a digit longer": lambda v: v * 1.0625 + 0.0625,
    "nothing": lambda v: v * 0.0,
    "the other sign": lambda v: -v - 1.0,
    "far too much": lambda v: v + 123456.5,
}


def described(value: object) -> object:
    """A value with all that it holds, marks as the places that they stand for."""
    if isinstance(value, Mark):
        return locate(value)
    if isinstance(value, Mesh):
        return id(value)  # both readings take their meshes from one shelf
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, tuple | list):
        return [described(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return (type(value).__name__, {f.name: described(getattr(value, f.name)) for f in dataclasses.fields(value)})
    return value


def outcome(read: object) -> object:
    """The scene file that is read, or its faults, in words."""
    try:
        return described(read())  # type: ignore[operator]
    except SceneFileError as error:
        return [str(fault) for fault in error.faults]


def in_full(live: LiveScene, values: dict[str, float], catalogues: Catalogues) -> object:
    text = edited(live.text, values.items())
    return outcome(lambda: read_scene_text(text, live.path, catalogues=catalogues))


def opened(file: Path) -> tuple[LiveScene, Catalogues]:
    catalogues = Catalogues()
    return LiveScene(file.read_bytes().decode("utf-8"), file, catalogues=catalogues), catalogues


def check(live: LiveScene, values: dict[str, float], catalogues: Catalogues) -> object:
    """Both readings agree; returns what they say."""
    found = outcome(lambda: live.with_values(values))
    assert found == in_full(live, values, catalogues), values
    return found


# --- every number of every sample ---


@pytest.mark.parametrize("file", SAMPLES, **BY_NAME)
def test_that_a_few_numbers_of_a_sample_read_as_their_edited_text_does(file: Path):
    live, catalogues = opened(file)
    chosen = random.Random(7)
    numbers = [number for number in live.numbers() if not number.path.endswith("/tol")]  # a STEP file takes its time
    for number in chosen.sample(numbers, 4):
        check(live, {number.path: chosen.choice(list(TURNS.values()))(number.value)}, catalogues)
    several = {number.path: TURNS["a digit longer"](number.value) for number in chosen.sample(numbers, 4)}
    check(live, several, catalogues)
    assert outcome(lambda: live.with_values({})) == in_full(live, {}, catalogues)


@pytest.mark.slow
@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("file", SAMPLES, **BY_NAME)
def test_that_every_number_of_a_sample_reads_as_its_edited_text_does(file: Path, turn: str):
    live, catalogues = opened(file)
    for number in live.numbers()[list(TURNS).index(turn) % 2 :: 2]:  # half of them by each turn, to save time
        check(live, {number.path: TURNS[turn](number.value)}, catalogues)


def test_that_the_wrong_turns_make_faults_and_the_right_ones_do_not():
    live, _ = opened(DEMO)

    def is_faulty(path: str, value: float) -> bool:
        try:
            return live.with_values({path: value}) is None
        except SceneFileError:
            return True

    faulty = {turn: [n.path for n in live.numbers() if is_faulty(n.path, TURNS[turn](n.value))]
              for turn in ("a little more", "the other sign", "far too much")}  # fmt: skip
    n_faulty = {turn: len(paths) for turn, paths in faulty.items()}
    left = {number.path for number in live.numbers()} - set(faulty["far too much"])
    assert {path.rsplit("/", 2)[1] for path in left} == {"along"}  # components of a direction may be any number
    assert 0 < n_faulty["a little more"] < 40 < n_faulty["the other sign"] < n_faulty["far too much"]


def test_that_turning_changes_nothing_of_the_scene_that_it_started_from():
    live, catalogues = opened(DEMO)
    text, before = live.text, outcome(lambda: live.with_values({}))
    for number in live.numbers()[::3]:
        outcome(lambda n=number: live.with_values({n.path: n.value + 1.0}).text)
    assert live.text == text
    assert outcome(lambda: live.with_values({})) == before == in_full(live, {}, catalogues)


# --- which numbers ---


def test_that_the_numbers_of_the_demo_are_where_its_file_shows_them():
    live, _ = opened(DEMO)
    numbers = {number.path: number for number in live.numbers()}
    lines = live.text.splitlines()
    shown = {
        "riser/h": (40.0, "mm", "name: riser, "),
        "T4/stick_out": (18.0, "mm", "id: T4"),
        "V6/tilt": (105.0, "deg", "tilt: 105"),
        "V6/drain spot/depth": (2.6, "mm", "name: drain spot"),
        "stop pin/at/x": (-22.0, "mm", "name: stop pin"),
        "setup_errors/tilt_deg": (0.02, "deg", "tilt_deg:"),
        "V2/+Y pocket/along/x": (1.0, "", "name: +Y pocket"),
        "H16/profile/1/2": (22.0, "mm", "H16:"),
    }
    for path, (value, unit, words) in shown.items():
        number = numbers[path]
        assert (number.value, number.unit) == (value, unit)
        assert words in lines[number.line - 1]
    assert "format" not in numbers


def test_that_a_name_of_digits_is_no_number_and_inches_are_told(small_scene: str, tmp_path: Path):
    text = small_scene.replace("T1", "5").replace("units: mm", "units: inch").replace("[-15, 115]", "[-15, 95]")
    numbers = {n.path: n.unit for n in LiveScene(text, tmp_path / "s.scene.yaml", catalogues=Catalogues()).numbers()}
    assert numbers["5/stick_out"] == "inch"
    assert numbers["V1/tilt"] == numbers["tilt/limits/2"] == "deg"
    assert "5/id" not in numbers and "V1/port/tool" not in numbers


# --- what is told ---


@pytest.mark.parametrize("path", ["risr/h", "T4/stick out", "nothing like it", "riser/h/x", "riser/size"])
def test_that_an_unknown_path_is_told_as_an_edit_tells_it(path: str):
    live, _ = opened(DEMO)
    with pytest.raises(EditError) as by_edit:
        edited(live.text, [(path, 1.0)])
    with pytest.raises(EditError) as by_turn:
        live.with_values({path: 1.0})
    assert str(by_turn.value) == str(by_edit.value)


@pytest.mark.parametrize("path", ["title", "T1/holder", "format"])
def test_that_what_is_no_number_cannot_be_turned(path: str):
    live, _ = opened(DEMO)
    with pytest.raises(EditError, match=f"{path} is no number; expected the path of a number"):
        live.with_values({path: 1.0})


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_that_a_value_that_cannot_be_measured_is_refused(value: float):
    live, _ = opened(DEMO)
    with pytest.raises(EditError, match="no number that can be measured"):
        live.with_values({"riser/h": value})


def test_that_a_number_that_the_text_does_not_give_is_put_in(small_scene: str, tmp_path: Path):
    catalogues = Catalogues()
    live = LiveScene(small_scene, tmp_path / "s.scene.yaml", catalogues=catalogues)
    for value in (0.1, 0.25, 99.0):
        check(live, {"setup_errors/location": value, "T1/stick_out": 31.5, "block/turn": 15.0}, catalogues)
    assert live.with_values({"block/turn": 15.0}).scene.bodies[0].placement.turn_deg == 15.0
    assert live.with_values({}).text == small_scene


def test_that_places_after_a_longer_number_in_the_same_line_move_along(small_scene: str, tmp_path: Path):
    live = LiveScene(small_scene, tmp_path / "s.scene.yaml", catalogues=Catalogues())
    with pytest.raises(SceneFileError) as caught:
        live.with_values({"T1/d": 10.0625, "T1/stick_out": -30.0})
    (fault,) = caught.value.faults
    line = live.text.replace("d: 10,", "d: 10.0625,").splitlines()[fault.line - 1]
    assert line[fault.column - 1 :].startswith("30,")
    assert fault.message.startswith("-30 mm is out of reason")


@pytest.mark.parametrize("form", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_that_line_ends_and_a_byte_order_mark_stay(form: str, mark: str, small_scene: str, tmp_path: Path):
    catalogues = Catalogues()
    text = mark + small_scene.replace("\n", form)
    live = LiveScene(text, tmp_path / "s.scene.yaml", catalogues=catalogues)
    for values in ({"T1/d": 12.25, "T1/flute": 0.0}, {"block/at/x": 3.0, "V1/tilt": 300.5}, {"stock/2": -1.0}):
        if "block/at/x" not in values:
            check(live, values, catalogues)
    check(live, {"V1/tilt": 300.5, "stock/2": 31.0}, catalogues)


def test_that_a_scene_with_a_fault_is_mended_by_turning_it(small_scene: str, tmp_path: Path):
    catalogues = Catalogues()
    faulty = small_scene.replace("stick_out: 30", "stick_out: 300").replace("tilt: 0", "tilt: 999")
    live = LiveScene(faulty, tmp_path / "s.scene.yaml", catalogues=catalogues)
    assert len(check(live, {}, catalogues)) == 2  # type: ignore[arg-type]
    assert len(check(live, {"V1/tilt": 10.0}, catalogues)) == 1  # type: ignore[arg-type]
    mended = check(live, {"V1/tilt": 10.0, "T1/stick_out": 30.0}, catalogues)
    assert isinstance(mended, tuple)


def test_that_a_text_that_cannot_be_read_is_refused(tmp_path: Path):
    with pytest.raises(SceneFileError, match="decimal comma"):
        LiveScene("format: 1\nkeep_off: {cut: 1,5}\n", tmp_path / "s.scene.yaml")


def test_that_words_quote_a_list_as_it_stands_after_the_turn(small_scene: str, tmp_path: Path):
    catalogues = Catalogues()
    text = small_scene.replace("d: 10, flute: 22,", "d: 10, corner_radius: 0.5, flute: 22,").replace("[46, 20]", "[46]")
    live = LiveScene(text, tmp_path / "s.scene.yaml", catalogues=catalogues)
    (words,) = check(live, {"H/profile/1/1": 28.125}, catalogues)  # type: ignore[misc]
    assert "[46] has 1 entry" in words


# --- what stays the same object ---


def with_side_files(text: str, folder: Path) -> str:
    (folder / "t.stl").write_bytes(binary_stl(CUBE_V, CUBE_F))
    (folder / "p.txt").write_text("0 0 0\n1 0 0\n", encoding="utf-8")
    text = text.replace("box: [60, 60, 20]", "mesh: {file: t.stl, units: mm, from: base_centre}")
    return text.replace("hole: {at: [0, 0, 0], depth: 10}", "path: {file: p.txt}")


def test_that_machine_meshes_and_points_are_read_once(small_scene: str, tmp_path: Path):
    catalogues = Catalogues()
    text = with_side_files(small_scene, tmp_path)
    live = LiveScene(text, tmp_path / "s.scene.yaml", catalogues=catalogues)
    check(live, {"T1/stick_out": 31.0}, catalogues)
    first = live.with_values({"T1/stick_out": 31.0}).scene
    for name in ("t.stl", "p.txt"):
        (tmp_path / name).unlink()
    second = live.with_values({"T1/stick_out": 32.0, "V1/tilt": 5.0}).scene
    assert second.bodies[0].shape is first.bodies[0].shape
    (one, other) = (scene.cuts()[0][1].feature for scene in (first, second))
    assert one.points is other.points  # type: ignore[union-attr]

    demo, _ = opened(DEMO)
    assert demo.with_values({"riser/h": 30.0}).scene.machine is demo.with_values({"V6/tilt": 100.0}).scene.machine


def test_that_a_mesh_that_is_placed_alike_is_the_same_after_an_edit(small_scene: str, tmp_path: Path):
    catalogues, path = Catalogues(), tmp_path / "s.scene.yaml"
    text = with_side_files(small_scene, tmp_path)

    def shape(of: str) -> object:
        return LiveScene(of, path, catalogues=catalogues).with_values({}).scene.bodies[0].shape

    assert shape(text) is shape(text.replace("stick_out: 30", "stick_out: 31"))
    assert shape(text) is not shape(text.replace("from: base_centre", "from: base_centre, up: +X"))
    (tmp_path / "t.stl").write_bytes(binary_stl(CUBE_V * 2.0, CUBE_F))
    assert shape(text).mesh.bounds[1][2] == 83.0  # type: ignore[attr-defined]


def test_that_notes_on_meshes_move_with_their_line(small_scene: str, tmp_path: Path):
    catalogues = Catalogues()
    (tmp_path / "t.stl").write_bytes(binary_stl(CUBE_V, CUBE_F[:-1]))
    text = small_scene.replace("rides_on: cradle, box: [60, 60, 20]", "at: [0, 0, 0], rides_on: cradle, "
                               "mesh: {file: t.stl, units: mm}")  # fmt: skip
    live = LiveScene(text, tmp_path / "s.scene.yaml", catalogues=catalogues)
    check(live, {"block/at/x": 10.125}, catalogues)
    before, after = (live.with_values(values).noted for values in ({}, {"block/at/x": 10.125}))
    assert before and "is open at 3 edges" in before[-1].message
    grown = len("10.125") - len("0")
    assert [(n.line, n.column) for n in after] == [(n.line, n.column + grown) for n in before]


# --- what a check says of it ---


def with_and_without_like(
    live: LiveScene, turns: list[dict[str, float]], check_it: Callable[[Prepared], object]
) -> None:
    """Each turn says the same, prepared like the one before, and prepared anew."""
    prepared = None
    for values in turns:
        scene = live.with_values(values).scene
        prepared = Prepared(scene, like=prepared)
        assert described(check_it(prepared)) == described(check_it(Prepared(scene))), values


def the_cuts(prepared: Prepared) -> list[object]:
    return list(check_cuts(prepared.scene, prepared))


def the_swings(prepared: Prepared) -> list[object]:
    return [*check_links(prepared.scene, prepared), *check_swings(prepared.scene, prepared)]


def test_that_cuts_of_a_turned_demo_say_the_same_with_what_was_taken_over():
    live, _ = opened(DEMO)
    turns = [{}, {"riser/h": 43.0}, {"riser/h": 43.0, "T4/stick_out": 12.0}, {"V6/drain spot/depth": 6.0}]
    with_and_without_like(live, turns, the_cuts)


@pytest.mark.slow
@pytest.mark.parametrize("file", SAMPLES[:7], **BY_NAME)
def test_that_a_turned_sample_says_the_same_with_what_was_taken_over(file: Path):
    live, _ = opened(file)
    chosen = random.Random(3)
    turns: list[dict[str, float]] = [{}]
    while len(turns) < 4:
        number = chosen.choice(live.numbers())
        values = {number.path: round(number.value * 1.03 + 0.1, 3)}
        if isinstance(outcome(lambda v=values: live.with_values(v)), tuple):
            turns.append(values)
    with_and_without_like(live, turns, the_cuts)
    with_and_without_like(live, turns[:2], the_swings)


# --- threads and processes ---


def test_that_threads_may_turn_one_scene_together():
    live, _ = opened(DEMO)
    turned = [{number.path: number.value + 0.5} for number in live.numbers()[::19]]
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda values: outcome(lambda: live.with_values(values)), turned * 3))
    assert together == [outcome(lambda v=values: live.with_values(v)) for values in turned] * 3


def test_that_a_turned_scene_crosses_to_another_process():
    live, _ = opened(DEMO)
    turned = live.with_values({"T1/d": 10.0625, "riser/h": 41.0})
    again: SceneFile = pickle.loads(pickle.dumps(turned))
    assert described(again) == described(turned)
