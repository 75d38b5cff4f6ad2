"""Numbers that nobody should write and somebody will: far away, tiny, flat, doubled. No crash, and no false clear.

What may come out is a report, or an error that the product raises on purpose.
"""

import warnings

import numpy as np
import pytest

from kinematics.errors import TightsideError
from kinematics.machine import LinearAxis, Machine
from kinematics.scene import Body, Face, Holder, HolderStep, Hole, Lift, Path, Placement, Pocket, Slot
from kinematics.shapes import Box, Revolve, Screw, Step, cone, cylinder
from kinematics.verdict import Verdict
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.one_cut import body, end_mill, one_cut, pair_of, report_of
from tests.truth import brute_force
from tests.truth.moves_by_hand import placement_of
from tests.truth.supports import rotation

WIDTH = 0.01
FAR = tuple(LinearAxis(n, (-1e6, 1e6)) for n in "xyz")


def roomy(bodies=()):
    return Machine("m", "machine", FAR, (), (0.0, -1.0, 0.0), (), None, (), bodies)


def a_size(rng):
    return float(10.0 ** rng.uniform(-3, 2.5))


def a_mesh(rng):
    """Meshes as files have them: flat, with triangles without area, doubled, open, of one triangle, far too fine."""
    size = [a_size(rng) for _ in range(3)]
    vertices, faces = brute_force.box_mesh(size, (-size[0] / 2, -size[1] / 2, 0.0))
    match int(rng.integers(7)):
        case 0:
            vertices = vertices * (1.0, 1.0, 0.0)
        case 1:
            faces = np.vstack([faces, [(0, 0, 1), (2, 2, 2), (0, 1, 1)]])
        case 2:
            faces = np.vstack([faces, faces])
        case 3:
            faces = faces[: int(rng.integers(1, 12))]
        case 4:
            vertices, faces = brute_force.prism_mesh(300, size[0], size[1], size[2])
        case 5:
            vertices, faces = brute_force.joined((vertices, faces), (vertices * 0.5, faces))
        case _:
            pass
    return mesh_shape(vertices, faces)


def a_shape(rng):
    a, b, c = (a_size(rng) for _ in range(3))
    match int(rng.integers(7)):
        case 0:
            return Box(a, b, c)
        case 1:
            return cylinder(a, b)
        case 2:
            return cone(a, 0.0, c)
        case 3:
            return cone(0.0, b, c)
        case 4:
            return Revolve((Step(a, b, c), Step(b, 1e-3, a), Step(1e-3, c, b)))
        case 5:
            return Screw("ISO 4762", "M6", 10.0, 6.0, 6.0, float(rng.choice([1e-3, 16.0, 200.0])))
        case _:
            return a_mesh(rng)


def a_feature(rng, d):
    depth = float(rng.choice([0.0, 1e-9, 1.0, 50.0]))
    match int(rng.integers(6)):
        case 0:
            return Hole((0.0, 0.0, 0.0), depth)
        case 1:
            end = rng.normal(size=3) * float(rng.choice([0.0, 1e-10, 1e-6, 1.0, 100.0]))
            return Slot((0.0, 0.0, 0.0), tuple(map(float, end)), depth)
        case 2:
            size = (d * float(rng.choice([1.0, 1.0 + 1e-12, 3.0])), d + float(rng.choice([0.0, 1e-10, 20.0])))
            return Pocket((0.0, 0.0, 0.0), size, (1.0, float(rng.normal()), 0.0), depth)
        case 3:
            return Face((0.0, 0.0, 0.0), (a_size(rng), a_size(rng)), (float(rng.normal()), 1.0, 0.0))
        case 4:
            return Path(tuple(tuple(map(float, rng.normal(size=3) * rng.choice([0, 1e-9, 10.0]))) for _ in range(6)))
        case _:
            return Path(((0.0, 0.0, 5.0), (0.0, 0.0, -5.0), (0.0, 0.0, 5.0)))


def a_scene(rng):
    d = float(rng.choice([0.05, 1.0, 10.0, 63.0]))
    holder = Holder("H", tuple(HolderStep(a_size(rng) + 1, a_size(rng) + 1, a_size(rng)) for _ in range(3)))
    tool = end_mill(d, d * 2, stick_out=d * 5, holder=holder, shank=d * float(rng.choice([0.5, 1.0, 2.0])))
    away = rng.normal(size=3) * float(rng.choice([0.0, 1.0, 1e4]))
    bodies = []
    for k in range(int(rng.integers(1, 6))):
        R = rotation(rng, "aligned" if rng.random() < 0.5 else "any")
        p = away + rng.normal(size=3) * float(rng.choice([0.0, 1.0, 30.0, 300.0]))
        bodies.append(Body(f"b{k}", placement_of(R, p), a_shape(rng)))
    head = (Body("lamp", placement_of(np.eye(3), rng.normal(size=3) * 50, on="head"), a_shape(rng)),)
    zero = placement_of(rotation(rng, "any" if rng.random() < 0.5 else "aligned"), away)
    part = (Body("part", Placement("P", (0.0, 0.0, -20.0)), a_shape(rng)),)
    return one_cut(
        a_feature(rng, d),
        tool,
        *bodies,
        part=part,
        zero=zero,
        machine=roomy(head if rng.random() < 0.3 else ()),
        retract=float(rng.choice([0.0, 1e-9, 10.0, 500.0])),
        lift=Lift("top") if rng.random() < 0.2 else Lift("retract"),
    )


def check_scene(rng):
    """A report in which every interval is in order and narrow, and no verdict is better than its numbers."""
    scene = a_scene(rng)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            report = report_of(scene)
        except TightsideError:
            return 0
    for pair in (report.worst, *report.next):
        if pair is None:
            continue
        if pair.clearance is None:
            assert pair.verdict in (Verdict.HITS, Verdict.CAN_HIT)
            continue
        assert np.isfinite([pair.clearance.at_least, pair.clearance.value]).all()
        assert pair.clearance.at_least <= pair.clearance.value + 1e-9
        if pair.verdict in (Verdict.CLEAR, Verdict.TIGHT):
            assert pair.clearance.at_least > 0.0
            if pair.between[0] != "lamp":
                assert pair.clearance.value - pair.clearance.at_least <= WIDTH
    for pair in report.not_checked:
        assert pair.why
        assert report.verdict.severity >= Verdict.NOT_CHECKED.severity
    return 1


@pytest.mark.parametrize("seed", range(8))
def test_that_odd_numbers_give_a_report_or_an_error_on_purpose(seed):
    rng = np.random.default_rng(seed)
    assert sum(check_scene(rng) for _ in range(12)) >= 6


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_that_many_more_odd_numbers_give_a_report_or_an_error_on_purpose(seed):
    rng = np.random.default_rng(300 + seed)
    assert sum(check_scene(rng) for _ in range(100)) >= 50


@pytest.mark.parametrize("far", [0.0, 1e3, 1e4, 1e5])
@pytest.mark.parametrize("gap", [0.05, 3.0])
def test_that_a_gap_is_the_same_far_from_the_origin(far, gap):
    zero = Placement("table", (far, -far, far / 2))
    wall = body("wall", Box(10, 40, 70), (far + 10.0 + gap, -far, far / 2 - 50.0))
    pin = body("pin", cylinder(8, 70), (far, -far + 9.0 + gap, far / 2 - 50.0))
    report = report_of(one_cut(Hole((0.0, 0.0, 0.0), 5.0), end_mill(10.0), wall, pin, zero=zero, machine=roomy()))
    for obstacle in ("wall", "pin"):
        found = pair_of(report, "cutter", obstacle).clearance
        assert found.at_least <= gap + 1e-9
        assert found.value >= gap - 1e-9
        assert found.value - found.at_least <= WIDTH
