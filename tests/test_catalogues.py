"""The machines and holders that come with the program: they read, stand up, and keep to the open standards.

Figures marked "read" come from restatements of the standards, those marked "from memory" do not even have that; a
figure that nobody could look up is an assumption and is not tested.
"""

from __future__ import annotations

import math
import re
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ruamel.yaml import YAML

from app.scenes.catalogues import Catalogues
from app.scenes.reader import read_scene_text
from kinematics.machine import Machine, platter_pose, tool_axis_in_platter
from kinematics.placement import place_scene
from kinematics.scene import Holder, Scene

ROOT = Path(__file__).parent.parent
MACHINES = tuple(sorted(f.name.removesuffix(".machine.yaml") for f in (ROOT / "shared/machines").glob("*.yaml")))
HOLDERS = tuple(sorted(f.name.removesuffix(".holder.yaml") for f in (ROOT / "shared/holders").glob("*.yaml")))

# Flange diameter and distance from the gauge line to the flange's tool side.
FLANGES = {
    "jis30": (46.0, 2 + 20.0),  # JIS B 6339 size 30, read
    "jis40": (63.0, 2 + 25.0),  # JIS B 6339 size 40, read
    "iso40": (63.55, 3.2 + 15.9),  # ISO 7388-1 size 40, from memory
    "hsk40": (40.0, 20.0),  # ISO 12164-1: the size is the flange's diameter, read; the width from memory
    "hsk63": (63.0, 26.0),  # the same
}
# JIS B 6339, read: gauge diameter, length of the taper, diameter of its small end
TAPERS = {"30": (31.75, 48.4, 17.633), "40": (44.45, 65.4, 25.375)}
# ISO 12164-1, from memory: diameter of the 1 : 9.98 taper at the flange
HSK_TAPERS = {"40": 30.007, "63": 48.010}
# ISO 15488: large diameter and length of the collet; 11, 16 and the diameters of 25 and 32 read, the rest from memory
COLLETS = {11: (11.5, 18.0), 16: (17.0, 27.5), 20: (21.0, 31.5), 25: (26.0, 34.0), 32: (33.0, 40.0)}
# Usual nuts, from memory: makers differ
NUTS = {(11, ""): 19, (11, "small"): 16, (16, ""): 28, (16, "slotted"): 32, (16, "small"): 22}
NUTS |= {(20, ""): 34, (20, "small"): 28, (25, ""): 42, (25, "small"): 35, (32, ""): 50}
# DIN 69882-8, from memory: diameters of the 4.5 degree nose by bore
SHRINK_NOSES = {6: (21, 27), 8: (21, 27), 10: (24, 32), 12: (24, 32)}
# DIN 6359, from memory: diameter of a side-lock holder by bore
SIDE_LOCKS = {6: 25, 10: 35, 12: 42, 20: 52}
# DIN 6535: length of the cylindrical shank, read
SHANKS = {6: 36, 8: 36, 10: 40, 12: 45, 20: 50}

SCENE = """\
format: 1
units: mm
title: Everything once
machine: {machine}
workpiece:
  zero: {{rides_on: table, at: [0, 0, 200]}}
  states:
    raw: [{{name: stock, box: [20, 20, 20], at: [0, 0, -20]}}]
tools:
  - {{id: T1, kind: end mill, d: 4, flute: 8, shank: 4, overall: 150, stick_out: 60, holder: {holder}}}
orientations:
  - name: only
{angles}    cuts:
      - {{name: hole, tool: T1, state: raw, hole: {{at: [0, 0, 0], depth: 5}}}}
"""


def text_of(kind: str, name: str) -> dict[str, Any]:
    return YAML(typ="safe").load((ROOT / "shared" / f"{kind}s" / f"{name}.{kind}.yaml").read_text(encoding="utf-8"))


@cache
def scene_with(machine: str, holder: str = "collet_11_jis30") -> Scene:
    axes = text_of("machine", machine).get("table_axes") or []
    angles = "".join(f"    {axis['name']}: 0\n" for axis in axes)
    text = SCENE.format(machine=machine, holder=holder, angles=angles)
    return read_scene_text(text, ROOT / "a.scene.yaml", catalogues=Catalogues(ROOT / "no library")).scene


def machine_called(name: str) -> Machine:
    return scene_with(name).machine


def holder_called(name: str) -> Holder:
    return scene_with("compact_ac", name).tool("T1").holder


def test_that_there_are_five_machines_and_a_dozen_holders():
    assert set(MACHINES) == {"compact_ac", "compact_bc", "inclined_bc", "single_rotary", "vise_station"}
    assert len(HOLDERS) >= 12


@pytest.mark.parametrize("name", MACHINES)
def test_that_a_machine_reads_and_its_bodies_stand(name: str):
    placed = place_scene(scene_with(name))
    names = [body.name for body in placed.bodies if body.is_machine]
    assert len(names) == len(set(names)) >= 5
    assert "invented" in text_of("machine", name)["sources"]


@pytest.mark.parametrize("name", MACHINES)
def test_that_a_machine_stands_at_home_and_at_zero_within_its_limits(name: str):
    machine = machine_called(name)
    home = dict(machine.home_deg)
    assert all(axis.allows(home.get(axis.name, 0.0)) and axis.allows(0.0) for axis in machine.table_axes)
    for axis in machine.linear_axes:
        assert axis.limits[0] < axis.limits[1]


@pytest.mark.parametrize("name", MACHINES)
def test_that_the_table_of_a_machine_lies_under_all_that_stands_on_it(name: str):
    machine = text_of("machine", name)
    table_top = next(body for body in machine["bodies"] if body["name"] == "table top")
    assert table_top["at"][2] + table_top["box"][2] == 0


def test_that_plus_tilt_leans_an_ac_table_to_the_operator_and_a_bc_table_to_the_right():
    """Right-hand turns about +X and +Y: the part's top moves to -Y, to +X."""
    np.testing.assert_allclose(
        platter_pose(machine_called("compact_ac"), {"tilt": 90}).direction((0, 0, 1)), (0, -1, 0)
    )
    np.testing.assert_allclose(platter_pose(machine_called("compact_bc"), {"tilt": 90}).direction((0, 0, 1)), (1, 0, 0))


@pytest.mark.parametrize("swivel", [0, 30, 90, 135, 180])
def test_that_the_inclined_axis_tilts_by_its_closed_form(swivel: float):
    """About an axis 45 degrees off Z, cos(tilt) = cos(45)^2 + sin(45)^2 cos(swivel)."""
    up_R = tool_axis_in_platter(machine_called("inclined_bc"), {"swivel": swivel, "rotary": 0})
    assert up_R[2] == pytest.approx((1 + math.cos(math.radians(swivel))) / 2, abs=1e-7)


def test_that_half_a_turn_of_the_inclined_axis_brings_the_front_up():
    up_R = tool_axis_in_platter(machine_called("inclined_bc"), {"swivel": 180, "rotary": 0})
    np.testing.assert_allclose(up_R, (0, -1, 0), atol=1e-7)


def test_that_the_single_rotary_turns_the_part_about_its_own_length():
    """A right-hand quarter turn about +X takes Y up to Z."""
    machine = machine_called("single_rotary")
    np.testing.assert_allclose(platter_pose(machine, {"rotary": 90}).direction((0, 1, 0)), (0, 0, 1), atol=1e-12)
    np.testing.assert_allclose(platter_pose(machine, {"rotary": 90}).direction((1, 0, 0)), (1, 0, 0), atol=1e-12)


def test_that_the_centre_of_the_tailstock_points_along_the_rotary_axis():
    placed = {body.name: body for body in place_scene(scene_with("single_rotary")).bodies}
    axis = machine_called("single_rotary").table_axes[0]
    centre = placed["tailstock centre"]
    np.testing.assert_allclose(centre.X_CG.points((0, 0, 0))[1:], axis.origin[1:], atol=1e-9)
    np.testing.assert_allclose(centre.X_CG.direction((0, 0, 1)), (-1, 0, 0), atol=1e-12)


def test_that_a_vise_station_has_no_table_axis_and_a_moving_table():
    machine = machine_called("vise_station")
    assert machine.table_axes == ()
    assert [axis.moves for axis in machine.linear_axes] == ["table", "table", "head"]


@pytest.mark.parametrize("name", HOLDERS)
def test_that_a_holder_reads_with_its_steps_and_its_grip(name: str):
    holder = holder_called(name)
    file = text_of("holder", name)
    assert sum(step.length for step in holder.steps) == pytest.approx(
        sum(next(v for v in reversed(row) if not isinstance(v, str)) for row in file["profile"])
    )
    assert holder.grip == file["grip"]
    assert file["units"] == "mm"


@pytest.mark.parametrize("name", HOLDERS)
def test_that_a_holder_ends_in_the_flange_of_its_standard(name: str):
    flange = holder_called(name).steps[-1]
    d, length = FLANGES[name.rsplit("_", 1)[-1]]
    assert (flange.name, flange.d1, flange.d2, flange.length) == ("flange", d, d, pytest.approx(length))


@pytest.mark.parametrize("name", HOLDERS)
def test_that_a_holder_gets_no_thinner_towards_its_flange(name: str):
    """So nothing of a holder hides behind a thicker step when it is seen from the tool."""
    diameters = [d for step in holder_called(name).steps[:-1] for d in (step.d1, step.d2)]
    assert diameters == sorted(diameters)


@pytest.mark.parametrize("name", HOLDERS)
def test_that_a_holder_marks_what_is_assumed_and_names_its_standards(name: str):
    sources = text_of("holder", name)["sources"]
    assert "assum" in sources
    assert re.search(r"(ISO|DIN|JIS B) \d+", sources)
    assert "from memory" in sources or "read" in sources


@pytest.mark.parametrize("size", TAPERS)
def test_that_a_7_24_taper_ends_where_its_arithmetic_says(size: str):
    """JIS B 6339, read: small end = gauge diameter - 7/24 length. The flange has to be wider than the taper."""
    gauge, length, small_end = TAPERS[size]
    assert gauge - 7 / 24 * length == pytest.approx(small_end, abs=0.001)
    for system in ("jis", "iso"):
        if f"{system}{size}" in FLANGES:
            assert FLANGES[f"{system}{size}"][0] > gauge


@pytest.mark.parametrize("size", HSK_TAPERS)
def test_that_a_hollow_taper_fits_inside_its_flange(size: str):
    """ISO 12164-1: taper 1 : 9.98, so its half angle is 2.868 degrees."""
    assert math.degrees(math.atan(1 / (2 * 9.98))) == pytest.approx(2.868, abs=0.001)
    assert HSK_TAPERS[size] < FLANGES[f"hsk{size}"][0] == float(size)


@pytest.mark.parametrize("name", [name for name in HOLDERS if name.startswith("collet_")])
def test_that_a_collet_chuck_keeps_to_iso_15488(name: str):
    """The nut goes over the collet and is the usual one; the tool is gripped over two thirds of the collet or more."""
    match = re.fullmatch(r"collet_(\d+)(?:_(small|slotted))?_\w+", name)
    assert match is not None
    size, which = int(match[1]), match[2] or ""
    collet_d, collet_length = COLLETS[size]
    nut = holder_called(name).steps[0]
    assert (nut.name, nut.d1, nut.d2) == ("nut", NUTS[size, which], NUTS[size, which])
    assert nut.d1 > collet_d
    grip = holder_called(name).grip
    assert grip is not None
    assert 2 / 3 * collet_length <= grip < 2 / 3 * collet_length + 0.1


@pytest.mark.parametrize("name", [name for name in HOLDERS if name.startswith("shrink_")])
def test_that_a_shrink_holder_opens_by_4_5_degrees_per_side(name: str):
    """From memory, DIN 69882-8; the grip is the shank of DIN 6535, read."""
    holder = holder_called(name)
    nose = holder.steps[0]
    assert math.degrees(math.atan((nose.d2 - nose.d1) / 2 / nose.length)) == pytest.approx(4.5, abs=0.02)
    bore = int(name.split("_")[1])
    assert (nose.name, nose.d1, nose.d2) == ("nose", *SHRINK_NOSES[bore])
    assert holder.grip == SHANKS[bore]


@pytest.mark.parametrize("name", [name for name in HOLDERS if name.startswith("side_lock_")])
def test_that_a_side_lock_holder_takes_the_whole_shank(name: str):
    """DIN 6535 form HB, read: the screw has to meet the flat."""
    bore = int(name.split("_")[2])
    holder = holder_called(name)
    assert holder.grip == SHANKS[bore]
    assert holder.steps[0].d1 == holder.steps[0].d2 == SIDE_LOCKS[bore]
    assert sum(step.length for step in holder.steps) > SHANKS[bore]


def test_that_no_file_of_the_catalogues_names_a_registry_a_path_or_a_brand_mark():
    for file in (ROOT / "shared").rglob("*.yaml"):
        text = file.read_text(encoding="utf-8")
        assert not re.search(r"https?:|www\.|(^|\s)/\w+/|®|™|TODO", text), file.name
