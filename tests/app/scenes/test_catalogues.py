"""Catalogues: what is found by name, and which of two goes first."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from app.scenes.catalogues import LIBRARY_VARIABLE, Catalogues, file_stem, library_folder, standard_of
from app.scenes.reader import read_scene_text

MACHINE = """\
format: 1
units: mm
title: My own
linear_axes: {x: {limits: [-9, 9], moves: head}, y: {limits: [-9, 9], moves: head}, z: {limits: [0, 90], moves: head}}
spindle: {nose: [[60, 25]]}
"""


@pytest.fixture
def library(tmp_path: Path) -> Path:
    for folder in ("machines", "holders", "hardware"):
        (tmp_path / folder).mkdir()
    return tmp_path


def test_that_the_programs_own_files_are_found_by_name(library: Path):
    catalogues = Catalogues(library)
    found = catalogues.find("machine", "compact_ac")
    assert found is not None
    assert (found.where, found.hides) == ("program", None)
    assert catalogues.title(found) == "Compact vertical machining centre, tilt A, rotary C"
    assert "ISO 4762" in catalogues.names("hardware")
    assert len(catalogues.names("holder")) >= 12


def test_that_the_users_file_goes_before_the_programs_and_says_so(library: Path):
    (library / "machines" / "compact_ac.machine.yaml").write_text(MACHINE)
    found = Catalogues(library).find("machine", "compact_ac")
    assert found is not None
    assert found.where == "library"
    assert found.hides is not None
    assert found.hides.endswith("compact_ac.machine.yaml")


def test_that_a_scene_takes_a_machine_from_the_library(library: Path, small_scene: str):
    (library / "machines" / "mine.machine.yaml").write_text(MACHINE)
    start, end = small_scene.index("machine:"), small_scene.index("workpiece:")
    text = small_scene[:start] + "machine: mine\n" + small_scene[end:]
    text = text.replace("rides_on: cradle", "rides_on: table").replace("    tilt: 0\n", "")
    scene = read_scene_text(text, library / "a.scene.yaml", catalogues=Catalogues(library)).scene
    assert (scene.machine.name, scene.machine.title) == ("mine", "My own")


@pytest.mark.parametrize(
    ("standard", "stem"),
    [
        ("ISO 4762", "iso_4762"),
        ("ISO4762", "iso_4762"),
        ("iso 4762", "iso_4762"),
        ("DIN 7984", "din_7984"),
        ("DIN-7984", "din_7984"),
    ],
)
def test_that_a_standard_is_found_however_it_is_spaced(standard: str, stem: str):
    assert file_stem(standard) == stem


def test_that_the_name_of_a_standards_file_reads_as_the_standard():
    assert standard_of("iso_4762") == "ISO 4762"


@pytest.mark.parametrize("name", ["", ".", "..", "../machines/compact_ac", "a/b", "a\\b", "x" * 400])
def test_that_what_is_no_name_is_not_found(name: str, library: Path):
    assert Catalogues(library).find("machine", name) is None


def test_that_a_file_is_read_again_when_it_changes(library: Path):
    file = library / "machines" / "mine.machine.yaml"
    file.write_text(MACHINE)
    catalogues = Catalogues(library)
    found = catalogues.find("machine", "mine")
    assert found is not None
    first, _ = catalogues.document(found)
    assert catalogues.document(found)[0] is first
    file.write_text(MACHINE + "# longer\n")
    assert catalogues.document(found)[0] is not first


def test_that_the_library_is_where_the_variable_says(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.setenv(LIBRARY_VARIABLE, str(tmp_path / "mine"))
    assert library_folder() == tmp_path / "mine"


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="the folder of the XDG base directory specification")
def test_that_the_library_is_in_the_users_data_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    # XDG Base Directory Specification: XDG_DATA_HOME, or ~/.local/share
    monkeypatch.delenv(LIBRARY_VARIABLE)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert library_folder() == tmp_path / "tightside"
    monkeypatch.delenv("XDG_DATA_HOME")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert library_folder() == tmp_path / ".local" / "share" / "tightside"


def test_that_a_library_that_is_not_there_is_empty(tmp_path: Path):
    catalogues = Catalogues(tmp_path / "nothing")
    assert all(found.where == "program" for found in catalogues.listing("holder"))
