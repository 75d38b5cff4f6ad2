"""Damaged files: whatever the bytes, a mesh with sound numbers or a fault, never another error, never for long."""

import time
import zipfile
from pathlib import Path

import numpy as np
import pytest

from kinematics.errors import MeshFileError
from kinematics.meshes import load_mesh
from tests.kinematics.mesh_writers import (
    CUBE_3MF,
    CUBE_F,
    CUBE_V,
    archive_3mf,
    binary_stl,
    obj,
    ply,
    text_stl,
    written,
)

STEP = Path(__file__).parent / "step"


@pytest.fixture(autouse=True)
def no_cache(monkeypatch):
    monkeypatch.setenv("TIGHTSIDE_CACHE", "off")


def binary_ply(vertices, faces):
    head = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(vertices)}\nproperty double x\nproperty double y\n"
    )
    head += f"property double z\nelement face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    rows = np.zeros(len(faces), dtype=[("n", "u1"), ("v", "<i4", 3)])
    rows["n"], rows["v"] = 3, faces
    return head.encode() + vertices.astype("<f8").tobytes() + rows.tobytes()


FILES = {
    "binary.stl": binary_stl(CUBE_V, CUBE_F),
    "text.stl": text_stl(CUBE_V, CUBE_F),
    "part.obj": obj(CUBE_V, CUBE_F, "cube"),
    "text.ply": ply(CUBE_V, CUBE_F),
    "binary.ply": binary_ply(CUBE_V, CUBE_F),
    "packed.3mf": archive_3mf(CUBE_3MF),
    "stored.3mf": archive_3mf(CUBE_3MF, zipfile.ZIP_STORED),
}


def damaged(data, rng):
    """The data with some bytes changed, cut, doubled or moved."""
    data = bytearray(data)
    for _ in range(rng.integers(1, 4)):
        at = int(rng.integers(len(data))) if data else 0
        match rng.integers(6):
            case 0 | 1:
                data[at : at + 1] = bytes([rng.integers(256)])
            case 2:
                data[at : at + 1] = bytes([data[at] ^ 1 << int(rng.integers(8))]) if data else b""
            case 3:
                del data[at:]
            case 4:
                del data[at : at + int(rng.integers(1, 30))]
            case 5:
                data[at:at] = data[at : at + int(rng.integers(1, 60))]
    return bytes(data)


def check_mesh_or_fault(path, units="mm"):
    """The sound mesh, or None after a fault that names the file."""
    mesh, message = None, f"{path.name}: "
    start = time.perf_counter()
    try:
        mesh = load_mesh(path, units=units)
    except MeshFileError as fault:
        message = fault.message
    assert time.perf_counter() - start < 10.0
    assert message.startswith(f"{path.name}: ")
    if mesh is None:
        return None
    assert np.isfinite(mesh.vertices).all() and np.abs(mesh.vertices).max() <= 1e5
    assert len(mesh.faces) > 0 and mesh.faces.min() >= 0 and mesh.faces.max() < len(mesh.vertices)
    return mesh


@pytest.mark.parametrize("name", FILES)
def test_that_damaged_files_are_faults_or_sound_meshes(tmp_path, name):
    rng = np.random.default_rng(sum(name.encode()))
    n_faults = 0
    for _ in range(150):
        path = written(tmp_path, name, damaged(FILES[name], rng))
        n_faults += check_mesh_or_fault(path, None if name.endswith("3mf") else "mm") is None
    assert n_faults > 30


@pytest.mark.parametrize("name", FILES)
def test_that_a_file_cut_anywhere_is_never_a_closed_mesh(tmp_path, name):
    data = FILES[name]
    for at in range(0, len(data) - 2, max(1, len(data) // 60)):
        mesh = check_mesh_or_fault(written(tmp_path, name, data[:at]), None if name.endswith("3mf") else "mm")
        assert mesh is None or not mesh.is_closed


def test_that_a_damaged_model_in_a_sound_archive_is_a_fault_or_a_sound_mesh(tmp_path):
    rng = np.random.default_rng(4)
    for _ in range(150):
        check_mesh_or_fault(written(tmp_path, "p.3mf", archive_3mf(damaged(CUBE_3MF.encode(), rng))), None)


@pytest.mark.parametrize("suffix", [".stl", ".obj", ".ply", ".3mf", ".step"])
def test_that_bytes_of_any_kind_are_faults(tmp_path, suffix):
    rng = np.random.default_rng(9)
    starts = [b"", b"solid ", b"ply\nformat ascii 1.0\n", b"PK\x03\x04", b"ISO-10303-21;\nDATA;\n", b"v 1 2 3\n"]
    for start in starts:
        for n in (0, 1, 83, 84, 134, 1000) if suffix != ".step" else (1000,):
            assert check_mesh_or_fault(written(tmp_path, "junk" + suffix, start + rng.bytes(n)), None) is None


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_that_damaged_step_files_are_faults_or_sound_meshes(tmp_path, seed):
    rng = np.random.default_rng(seed)
    data = bytearray((STEP / "pins_and_plate_mm.step").read_bytes())
    start = data.index(b"DATA;")
    for at in rng.integers(start, len(data) - 40, 200):  # digits only: what the text cannot tell from the truth
        if chr(data[at]).isdigit() and data[at - 1 : at] not in b"#0123456789":
            data[at] = rng.integers(48, 58)
            break
    check_mesh_or_fault(written(tmp_path, "p.step", bytes(data)), None)


@pytest.mark.slow
def test_that_a_cut_step_file_is_a_fault(tmp_path):
    data = (STEP / "torus.step").read_bytes()
    for at in range(0, len(data) - 20, 500):
        assert check_mesh_or_fault(written(tmp_path, "p.step", data[:at]), None) is None
