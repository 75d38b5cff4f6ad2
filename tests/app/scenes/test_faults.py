"""Faulty files and the exact lines that each must give: `tests/data/faulty/NAME.scene.yaml` and `NAME.expected.txt`."""

from __future__ import annotations

import pickle
from functools import cache
from pathlib import Path

import pytest

from app.scenes.faults import MOST_FAULTS, Fault, SceneFileError
from app.scenes.reader import read_scene

FAULTY = Path(__file__).parents[2] / "data" / "faulty"
SCENES = sorted(FAULTY.glob("*.scene.yaml"))


@cache
def faults_of(scene_file: Path) -> tuple[Fault, ...]:
    with pytest.raises(SceneFileError) as caught:
        read_scene(scene_file)
    return caught.value.faults


@pytest.mark.parametrize("scene_file", SCENES, ids=lambda file: file.name.removesuffix(".scene.yaml"))
def test_that_a_faulty_file_gives_exactly_its_faults(scene_file: Path):
    expected = scene_file.with_name(scene_file.name.replace(".scene.yaml", ".expected.txt"))
    lines = [str(fault).removeprefix(f"{FAULTY}/") for fault in faults_of(scene_file)]
    lines = [line.replace(f"{FAULTY}/", "") for line in lines]
    assert lines == expected.read_text(encoding="utf-8").splitlines()


def test_that_there_are_enough_faulty_files():
    assert len(SCENES) >= 60
    assert {file.name.removesuffix(".expected.txt") for file in FAULTY.glob("*.expected.txt")} == {
        file.name.removesuffix(".scene.yaml") for file in SCENES
    }


@pytest.mark.parametrize("scene_file", SCENES, ids=lambda file: file.name.removesuffix(".scene.yaml"))
def test_that_faults_are_worded_as_the_style_guide_says(scene_file: Path):
    for fault in faults_of(scene_file):
        assert fault.line >= 1
        assert fault.column >= 1
        assert not fault.message.endswith((".", "!"))
        assert (
            fault.message[:1] != fault.message[:1].upper()
            or not fault.message[:1].isalpha()
            or fault.message[:2].isupper()
        )
        for word in ("invalid", "None", "NoneType", "float_", "Traceback", "dict", "<class"):
            assert word not in fault.message


@pytest.mark.parametrize("scene_file", SCENES, ids=lambda file: file.name.removesuffix(".scene.yaml"))
def test_that_each_fault_points_into_its_file(scene_file: Path):
    for fault in faults_of(scene_file):
        text = Path(fault.file).read_bytes().decode("utf-8-sig", errors="replace").splitlines() or [""]
        assert fault.line <= len(text) + 1
        assert fault.column <= len(text[min(fault.line, len(text)) - 1]) + 1


def test_that_faults_sort_by_file_and_position():
    late, early = Fault("a", 9, 1, "", "x"), Fault("a", 2, 30, "", "y")
    assert SceneFileError([late, early, late]).faults == (early, late)


def test_that_a_fault_reads_as_one_line():
    assert str(Fault("a.scene.yaml", 3, 4, "riser/h", "is odd")) == "a.scene.yaml:3:4: riser/h: is odd"
    assert str(Fault("a.scene.yaml", 3, 4, "", "is odd")) == "a.scene.yaml:3:4: is odd"


def test_that_a_flood_of_faults_is_cut_and_says_so():
    error = SceneFileError(Fault("a", line, 1, "", "x") for line in range(1, 2000))
    assert len(error.faults) == MOST_FAULTS + 1
    assert "1499 more faults" in error.faults[-1].message


def test_that_the_error_crosses_to_another_process():
    error = SceneFileError([Fault("a", 1, 1, "", "x")])
    assert pickle.loads(pickle.dumps(error)).faults == error.faults
