"""Reading a scene: from files to the core's values."""

from __future__ import annotations

import os
import pickle
from pathlib import Path

import pytest

from app.scenes.catalogues import Catalogues
from app.scenes.faults import SceneFileError
from app.scenes.origins import fault_of, locate
from app.scenes.reader import SceneFile, read_scene, read_scene_text
from kinematics.errors import ToolError
from kinematics.scene import Cut, Hole, KeepOff, Lift, Profile, SetupErrors
from kinematics.shapes import Box, Revolve, Screw, Step

SAMPLES = Path(__file__).parents[3] / "sample_scenes"
DEMO = SAMPLES / "sampler_block_b" / "sampler_block_b.scene.yaml"


def read(text: str, folder: Path, **catalogues: Catalogues) -> SceneFile:
    return read_scene_text(text, folder / "small.scene.yaml", **catalogues)


def changed(text: str, *pairs: tuple[str, str]) -> str:
    for before, after in pairs:
        assert text.count(before) == 1, before
        text = text.replace(before, after)
    return text


def messages(text: str, folder: Path) -> list[str]:
    with pytest.raises(SceneFileError) as caught:
        read(text, folder)
    return [f"{fault.path}: {fault.message}" for fault in caught.value.faults]


# --- the demo, by the numbers that its file shows ---


def test_that_the_demo_is_read_as_its_file_says():
    scene = read_scene(DEMO).scene
    assert scene.title == "Sampler block, op 2, set-up B"
    assert [o.name for o in scene.orientations] == ["V1", "V2", "V3", "V4", "V5", "V6", "V7"]
    assert dict(scene.orientations[5].angles_deg) == {"tilt": 105.0, "rotary": 0.0}
    assert scene.tool("T1").neck == (9.7, 60.0)
    assert scene.keep_off == KeepOff(2.0, 2.0, 5.0)
    assert scene.setup_errors == SetupErrors(0.15, 0.30, 0.20, 0.50, 0.02, 101.5)
    _, cut = scene.cuts()[0]
    assert (cut.name, cut.tool, cut.state, cut.retract) == ("pilot", "T5", "raw", 60.0)
    assert cut.feature == Hole((0.0, 0.0, -2.0), 20.0)
    _, cut = scene.cuts()[1]
    assert cut.feature == Profile(
        ((-18.0, -15.0), (18.0, -15.0), (18.0, 15.0), (-18.0, 15.0)), (0.0, 0.0, -43.5), "outside", is_rectangle=True
    )
    assert scene.workpieces[0].states[1].after == (("V1", "profile"),)


def test_that_the_demo_machine_is_found_and_read():
    machine = read_scene(DEMO).scene.machine
    assert machine.name == "compact_ac"
    assert machine.z.limits == (110.0, 430.0)
    assert [axis.name for axis in machine.table_axes] == ["tilt", "rotary"]
    assert machine.table_axes[1].limits is None
    assert machine.control is not None
    assert machine.control.zero == (-70.0, 0.0, 430.0)
    assert machine.not_modelled == ("door", "enclosure", "nozzles", "tool changer", "hoses")


def test_that_members_of_a_group_follow_it_and_stand_on_it():
    bodies = {body.name: body for body in read_scene(DEMO).scene.bodies}
    assert next(iter(bodies)) == "dovetail fixture"
    assert bodies["dovetail fixture"].shape is None
    assert bodies["riser"].placement.rides_on == bodies["riser"].group == "dovetail fixture"
    assert bodies["riser"].shape == Revolve((Step(60.0, 60.0, 40.0),))
    assert bodies["dovetail body"].shape == Box(56.0, 64.0, 22.0)


def test_that_a_screw_has_the_numbers_of_its_standard():
    # ISO 4762, table: M6 has dk 10 (plain), k 6
    bodies = {body.name: body for body in read_scene(DEMO).scene.bodies}
    assert bodies["clamp screw L"].shape == Screw("ISO 4762", "M6", 10.0, 6.0)


def test_that_every_file_of_the_demo_is_listed_and_counted():
    demo = read_scene(DEMO)
    assert [file.name for file in demo.files] == [DEMO.name, "compact_ac.machine.yaml", "iso_4762.yaml"]
    assert len(demo.input_sha256) == 64
    assert demo.text == DEMO.read_text(encoding="utf-8")


def test_that_values_which_the_file_gives_are_not_assumed():
    assumed = read_scene(DEMO).scene.assumed
    assert not [words for words in assumed if "location" in words or "keep-off" in words or "retract" in words]
    assert "H16: least grip 2 x shank (default)" in assumed


@pytest.mark.parametrize(
    "sample",
    [
        pytest.param(file, id=file.parent.name, marks=[pytest.mark.slow] if "lamp_bracket" in file.name else [])
        for file in sorted(SAMPLES.glob("*/*.scene.yaml"))
    ],
)
def test_that_every_sample_is_read(sample: Path):
    assert read_scene(sample).scene.cuts()


# --- defaults ---


def test_that_what_the_file_does_not_say_is_listed(small_scene: str, tmp_path: Path):
    scene = read(small_scene, tmp_path).scene
    assert scene.setup_errors == SetupErrors()
    assert scene.keep_off == KeepOff()
    assert scene.lift == Lift()
    assert scene.cuts()[0][1].retract == 50.0
    for words in (
        "location 0.15",
        "stick-out error 0.5",
        "keep-off of cuts 2",
        "keep-off of swings 5",
        "retract 50",
        "home tilt 0",
    ):
        assert any(words in line and "default" in line for line in scene.assumed), words


def test_that_the_scene_gives_retract_and_way_out_to_cuts_without_their_own(small_scene: str, tmp_path: Path):
    text = changed(
        small_scene,
        ("orientations:", "retract: 12\nleave: {to: [1, 2, 3]}\norientations:"),
        (
            "depth: 10}}",
            "depth: 10}}\n      - {name: own, tool: T1, state: raw, retract: 7, leave: up, hole: {at: [0, 0, 0], depth: 1}}",  # noqa: E501  # one line of the file
        ),
    )
    first, own = (cut for _, cut in read(text, tmp_path).scene.cuts())
    assert (first.retract, first.leave_to) == (12.0, (1.0, 2.0, 3.0))
    assert (own.retract, own.leave_to) == (7.0, None)


def test_that_a_keep_off_can_be_split(small_scene: str, tmp_path: Path):
    text = changed(
        small_scene, ("bodies:\n  - {name: block", "keep_off: {cut: {cutter: 1, holder: 3}}\nbodies:\n  - {name: block")
    )
    assert read(text, tmp_path).scene.keep_off == KeepOff(1.0, 3.0, 5.0)


@pytest.mark.parametrize(
    ("lift", "expected"),
    [("top", Lift("top")), ("retract", Lift("retract")), ("{gauge_z: 300}", Lift("gauge_z", 300.0))],
)
def test_that_the_lift_is_read(lift: str, expected: Lift, small_scene: str, tmp_path: Path):
    text = changed(small_scene, ("orientations:", f"swings: {{lift: {lift}}}\norientations:"))
    assert read(text, tmp_path).scene.lift == expected


def test_that_numbers_may_be_names(small_scene: str, tmp_path: Path):
    text = changed(small_scene, ("{id: T1,", "{id: 05,"), ("tool: T1", "tool: 05"))
    assert read(text, tmp_path).scene.tools[0].id == "05"


# --- inches ---


def test_that_an_inch_file_comes_out_in_millimetres_and_angles_stay(small_scene: str, tmp_path: Path):
    text = changed(
        small_scene,
        ("units: mm", "units: inch"),
        ("x: {limits: [-200, 200]", "x: {limits: [-8, 8]"),
        ("y: {limits: [-125, 125]", "y: {limits: [-5, 5]"),
        ("z: {limits: [50, 400]", "z: {limits: [2, 16]"),
        ("tilt: 0", "tilt: 30"),
        (
            "d: 10, flute: 22, shank: 10, overall: 80, stick_out: 30",
            "d: 0.375, flute: 0.875, shank: 0.375, overall: 3, stick_out: 1.25",
        ),
        ("depth: 10", "depth: 0.5"),
    )
    scene = read(text, tmp_path).scene
    # 1 inch is 25.4 mm exactly
    assert scene.tool("T1").d == 9.525
    assert scene.tool("T1").stick_out == 31.75
    assert scene.machine.x.limits == (-203.2, 203.2)
    assert dict(scene.orientations[0].angles_deg) == {"tilt": 30.0}
    assert scene.cuts()[0][1].feature == Hole((0.0, 0.0, 0.0), 12.7)
    assert scene.machine.table_axes[0].axis == (1.0, 0.0, 0.0)


def test_that_a_machine_in_millimetres_serves_a_scene_in_inches():
    scene = read_scene(SAMPLES / "clamp_block_inch" / "clamp_block_inch.scene.yaml").scene
    assert scene.machine.z.limits == (110.0, 430.0)


# --- what belongs together ---


def test_that_faults_of_all_kinds_come_together_in_the_order_of_the_file(small_scene: str, tmp_path: Path):
    text = changed(
        small_scene, ("[60, 60, 20]", "[60, 60]"), ("holder: H}", "holder: J}"), ("state: raw", "state: row")
    )
    with pytest.raises(SceneFileError) as caught:
        read(text, tmp_path)
    assert [fault.path for fault in caught.value.faults] == ["block", "T1/holder", "V1/port/state"]


def test_that_a_body_may_stand_on_the_side_of_another(small_scene: str, tmp_path: Path):
    text = changed(
        small_scene,
        ("holders:", "  - {name: stop, rides_on: {body: block, face: +X}, cylinder: {d: 4, h: 5}}\nholders:"),
    )
    stop = read(text, tmp_path).scene.bodies[-1]
    assert (stop.placement.rides_on, stop.placement.face) == ("block", "+X")


def test_that_a_cut_may_be_given_by_a_file_of_points(small_scene: str, tmp_path: Path):
    (tmp_path / "points.txt").write_text("\ufeff# x y z\n0 0 5\n\n1.5\t0 5 # on the way\n-2;0;5\n", encoding="utf-8")
    text = changed(small_scene, ("hole: {at: [0, 0, 0], depth: 10}", "path: {file: points.txt}"))
    scene_file = read(text, tmp_path)
    assert scene_file.scene.cuts()[0][1].feature.points == ((0.0, 0.0, 5.0), (1.5, 0.0, 5.0), (-2.0, 0.0, 5.0))
    assert scene_file.files[-1].name == "points.txt"


def test_that_a_cut_of_two_workpieces_says_which():
    scene = read_scene(SAMPLES / "latch_pair" / "latch_pair.scene.yaml").scene
    assert len(scene.workpieces) == 2
    assert all(cut.workpiece in {w.name for w in scene.workpieces} for _, cut in scene.cuts())


# --- where errors point ---


def test_that_an_error_of_the_core_finds_its_line(small_scene: str, tmp_path: Path):
    tool = read(small_scene, tmp_path).scene.tool("T1")
    fault = fault_of(ToolError("is odd", origin=tool.origin, key=("stick_out",)))
    line = small_scene.splitlines()[fault.line - 1]
    assert line[fault.column - 1 :].startswith("30, holder")
    assert fault.path == "T1/stick_out"


def test_that_a_key_that_is_not_there_is_placed_at_its_object(small_scene: str, tmp_path: Path):
    tool = read(small_scene, tmp_path).scene.tool("T1")
    place = locate(tool.origin, ("neck", "d"))
    assert place is not None
    assert small_scene.splitlines()[place.line - 1][place.column - 1 :].startswith("{id: T1")
    assert place.path == "T1/neck/d"


def test_that_a_key_below_a_shape_or_feature_is_found(small_scene: str, tmp_path: Path):
    cut = read(small_scene, tmp_path).scene.cuts()[0][1]
    place = locate(cut.origin, ("at", "z"))
    assert place is not None
    assert place.path == "V1/port/at/z"
    assert small_scene.splitlines()[place.line - 1][place.column - 1 :].startswith("0], depth")


def test_that_a_fault_in_a_holder_points_into_the_holders_file(small_scene: str, tmp_path: Path):
    (tmp_path / "thin.holder.yaml").write_text("format: 1\nunits: mm\nprofile:\n  - [28, 22]\n  - [46, 20, shank]\n")
    text = changed(small_scene, ("holder: H}", "holder: ./thin.holder.yaml}"))
    with pytest.raises(SceneFileError) as caught:
        read(text, tmp_path)
    (fault,) = caught.value.faults
    assert (Path(fault.file).name, fault.line, fault.path) == ("thin.holder.yaml", 5, "profile/2")


def test_that_an_unknown_origin_has_no_place():
    assert locate(None) is None
    assert fault_of(ToolError("is odd"), file="a.scene.yaml").line == 1


def test_that_a_scene_crosses_to_another_process_and_still_finds_its_lines():
    scene = read_scene(DEMO).scene
    copy = pickle.loads(pickle.dumps(scene))
    cut: Cut = copy.cuts()[0][1]
    assert locate(cut.origin, ("depth",)) == locate(scene.cuts()[0][1].origin, ("depth",))


# --- the checksum ---


def test_that_the_checksum_follows_every_file_that_is_read(small_scene: str, tmp_path: Path):
    points = tmp_path / "points.txt"
    points.write_text("0 0 5\n")
    text = changed(small_scene, ("hole: {at: [0, 0, 0], depth: 10}", "path: {file: points.txt}"))
    first = read(text, tmp_path).input_sha256
    assert read(text, tmp_path).input_sha256 == first
    points.write_text("0 0 6\n")
    second = read(text, tmp_path).input_sha256
    third = read(text.replace("title: Small", "title: small"), tmp_path).input_sha256
    assert len({first, second, third}) == 3


def test_that_the_checksum_does_not_depend_on_where_the_files_lie(small_scene: str, tmp_path: Path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    assert read(small_scene, tmp_path / "a").input_sha256 == read(small_scene, tmp_path / "b").input_sha256


# --- files that are not there, or must not be opened ---


def test_that_a_missing_scene_is_one_fault_with_the_nearest_name(tmp_path: Path):
    (tmp_path / "bracket.scene.yaml").write_text("format: 1\n")
    with pytest.raises(SceneFileError, match=r"nearest: bracket\.scene\.yaml") as caught:
        read_scene(tmp_path / "braket.scene.yaml")
    assert len(caught.value.faults) == 1


def test_that_a_folder_is_no_scene(tmp_path: Path):
    with pytest.raises(SceneFileError, match="cannot be read"):
        read_scene(tmp_path)


TETRAHEDRON = (
    "solid t\n"
    + "".join(
        "facet normal 0 0 0\nouter loop\n"
        + "".join(f"vertex {x} {y} {z}\n" for x, y, z in face)
        + "endloop\nendfacet\n"
        for face in (
            ((0, 0, 0), (0, 40, 0), (40, 0, 0)),
            ((0, 0, 0), (40, 0, 0), (0, 0, 40)),
            ((0, 0, 0), (0, 0, 40), (0, 40, 0)),
            ((40, 0, 0), (0, 40, 0), (0, 0, 40)),
        )
    )
    + "endsolid t\n"
)


def with_mesh(text: str, mesh: str) -> str:
    return changed(text, ("box: [60, 60, 20]", f"mesh: {mesh}"))


def test_that_a_mesh_beside_the_scene_is_read_and_placed(small_scene: str, tmp_path: Path):
    (tmp_path / "t.stl").write_text(TETRAHEDRON)
    scene_file = read(with_mesh(small_scene, "{file: t.stl, units: mm, from: base_centre}"), tmp_path)
    shape = scene_file.scene.bodies[0].shape
    assert shape.mesh.bounds == ((-20.0, -20.0, 0.0), (20.0, 20.0, 40.0))
    assert scene_file.files[-1].name == "t.stl"


def test_that_an_open_mesh_is_named_in_the_notes(small_scene: str, tmp_path: Path):
    faces = TETRAHEDRON.split("endfacet\n")
    (tmp_path / "t.stl").write_text("endfacet\n".join(faces[1:]).replace("facet", "solid t\nfacet", 1))
    text = with_mesh(small_scene, "{file: t.stl, units: mm}")
    scene_file = read(text, tmp_path)
    assert "block: t.stl is open at 3 edges" in scene_file.notes
    note = next(note for note in scene_file.noted if "open at" in note.message)
    assert text.splitlines()[note.line - 1][note.column - 1 :].startswith("{file: t.stl")


@pytest.mark.parametrize("name", ["../t.stl", "sub/../../t.stl", "sub/link.stl", "link/t.stl"])
def test_that_a_mesh_outside_the_opened_folders_is_refused(name: str, small_scene: str, tmp_path: Path):
    scenes = tmp_path / "scenes"
    (scenes / "sub").mkdir(parents=True)
    (tmp_path / "t.stl").write_text(TETRAHEDRON)
    os.symlink(tmp_path / "t.stl", scenes / "sub" / "link.stl")
    os.symlink(tmp_path, scenes / "link")
    (line,) = messages(with_mesh(small_scene, f"{{file: {name}, units: mm}}"), scenes)
    assert line == f"block/file: '{name}' leaves the folder of the scene; expected a file in it or in the library"


def test_that_a_file_outside_is_refused_whether_it_exists_or_not(small_scene: str, tmp_path: Path):
    (line,) = messages(with_mesh(small_scene, "{file: ../nothing.stl, units: mm}"), tmp_path)
    assert "leaves the folder" in line


def test_that_a_link_that_stays_inside_is_followed(small_scene: str, tmp_path: Path):
    (tmp_path / "t.stl").write_text(TETRAHEDRON)
    os.symlink(tmp_path / "t.stl", tmp_path / "same.stl")
    assert read(with_mesh(small_scene, "{file: same.stl, units: mm}"), tmp_path).scene


def test_that_a_mesh_is_read_again_only_when_its_file_changes(small_scene: str, tmp_path: Path):
    file = tmp_path / "t.stl"
    file.write_text(TETRAHEDRON)
    catalogues, text = Catalogues(), with_mesh(small_scene, "{file: t.stl, units: mm}")
    first = read(text, tmp_path, catalogues=catalogues).scene.bodies[0].shape.mesh
    assert read(text, tmp_path, catalogues=catalogues).scene.bodies[0].shape.mesh is first
    file.write_text(TETRAHEDRON.replace("40", "50"))
    assert read(text, tmp_path, catalogues=catalogues).scene.bodies[0].shape.mesh.bounds[1] == (50.0, 50.0, 50.0)
