"""STEP files of known solids; their sizes are in step/README.md."""

import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from kinematics import mesh_reading
from kinematics.meshes import load_mesh
from tests.kinematics.mesh_writers import check_fault, volume, written

STEP = Path(__file__).parent / "step"


@pytest.fixture(autouse=True)
def no_cache(monkeypatch):
    monkeypatch.setenv("TIGHTSIDE_CACHE", "off")


# --- STEP; sizes are in step/README.md ------------------------------------------------------------

PLATE = 60 * 40 * 12 - math.pi * 8**2 * 12
PIN = math.pi * 3**2 * 25


@pytest.mark.parametrize(("unit", "units"), [("mm", None), ("inch", "inch")])
def test_that_a_step_assembly_is_read_in_its_own_unit(unit, units):
    mesh = load_mesh(STEP / f"pins_and_plate_{unit}.step", units=units)
    assert mesh.is_closed
    np.testing.assert_allclose(mesh.bounds, [(-30, -45, 0), (30, 20, 37)], atol=1e-5)
    assert volume(mesh) == pytest.approx(PLATE + 2 * PIN, rel=2e-3)


def test_that_bodies_of_a_step_file_are_picked_by_name_where_they_stand():
    path = STEP / "pins_and_plate_mm.step"
    left, front = (load_mesh(path, units=None, body=name) for name in ("pin left", "pin front"))
    np.testing.assert_allclose(left.bounds, [(-23, 7, 12), (-17, 13, 37)], atol=0.011)
    np.testing.assert_allclose(front.bounds, [(-3, -45, 3), (3, -20, 9)], atol=0.011)
    assert volume(left) == pytest.approx(PIN, rel=4e-3)
    check_fault(path, "no body 'plat'; expected one of pin front, pin left, plate; nearest: plate",
                units=None, body="plat", key="body")  # fmt: skip


def test_that_the_unit_of_a_step_file_goes_before_the_one_that_is_asked_and_is_noted():
    own, asked = load_mesh(STEP / "torus.step", units=None), load_mesh(STEP / "torus.step", units="inch")
    assert asked.bounds == own.bounds
    assert "is in mm by its own word, which goes before units: inch" in asked.notes
    assert asked.notes[1:] == own.notes


@pytest.mark.slow
def test_that_a_step_file_without_a_unit_asks_and_its_chord_error_scales_with_the_answer(tmp_path):
    text = (STEP / "hollow_cube.step").read_bytes()
    bare = text.replace(b"GLOBAL_UNIT_ASSIGNED_CONTEXT", b"GLOBAL_UNIT_NOT_ASSIGNED")
    assert bare != text
    path = written(tmp_path, "p.step", bare)
    check_fault(path, "has no unit; is it 20.0 x 20.0 x 20.0 mm, or ", units=None, key="units")
    mesh = load_mesh(path, units="inch")
    assert mesh.bounds[1] == pytest.approx((508.0, 508.0, 508.0)) and mesh.chord_error == pytest.approx(0.254)


@pytest.mark.parametrize("tolerance", [0.01, pytest.param(0.05, marks=pytest.mark.slow)])
def test_that_facets_of_a_step_torus_stay_within_the_chord_tolerance(tolerance):
    mesh = load_mesh(STEP / "torus.step", units=None, chord_tolerance=tolerance)
    rng = np.random.default_rng(5)
    weights = rng.dirichlet((1, 1, 1), (len(mesh.faces), 4))
    points = np.einsum("mkc,mcx->mkx", weights, mesh.vertices[mesh.faces]).reshape(-1, 3)
    off = np.abs(np.hypot(np.hypot(points[:, 0], points[:, 1]) - 30.0, points[:, 2]) - 10.0)
    assert mesh.is_closed and mesh.chord_error == tolerance
    assert off.max() <= mesh.chord_error
    assert volume(mesh) == pytest.approx(2 * math.pi**2 * 30 * 10**2, rel=tolerance / 2)


def test_that_a_hollow_of_a_step_solid_stays_hollow_and_nothing_is_printed(capfd):
    mesh = load_mesh(STEP / "hollow_cube.step", units=None)
    assert mesh.is_closed and volume(mesh) == pytest.approx(20**3 - 10**3, abs=0.01)
    assert capfd.readouterr() == ("", "")


def test_that_a_step_file_of_a_crash_a_hang_or_too_much_memory_is_a_fault(tmp_path, monkeypatch):
    path = written(tmp_path, "p.step", (STEP / "torus.step").read_bytes())
    run = subprocess.run

    def instead(code):
        return lambda _, **kw: run([sys.executable, "-c", code], **kw)

    monkeypatch.setattr(mesh_reading.subprocess, "run", instead("import os; os.abort()"))
    check_fault(path, "the geometry kernel broke down on it", units=None)
    monkeypatch.setattr(mesh_reading, "STEP_SECONDS", 0.3)
    monkeypatch.setattr(mesh_reading, "STEP_SECONDS_PER_MB", 0.0)
    monkeypatch.setattr(mesh_reading.subprocess, "run", instead("import time; time.sleep(60)"))
    check_fault(path, "takes over 0 s to read", units=None)
    monkeypatch.setattr(mesh_reading.subprocess, "run", instead("print(bytearray(1 << 50))"))
    check_fault(path, "broke down on it (status 1)", units=None)
