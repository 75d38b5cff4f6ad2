"""Real part files of others, checked end to end through the command line.

The files are those of the folder that TIGHTSIDE_PARTS names (test models of a mesh library, MIT
licence); what each must give is what is known of it there: sizes, volumes, closedness.
"""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import numpy as np
import pytest

from app.cli.main import main

FOLDER = os.environ.get("TIGHTSIDE_PARTS")
needs_parts = pytest.mark.skipif(FOLDER is None, reason="TIGHTSIDE_PARTS does not name the folder of real part files")

SCENE = """\
format: 1
units: mm
title: "Real part"
machine: compact_ac
workpiece:
  zero: {{rides_on: plate, at: [0, 0, 0]}}
  states:
    part: [{{name: part, mesh: {mesh}}}]
bodies:
  - {{name: plate, rides_on: platter, box: [90, 90, 30]}}
  - {{name: clamp screw, rides_on: plate, screw: {{standard: ISO 4762, size: M8}}, at: [0, 39, 0]}}
holders:
  H: {{profile: [[19, 12, nut], [19, 26], [32, 10], [46, 20, flange]]}}
tools:
  - {{id: T1, kind: drill, d: 4, flute: 30, shank: 4, point_deg: 118, overall: 75, stick_out: 40, holder: H}}
  - {{id: T2, kind: end mill, d: 3, flute: 8, shank: 6, overall: 57, stick_out: 20, holder: H}}
retract: 60
orientations:
  - name: V1
    tilt: 0
    rotary: 0
    cuts:
      - {{name: top hole, tool: T1, state: part, hole: {{at: {top}, depth: 10}}}}
  - name: V2
    tilt: 95
    rotary: 0
    cuts:
      - {{name: back hole, tool: T2, state: part, hole: {{at: {back}, depth: 4}}}}
"""
# featuretype is 127 x 63.5 x 34.925 mm: a hole from the top, one from the back, past 90
TOP, BACK = "[10, 0, 30]", "[20, 31.75, 12]"
MESH_ERROR = 0.02  # mm: the chord tolerance of STEP, and the width of an interval


def check(folder: Path, capsys: pytest.CaptureFixture[str], mesh: str, *, top: str = TOP, back: str = BACK):
    """Exit status, the JSON of the check (None where there is none), and the faults."""
    scene = folder / "real.scene.yaml"
    scene.write_text(SCENE.format(mesh=mesh, top=top, back=back), encoding="utf-8")
    status = main(["check", str(scene), "--json"])
    said = capsys.readouterr()
    return status, json.loads(said.out) if said.out else None, said.err


def part(folder: Path, name: str) -> None:
    shutil.copy(Path(FOLDER or "") / name, folder / name)


def numbers_of(report) -> dict[tuple[str, str, str, str], float]:
    """Clearance by orientation, cut and pair; the worst pair and those after it."""
    found = {}
    for cut in report["cuts"]:
        clearance = cut["clearance"] or {"at_least": None}
        pairs = [(cut["between"], clearance["at_least"]), *((p["between"], p["at_least"]) for p in cut["next"])]
        known = [(names, at_least) for names, at_least in pairs if at_least is not None]
        found.update({(cut["orientation"], cut["cut"], *names): at_least for names, at_least in known})
    return found


@needs_parts
def test_that_a_step_part_is_checked_end_to_end(tmp_path, capsys):
    part(tmp_path, "featuretype.STEP")
    status, report, _ = check(tmp_path, capsys, "{file: featuretype.STEP, from: base_centre}")
    assert status == 10
    assert report["not_checked"] == []
    cuts = {cut["cut"]: cut for cut in report["cuts"]}
    # by hand: the part's top is at 34.925, the tip at 20 with a point of 2 / tan 59 above it counted in
    assert cuts["top hole"]["depth"]["needs"] == pytest.approx(34.925 - 20.0, abs=MESH_ERROR)
    # by hand: nut radius 9.5 at 20 over the tip; tip 4 below the back face along the tool axis, plate edge at y 45
    tilt = np.radians(95.0)
    axis = np.array([0.0, np.sin(tilt), np.cos(tilt)])
    tip = np.array([20.0, 31.75, 12.0]) - 4.0 * axis
    square = np.array([0.0, -axis[2], axis[1]])  # across the axis, in the plane of the tilt
    corner = tip + 20.0 * axis - 9.5 * square  # the nut's lowest corner towards the plate
    edge = np.array([0.0, 45.0, 0.0])  # the plate's upper back edge runs along X
    expected = float(np.hypot(*(corner - edge)[1:]))
    assert cuts["back hole"]["between"] == ["nut", "plate"]
    assert cuts["back hole"]["clearance"]["at_least"] == pytest.approx(expected, abs=MESH_ERROR)


@needs_parts
@pytest.mark.slow
def test_that_every_format_of_a_part_gives_the_same_verdicts_and_clearances(tmp_path, capsys):
    import trimesh

    part(tmp_path, "featuretype.STEP")
    part(tmp_path, "featuretype.STL")
    mesh = trimesh.load(tmp_path / "featuretype.STL", force="mesh")
    for suffix in ("obj", "ply", "3mf"):
        exported = mesh.copy()
        if suffix == "3mf":  # written in mm, as the format's default says
            exported.apply_scale(25.4)
        exported.export(tmp_path / f"same.{suffix}")
    up = "from: base_centre"
    said = {
        "step": check(tmp_path, capsys, f"{{file: featuretype.STEP, {up}}}"),
        "stl": check(tmp_path, capsys, f"{{file: featuretype.STL, units: inch, {up}}}"),
        "obj": check(tmp_path, capsys, f"{{file: same.obj, units: inch, {up}}}"),
        "3mf": check(tmp_path, capsys, f"{{file: same.3mf, {up}}}"),
        "ply": check(tmp_path, capsys, f"{{file: same.ply, units: inch, {up}}}"),
    }
    status, wanted, _ = said["step"]
    for name, (other_status, report, faults) in said.items():
        assert other_status == status, (name, faults)
        for what in ("verdict", "contact", "between"):
            assert [cut[what] for cut in report["cuts"]] == [cut[what] for cut in wanted["cuts"]]
        numbers, expected = numbers_of(report), numbers_of(wanted)
        shared = numbers.keys() & expected.keys()
        assert len(shared) >= 6
        assert {key: numbers[key] for key in shared} == pytest.approx({k: expected[k] for k in shared}, abs=MESH_ERROR)


@needs_parts
def test_that_a_wedge_in_inches_is_checked(tmp_path, capsys):
    part(tmp_path, "angle_block.STL")
    mesh = "{file: angle_block.STL, units: inch, from: base_centre}"
    status, report, _ = check(tmp_path, capsys, mesh, top="[0, 0, 30]", back="[0, 10, 12]")
    assert status in (0, 10, 20, 30)
    assert report["not_checked"] == []


@needs_parts
def test_that_a_plate_too_large_for_the_table_cannot_be_reached_at_its_end(tmp_path, capsys):
    part(tmp_path, "1002_tray_bottom.STL")
    mesh = "{file: 1002_tray_bottom.STL, units: mm, from: base_centre, up: +Y}"
    # 355.6 mm long: its end is 177.8 from the middle, the table stands at X 70, travel ends at 200
    status, report, _ = check(tmp_path, capsys, mesh, top="[170, 0, 3]", back="[20, 177.8, 1]")
    assert status == 30
    travel = report["cuts"][0]["travel"]
    assert travel["verdict"] == "hits"
    assert travel["x"]["left"][1] == pytest.approx(200 - (70 + 170), abs=1e-6)


@needs_parts
def test_that_loose_triangles_are_never_a_solid(tmp_path, capsys):
    part(tmp_path, "soup.stl")
    # a unit cube of loose triangles, made 40 mm: the tool is amid them
    mesh = "{file: soup.stl, units: inch, from: base_centre}"
    status, report, _ = check(tmp_path, capsys, mesh, top="[0, 0, 30]", back="[0, 12, 12]")
    assert status in (20, 30, 40)
    assert any("open" in note for note in report["assumed"])


@needs_parts
def test_that_a_defective_mesh_gives_a_number_or_a_reason_and_never_a_silent_clear(tmp_path, capsys):
    part(tmp_path, "busted.STL")
    mesh = "{file: busted.STL, units: mm, from: base_centre}"
    status, report, faults = check(tmp_path, capsys, mesh, top="[0, 0, 8]", back="[0, 4, 4]")
    if status == 2:
        assert "busted.STL" in faults
        return
    for cut in report["cuts"]:
        assert cut["verdict"] == "not checked" or cut["clearance"] is not None or cut["contact"] is not None


@needs_parts
def test_that_a_file_without_triangles_is_a_fault_that_names_it(tmp_path, capsys):
    part(tmp_path, "empty.stl")
    status, report, faults = check(tmp_path, capsys, "{file: empty.stl, units: mm}")
    assert status == 2
    assert report is None
    assert "empty.stl" in faults


STEP = Path(__file__).parents[1] / "kinematics" / "step"


@pytest.mark.slow
def test_that_a_part_in_mm_and_in_inch_gives_the_same_verdicts_and_clearances(tmp_path, capsys):
    """A plate with two pins, written by a solid modeller in both units and exported as triangles from one of them."""
    import trimesh

    from kinematics.meshes import load_mesh

    for unit in ("mm", "inch"):
        shutil.copy(STEP / f"pins_and_plate_{unit}.step", tmp_path)
    mesh = load_mesh(STEP / "pins_and_plate_mm.step", units=None)
    triangles = trimesh.Trimesh(mesh.vertices, mesh.faces)
    for suffix in ("stl", "obj", "ply", "3mf"):
        triangles.export(tmp_path / f"same.{suffix}")
    files = {
        "mm": "{file: pins_and_plate_mm.step, from: base_centre}",
        "inch": "{file: pins_and_plate_inch.step, from: base_centre}",
        **{s: f"{{file: same.{s}, units: mm, from: base_centre}}" for s in ("stl", "obj", "ply")},
        "3mf": "{file: same.3mf, from: base_centre}",
    }
    said = {name: check(tmp_path, capsys, file, top="[0, 0, 12]", back="[0, 20, 6]") for name, file in files.items()}
    status, wanted, faults = said["mm"]
    assert wanted is not None, faults
    for name, (other_status, report, faults) in said.items():
        assert other_status == status, (name, faults)
        for what in ("verdict", "contact", "between"):
            assert [cut[what] for cut in report["cuts"]] == [cut[what] for cut in wanted["cuts"]]
        numbers, expected = numbers_of(report), numbers_of(wanted)
        shared = numbers.keys() & expected.keys()
        assert len(shared) >= 6
        assert {key: numbers[key] for key in shared} == pytest.approx({k: expected[k] for k in shared}, abs=MESH_ERROR)
