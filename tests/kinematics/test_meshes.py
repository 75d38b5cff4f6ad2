"""Mesh files: what is read, what is refused, what is done to triangles and told about it."""

import os
from pathlib import Path

import numpy as np
import pytest

from kinematics.errors import MeshFileError
from kinematics.meshes import Mesh, load_mesh, placed_mesh

PARTS = os.environ.get("TIGHTSIDE_PARTS")
needs_parts = pytest.mark.skipif(not PARTS, reason="TIGHTSIDE_PARTS does not name the folder of real part files")


def volume(mesh):
    """By the divergence theorem, mm3: a third of the flux of x through the surface."""
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    return float((np.cross(b - a, c - a) * (a + b + c)).sum() / 18.0)


def size(mesh):
    lo, hi = mesh.bounds
    return tuple(h - l for l, h in zip(lo, hi, strict=True))


# --- real files; what to expect is from the README beside them -----------------------------------


@needs_parts
@pytest.mark.parametrize(
    ("name", "units", "expected_size", "n_faces", "expected_volume"),
    [
        ("featuretype.STL", "inch", (127.0, 63.5, 34.925), 3476, 11.628 * 25.4**3),
        (
            "angle_block.STL",
            "inch",
            (1.339 * 25.4, 1.0 * 25.4, 1.352 * 25.4),
            None,
            None,
        ),
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


@needs_parts
def test_that_loose_triangles_are_no_solid():
    mesh = load_mesh(Path(PARTS) / "soup.stl", units="mm")
    assert len(mesh.faces) == 100 and mesh.n_open_edges == 300
    assert any("not closed" in note for note in mesh.notes)


@needs_parts
def test_that_a_file_without_triangles_is_a_fault_that_names_it():
    with pytest.raises(MeshFileError, match=r"^empty.stl: has no triangles; expected "):
        load_mesh(Path(PARTS) / "empty.stl", units="mm")


# --- placing -------------------------------------------------------------------------------------

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
