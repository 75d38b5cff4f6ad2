"""Mesh files: what is read, what is refused, and how a mesh is placed.

Volumes are by the divergence theorem here, not by a library; trimesh writes files and is a second reader.
"""

import math
import os
import struct
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import trimesh

from kinematics.meshes import Mesh, load_mesh, placed_mesh
from tests.kinematics.mesh_writers import (
    CUBE_F,
    CUBE_V,
    ITEM,
    archive_3mf,
    binary_stl,
    check_fault,
    mesh_xml,
    model_3mf,
    obj,
    ply,
    size,
    text_stl,
    volume,
    written,
)

PARTS = os.environ.get("TIGHTSIDE_PARTS")
needs_parts = pytest.mark.skipif(not PARTS, reason="TIGHTSIDE_PARTS does not name the folder of real part files")


@pytest.fixture(autouse=True)
def no_cache(monkeypatch):
    monkeypatch.setenv("TIGHTSIDE_CACHE", "off")


# --- real files; what to expect is from the README beside them -----------------------------------


@needs_parts
@pytest.mark.parametrize(
    ("name", "units", "expected_size", "n_faces", "expected_volume"),
    [
        ("featuretype.STL", "inch", (127.0, 63.5, 34.925), 3476, 11.628 * 25.4**3),
        ("angle_block.STL", "inch", (1.339 * 25.4, 1.0 * 25.4, 1.352 * 25.4), None, None),
        ("1002_tray_bottom.STL", "mm", (355.6, 3.175, 355.6), 4520, None),
        ("busted.STL", "mm", (10.7, 11.4, 9.6), 3878, None),
    ],
)
def test_that_real_stl_files_are_what_their_readme_says(name, units, expected_size, n_faces, expected_volume):
    mesh = load_mesh(Path(PARTS) / name, units=units)
    assert mesh.is_closed and mesh.chord_error == 0.0
    assert size(mesh) == pytest.approx(expected_size, abs=0.051)
    if n_faces:
        assert len(mesh.faces) == n_faces
    if expected_volume:
        assert volume(mesh) == pytest.approx(expected_volume, rel=5e-4)
    assert volume(mesh) > 0.0


@needs_parts
def test_that_the_real_step_file_closes_and_has_its_volume():
    mesh = load_mesh(Path(PARTS) / "featuretype.STEP", units=None)
    assert mesh.is_closed and mesh.chord_error == 0.01
    assert size(mesh) == pytest.approx((127.0, 63.5, 34.925), abs=1e-4)
    assert volume(mesh) == pytest.approx(190_500.0, rel=5e-4)
    stl = load_mesh(Path(PARTS) / "featuretype.STL", units="inch")
    assert volume(mesh) == pytest.approx(volume(stl), rel=5e-4)
    named = load_mesh(Path(PARTS) / "featuretype.STEP", units="inch", body="featuretype")
    assert (named.vertices == mesh.vertices).all() and (named.faces == mesh.faces).all()


@needs_parts
def test_that_a_step_file_in_mm_is_the_one_in_inch_25_4_times_smaller(tmp_path):
    # The file states its inch as 0.0254 metre; with 0.001 the same numbers are millimetres.
    text = (Path(PARTS) / "featuretype.STEP").read_bytes()
    in_mm = load_mesh(written(tmp_path, "mm.step", text.replace(b"0.02539999999999999900", b"0.001")), units="mm")
    assert size(in_mm) == pytest.approx((5.0, 2.5, 1.375), abs=1e-5)
    assert volume(in_mm) == pytest.approx(11.628, rel=5e-3)  # the chord tolerance is 25 times coarser here


@needs_parts
def test_that_loose_triangles_are_no_solid():
    mesh = load_mesh(Path(PARTS) / "soup.stl", units="mm")
    assert len(mesh.faces) == 100 and mesh.n_open_edges == 300
    assert any("not closed: 300 edges" in note for note in mesh.notes)


@needs_parts
def test_that_a_file_without_triangles_is_a_fault_that_names_it():
    check_fault(Path(PARTS) / "empty.stl", "has no triangles; expected ")


# --- the same solid in every format ---------------------------------------------------------------


def formats(part):
    """File name, bytes and unit of one trimesh in every format, as trimesh writes them."""
    yield "a.stl", part.export(file_type="stl"), "mm"
    yield "b.stl", part.export(file_type="stl_ascii").encode(), "mm"
    yield "c.obj", part.export(file_type="obj").encode(), "mm"
    yield "d.ply", part.export(file_type="ply"), "mm"
    yield "e.ply", trimesh.exchange.ply.export_ply(part, encoding="ascii"), "mm"
    yield "f.3mf", part.export(file_type="3mf"), None


def test_that_every_format_gives_the_same_solid(tmp_path):
    part = trimesh.creation.annulus(r_min=10.0, r_max=25.0, height=30.0, sections=40)
    part.apply_transform(trimesh.transformations.rotation_matrix(0.3, (1, 2, 3), (4, 5, 6)))
    ring = 40 / 2 * math.sin(2 * math.pi / 40) * (25.0**2 - 10.0**2) * 30.0  # two regular polygons of 40 sides
    for name, data, units in formats(part):
        mesh = load_mesh(written(tmp_path, name, data), units=units)
        assert mesh.is_closed, name
        assert len(mesh.faces) == len(part.faces)
        assert volume(mesh) == pytest.approx(ring, rel=1e-5), name
        np.testing.assert_allclose(mesh.bounds, part.bounds, atol=1e-4)


@pytest.mark.slow
@needs_parts
def test_that_trimesh_reads_real_files_alike():
    for name in ("featuretype.STL", "angle_block.STL", "1002_tray_bottom.STL", "busted.STL"):
        peer = trimesh.load(Path(PARTS) / name)
        mesh = load_mesh(Path(PARTS) / name, units="mm")
        assert mesh.is_closed == peer.is_watertight
        assert volume(mesh) == pytest.approx(peer.volume, rel=1e-9)
        np.testing.assert_allclose(mesh.bounds, peer.bounds, atol=1e-6)


# --- STL ------------------------------------------------------------------------------------------


def test_that_a_binary_stl_may_begin_with_the_word_solid(tmp_path):
    mesh = load_mesh(written(tmp_path, "p.stl", binary_stl(CUBE_V, CUBE_F, b"solid facet")), units="mm")
    assert volume(mesh) == pytest.approx(36 * 30 * 41.5)
    assert mesh.notes == ("36 corners welded to 8 points",)
    assert not mesh.vertices.flags.writeable and not mesh.faces.flags.writeable
    assert mesh.faces.dtype == np.int32 and mesh.vertices.dtype == np.float64


def test_that_a_header_that_promises_ten_million_triangles_is_refused_at_once(tmp_path):
    path = written(tmp_path, "liar.stl", binary_stl(CUBE_V, CUBE_F, count=10_000_000))
    before = time.perf_counter()
    check_fault(path, "promises 10000000 triangles", "500000084 bytes", "the file has 684")
    assert time.perf_counter() - before < 0.2


@pytest.mark.parametrize("count", [0, 11, 13])
def test_that_a_header_that_counts_wrong_is_refused(tmp_path, count):
    check_fault(written(tmp_path, "liar.stl", binary_stl(CUBE_V, CUBE_F, count=count)), f"promises {count} triangles")


def test_that_more_than_five_million_triangles_are_refused(tmp_path):
    path = tmp_path / "huge.stl"
    with path.open("wb") as file:  # a sparse file takes no room
        file.write(b"\0" * 80 + struct.pack("<I", 5_000_001))
        file.truncate(84 + 50 * 5_000_001)
    check_fault(path, "5000001 triangles; expected at most 5000000")


def test_that_solids_of_a_text_stl_are_bodies(tmp_path):
    two = text_stl(CUBE_V, CUBE_F, "left jaw") + text_stl(CUBE_V + [50.0, 0.0, 0.0], CUBE_F, "right jaw")
    path = written(tmp_path, "jaws.stl", two)
    both = load_mesh(path, units="mm")
    assert volume(both) == pytest.approx(2 * 36 * 30 * 41.5) and both.is_closed
    assert load_mesh(path, units="mm", body="right jaw").bounds[0][0] == 50.0
    check_fault(path, "no body 'right jew'", "expected one of left jaw, right jaw; nearest: right jaw",
                body="right jew", key="body")  # fmt: skip


def test_that_solids_of_a_text_stl_that_close_only_together_are_joined(tmp_path):
    patches = text_stl(CUBE_V, CUBE_F[:4], "ends") + text_stl(CUBE_V, CUBE_F[4:], "sides")
    mesh = load_mesh(written(tmp_path, "patches.stl", patches), units="mm")
    assert mesh.is_closed and any("joined" in note for note in mesh.notes)


def test_that_a_body_of_a_file_without_names_is_a_fault(tmp_path):
    path = written(tmp_path, "p.stl", binary_stl(CUBE_V, CUBE_F))
    check_fault(path, "no body 'jaw'; the file names none", body="jaw", key="body")


def test_that_text_stl_is_read_in_any_case_and_layout(tmp_path):
    data = text_stl(CUBE_V, CUBE_F).upper().replace(b"\n", b"\r\n").replace(b"VERTEX", b"\tVertex")
    assert volume(load_mesh(written(tmp_path, "P.STL", data), units="mm")) == pytest.approx(36 * 30 * 41.5)


@pytest.mark.parametrize(
    ("change", "line"),
    [((b"36.0 0.0 0.0", b"36,0 0.0 0.0"), 18), ((b"endfacet", b"endfaced"), 2), ((b"36.0 0.0 0.0", b"1_0 0 0"), 16)],
)
def test_that_a_line_that_cannot_be_read_is_named(tmp_path, change, line):
    check_fault(written(tmp_path, "p.stl", text_stl(CUBE_V, CUBE_F).replace(*change, 1)), f"line {line}: ")


# --- units, sizes, paths --------------------------------------------------------------------------


def test_that_a_missing_unit_is_asked_with_both_sizes(tmp_path):
    for name, data in (
        ("p.stl", binary_stl(CUBE_V, CUBE_F)),
        ("p.obj", obj(CUBE_V, CUBE_F)),
        ("p.ply", ply(CUBE_V, CUBE_F)),
    ):
        check_fault(
            written(tmp_path, name, data),
            "has no unit; is it 36.0 x 30.0 x 41.5 mm, or 36.0 x 30.0 x 41.5 inch (914.4 x 762.0 x 1054.1 mm)",
            "expected units: mm or units: inch",
            units=None,
            key="units",
        )


def test_that_an_unknown_unit_is_a_fault_with_the_nearest(tmp_path):
    path = written(tmp_path, "p.stl", binary_stl(CUBE_V, CUBE_F))
    check_fault(path, "no unit 'inches'", "nearest: inch", units="inches", key="units")


@pytest.mark.parametrize(("units", "factor"), [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("inch", 25.4)])
def test_that_units_scale(tmp_path, units, factor):
    mesh = load_mesh(written(tmp_path, "p.obj", obj(CUBE_V, CUBE_F)), units=units)
    assert size(mesh) == pytest.approx([36 * factor, 30 * factor, 41.5 * factor])
    assert any("is its unit right?" in note for note in mesh.notes) == (factor == 25.4 or factor > 100)


def test_that_a_tiny_part_asks_whether_its_unit_is_right(tmp_path):
    mesh = load_mesh(written(tmp_path, "p.obj", obj(CUBE_V / 1000, CUBE_F)), units="mm")
    assert "0.036 x 0.030 x 0.042 mm: is its unit right?" in mesh.notes


@pytest.mark.parametrize("far", [1.1e5, 1e30, 1e300])
def test_that_coordinates_beyond_reason_are_refused(tmp_path, far):
    for name, data in (("p.obj", obj(CUBE_V + far, CUBE_F)), ("p.ply", ply(CUBE_V + far, CUBE_F))):
        check_fault(written(tmp_path, name, data), "a coordinate of ", "expected at most 100000 mm", units="inch")


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_that_coordinates_that_are_no_numbers_are_refused(tmp_path, bad):
    vertices = CUBE_V.copy()
    vertices[3, 1] = bad
    xml = model_3mf([(1, "", mesh_xml(vertices, CUBE_F))], ITEM)
    for name, data in (
        ("p.stl", binary_stl(vertices, CUBE_F)),
        ("q.stl", text_stl(vertices, CUBE_F)),
        ("p.obj", obj(vertices, CUBE_F)),
        ("p.ply", ply(vertices, CUBE_F)),
        ("p.3mf", archive_3mf(xml)),
    ):
        check_fault(written(tmp_path, name, data), "expected", units=None if name.endswith("3mf") else "mm")


def test_that_corners_out_of_range_are_refused(tmp_path):
    faces = CUBE_F.copy()
    faces[5, 2] = 8
    check_fault(written(tmp_path, "p.obj", obj(CUBE_V, faces)), "names vertex 9; expected 1 to 8")
    check_fault(written(tmp_path, "p.ply", ply(CUBE_V, faces)), "names vertex 8; expected 0 to 7")
    xml = model_3mf([(1, "", mesh_xml(CUBE_V, faces))], ITEM)
    check_fault(written(tmp_path, "p.3mf", archive_3mf(xml)), "names vertex 8; expected 0 to 7", units=None)


def test_that_missing_files_folders_and_other_files_are_faults(tmp_path):
    written(tmp_path, "bracket.stl", binary_stl(CUBE_V, CUBE_F))
    check_fault(tmp_path / "braket.stl", "not found in ", "nearest: bracket.stl", key="file")
    (tmp_path / "folder.stl").mkdir()
    check_fault(tmp_path / "folder.stl", "is a folder; expected a mesh file")
    check_fault(written(tmp_path, "part.txt", b"x"), "a file ending in .txt; expected one of .step, .stp, .stl")
    check_fault(tmp_path / "no\0name.stl", "expected a mesh file")
    for suffix in (".stl", ".step", ".obj", ".ply", ".3mf"):
        check_fault(written(tmp_path, "empty" + suffix, b""), "is empty; expected a mesh", units=None)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_that_a_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "p.stl")
    check_fault(tmp_path / "p.stl", "is a device; expected a mesh file")


def test_that_nothing_slow_is_imported_before_a_mesh_is_read():
    code = (
        "import sys, kinematics.meshes as m; print([n for n in ('trimesh', 'cascadio', 'scipy') if n in sys.modules])"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


# --- placing --------------------------------------------------------------------------------------

WEDGE = Mesh(
    np.array([[1.0, 2.0, 3.0], [11.0, 2.0, 3.0], [1.0, 7.0, 3.0], [1.0, 2.0, 23.0]]),
    np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]], dtype=np.int32),
    0, 0.0, "wedge",
)  # fmt: skip
DIRECTIONS = {
    "+X": (1, 0, 0), "-X": (-1, 0, 0), "+Y": (0, 1, 0), "-Y": (0, -1, 0), "+Z": (0, 0, 1), "-Z": (0, 0, -1),
}  # fmt: skip


@pytest.mark.parametrize("up", DIRECTIONS)
def test_that_up_becomes_plus_z_exactly_and_nothing_is_mirrored(up):
    placed = placed_mesh(WEDGE, from_="origin", up=up)
    assert (placed.vertices[:, 2] == WEDGE.vertices @ DIRECTIONS[up]).all()
    assert volume(placed) == pytest.approx(10 * 5 * 20 / 6, rel=1e-12)
    assert sorted(size(placed)) == [5.0, 10.0, 20.0]
    assert (np.sort(np.abs(placed.vertices), axis=1) == np.sort(np.abs(WEDGE.vertices), axis=1)).all()


@pytest.mark.parametrize("up", DIRECTIONS)
def test_that_base_centre_puts_the_middle_of_the_bottom_at_the_origin(up):
    lo, hi = placed_mesh(WEDGE, from_="base_centre", up=up).bounds
    assert lo[2] == 0.0 and lo[0] == -hi[0] and lo[1] == -hi[1]


def test_that_a_y_up_part_is_tipped_towards_the_operator():
    # The shortest turn that brings +Y up turns +Z to -Y, towards the operator, and leaves X.
    placed = placed_mesh(WEDGE, from_="origin", up="+Y")
    assert placed.vertices[0].tolist() == [1.0, -3.0, 2.0]


def test_that_a_mesh_that_is_placed_as_it_lies_is_not_copied():
    assert placed_mesh(WEDGE, from_="origin", up="+Z") is WEDGE
