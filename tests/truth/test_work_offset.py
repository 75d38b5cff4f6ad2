"""Work offsets and rotary-centre errors against matrices written out here and against scipy.

Sources: p' = P_A + Rx(A) (P_C + Rz(C) (p - P_C) - P_A), the chain of a table-table machine (ISO 841 for
names and signs), its cases computed three ways outside the project; rotary-centre error (I - R) e, size
2 e sin(angle / 2).
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from app.scenes.reader import read_scene
from kinematics.machine import Control, LinearAxis, Machine, TableAxis
from kinematics.placement import PlacedScene, PlacedZero
from kinematics.pose import shift
from kinematics.scene import Cut, Hole, Orientation, Placement, Scene, State, Workpiece
from kinematics.work_offset import centre_error, work_offsets

SAMPLES = Path(__file__).parents[2] / "sample_scenes"


def machine_of(first, second, control=None):
    linear = tuple(LinearAxis(name, (-1e3, 1e3)) for name in "xyz")
    return Machine("m", "", linear, (first, second), (0.0, -1.0, 0.0), (), control, ())


def scene_at(machine, p_platter, angles):
    """A scene with part zero at a point of the platter's frame, and one orientation."""
    cut = Cut("c", "T", "s", Hole((0.0, 0.0, 0.0), 1.0), 1.0)
    workpiece = Workpiece(None, Placement("platter"), (State("s", ()),))
    scene = Scene("", machine, (workpiece,), (), (), (), (Orientation("V", angles, (cut,)),))
    return scene, PlacedScene((), (PlacedZero("platter", shift("platter", "P", p_platter)),))


# p, A or B, C, P_A, P_C, p'
CASES = {
    "K1": ("x", (0, 0, 100), 90, 0, (0, 0, 0), (0, 0, 0), (0, -100, 0)),
    "K2": ("x", (0, 0, 100), -90, 0, (0, 0, 0), (0, 0, 0), (0, 100, 0)),
    "K3": ("x", (30, 40, 0), 0, 90, (0, 0, 0), (0, 0, 0), (-40, 30, 0)),
    "K4": ("x", (30, 40, 120), -30, 45, (0, 0, -50), (0, 0, 0), (-7.071068, 127.866070, 72.475581)),
    "K5": ("x", (10, -20, 150), -90, -90, (0, 0.05, -60), (0.02, -0.03, 0), (-19.95, 210.05, -49.94)),
    "K6": ("x", (50, 25, 80), -53.130102, 90, (0, 0, -40), (0, 0, 0), (-25, 126, -8)),
    "K7": (
        "x", (-35, 12.5, 95), -35, 120, (250, 180, -400), (250.012, 179.985, -350),
        (537.564265, 330.316529, 99.030655),
    ),
    "K8": ("x", (12, -7, 33), -110, -210, (0, 3, -20), (1, 0, 0), (-5.026279, 49.875272, -46.172883)),
    "K9": ("y", (30, 40, 120), 30, 45, (0, 0, -50), (0, 0, 0), (78.876276, 49.497475, 100.759853)),
    "K10": ("y", (10, -20, 150), -90, 180, (0.1, 0, -60), (0, 0.05, 0), (-209.9, 20.1, -70.1)),
}  # fmt: skip


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("case", CASES)
def test_that_part_zero_goes_where_the_chain_of_matrices_takes_it(case, sign):
    about, p, first_deg, second_deg, p_A, p_C, expected = CASES[case]
    p_A, p_C, p = (np.array(v, dtype=float) for v in (p_A, p_C, p))
    axis = (1.0, 0.0, 0.0) if about == "x" else (0.0, 1.0, 0.0)
    control = Control((1.0, 2.0, 3.0), (("tilt", sign), ("rotary", sign)), "each")
    machine = machine_of(
        TableAxis("tilt", "A" if about == "x" else "B", "cradle", tuple(p_A), axis, None),
        TableAxis("rotary", "C", "platter", tuple(p_C - p_A), (0.0, 0.0, 1.0), None),
        control,
    )
    scene, placed = scene_at(machine, tuple(p - p_C), (("tilt", float(first_deg)), ("rotary", float(second_deg))))
    (offset,) = work_offsets(scene, placed)
    assert offset.w == pytest.approx(expected, abs=2e-6)
    assert offset.control == pytest.approx(np.array(offset.w) - (1.0, 2.0, 3.0))
    # a control that counts as ISO 841 thinks the tool to move shows the other sign
    assert dict(offset.angles_control) == {
        machine.table_axes[0].letter: pytest.approx(sign * first_deg),
        "C": pytest.approx(sign * second_deg),
    }
    peer = p_A + Rotation.from_rotvec(np.radians(first_deg) * np.array(axis)).apply(
        p_C + Rotation.from_euler("z", second_deg, degrees=True).apply(p - p_C) - p_A
    )
    assert offset.w == pytest.approx(peer, abs=1e-9)


PLAIN_AC = machine_of(
    TableAxis("tilt", "A", "cradle", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), None),
    TableAxis("rotary", "C", "platter", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), None),
)


@pytest.mark.parametrize(
    ("axis", "angles", "e", "expected"),
    [
        ("tilt", {"tilt": 90.0}, (0, 0.02, 0), (0, 0.02, -0.02)),
        ("tilt", {"tilt": -30.0}, (0, 0.02, 0.01), (0, -0.002321, 0.011340)),
        ("tilt", {"tilt": 60.0}, (0, 0, 0.05), (0, 0.043301, 0.025)),
        ("rotary", {"tilt": -45.0, "rotary": 90.0}, (0.012, -0.015, 0), (-0.003, -0.019092, 0.019092)),
        ("rotary", {"tilt": -90.0, "rotary": 180.0}, (0.012, -0.015, 0), (0.024, 0, 0.030)),
    ],
)
def test_that_a_wrong_rotary_centre_shows_as_the_printed_vectors(axis, angles, e, expected):
    assert centre_error(PLAIN_AC, angles, axis, e) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("e", [0.010, 0.020, 0.050])
@pytest.mark.parametrize("angle", [5, 10, 30, 45, 60, 90, 120, 180])
def test_that_the_size_of_a_centre_error_is_twice_e_times_the_sine_of_half_the_angle(e, angle):
    off = centre_error(PLAIN_AC, {"tilt": float(angle)}, "tilt", (0.0, e, 0.0))
    assert np.linalg.norm(off) == pytest.approx(2 * e * math.sin(math.radians(angle) / 2), abs=1e-12)


def test_that_the_demo_turns_its_part_zero_as_by_hand():
    """At tilt 90, rotary 0: 70, 0 - 99, 112; at 105: 112 + 99 cos 105 (by hand from the machine's numbers)."""
    from kinematics.placement import place_scene

    scene = read_scene(SAMPLES / "sampler_block_b" / "sampler_block_b.scene.yaml").scene
    at = {o.orientation: o for o in work_offsets(scene, place_scene(scene))}
    assert at["V2"].w == pytest.approx((70.0, -99.0, 112.0), abs=1e-9)
    assert at["V6"].w == pytest.approx((70.0, -95.63, 86.38), abs=0.005)
    assert at["V1"].control == pytest.approx((140.0, 0.0, -219.0), abs=1e-9)
