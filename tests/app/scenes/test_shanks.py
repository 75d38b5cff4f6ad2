"""Which shanks a holder grips: read, told where it is wrong, and given by every holder that comes with the program."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from app.scenes.catalogue_holders import catalogue_holders
from app.scenes.catalogues import Catalogues
from app.scenes.faults import SceneFileError
from app.scenes.reader import read_scene_text
from app.scenes.schema import schema

ROOT = Path(__file__).resolve().parents[3]
SCENE = """\
format: 1
units: {units}
title: One hole
machine: vise_station
workpiece:
  zero: {{rides_on: table, at: [0, 0, 2]}}
  states:
    raw: [{{name: stock, box: [2, 2, 2], at: [0, 0, -2]}}]
holders:
  H: {{profile: [[1, 2]], grip: 0.5, interface: "taper", shanks: {shanks}}}
tools:
  - {{id: T1, kind: end mill, d: 0.25, flute: 0.5, shank: 0.25, overall: 4, stick_out: 1, holder: H}}
orientations:
  - {{name: only, cuts: [{{name: hole, tool: T1, state: raw, hole: {{at: [0, 0, 0], depth: 0.2}}}}]}}
"""


def read(shanks: str, units: str = "mm"):
    text = SCENE.format(shanks=shanks, units=units)
    return read_scene_text(text, ROOT / "a.scene.yaml", catalogues=Catalogues(ROOT / "no library")).scene


def test_that_shanks_and_interface_are_read_in_the_units_of_the_file():
    (holder,) = read("[0.125, 0.5]", "inch").holders
    assert holder.shanks == (3.175, 12.7)  # 1/8 and 1/2 inch
    assert holder.interface == "taper"


@pytest.mark.parametrize(
    ("shanks", "message"),
    [
        ("[7, 0.5]", "[7, 0.5] is the wrong way round; expected [least, most]"),
        ("[6]", "[6] has 1 entry; expected two diameters [least, most]"),
        ("6", "'6'; expected two diameters [least, most]"),
        ("[0, 6]", "0 mm is out of reason"),
    ],
)
def test_that_faulty_shanks_are_told_at_their_place(shanks: str, message: str):
    with pytest.raises(SceneFileError) as caught:
        read(shanks)
    (fault,) = caught.value.faults
    assert message in fault.message
    assert fault.path.startswith("H/shanks")
    assert fault.line == 10


def test_that_the_schema_knows_shanks():
    shanks = schema("holder")["properties"]["shanks"]
    assert (shanks["type"], shanks["minItems"], shanks["maxItems"]) == ("array", 2, 2)


def test_that_every_holder_of_the_program_names_its_shanks_as_its_title_does():
    holders, faults = catalogue_holders(Catalogues(ROOT / "no library"))
    assert not faults
    assert len(holders) >= 12
    for holder in holders:
        span = re.search(r"for shanks ([\d.]+) to ([\d.]+)", holder.title)
        bore = re.search(r"holder (\d+),", holder.title)
        assert span or bore, holder.title
        named = (float(span[1]), float(span[2])) if span else (float(bore[1]), float(bore[1]))
        assert holder.shanks == named
        assert holder.interface


def test_that_a_faulty_holder_of_a_library_is_told_and_the_others_are_read(tmp_path: Path):
    (tmp_path / "holders").mkdir()
    for name, shanks in (("good", "[1, 6]"), ("bad", "[6, 1]")):
        text = f"format: 1\nunits: mm\nprofile: [[20, 30]]\nshanks: {shanks}\n"
        (tmp_path / "holders" / f"{name}.holder.yaml").write_text(text, encoding="utf-8")
    holders, faults = catalogue_holders(Catalogues(tmp_path))
    assert "good" in {h.name for h in holders}
    assert "bad" not in {h.name for h in holders}
    assert [f.message for f in faults] == ["[6, 1] is the wrong way round; expected [least, most]"]
