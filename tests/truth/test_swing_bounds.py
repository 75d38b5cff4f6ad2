"""Random swings against dense sampling: no bound above what was sampled, no contact missed, no value that is not there.

The peer is coal's distance at angles from scipy's Rotation, see `turning_reference.py`. Sampling gives at least the
true minimum, so a proven bound above it is wrong, whatever the sampling step.
"""

import math

import numpy as np
import pytest

from kinematics import swing_clearance
from kinematics.prepared import Prepared
from kinematics.swing_clearance import Settle, check_swings
from kinematics.verdict import Verdict, verdict_of
from tests.truth import random_swings
from tests.truth import turning_reference as ref

TOLERANCE = 0.01  # mm; the width of interval that is asked for
PEER = 1e-5  # mm; coal iterates to about this
POLYGONS = 2 * ref.INSCRIBED + 0.001  # mm; both round solids are inscribed polygons in the reference
N_FAST, N_SLOW, TOGETHER = 60, 1000, 20


@pytest.fixture(autouse=True)
def _to_the_tolerance_only(monkeypatch):
    """A wide gap is settled to the hundredth too, so that the bounds are put to the test."""
    monkeypatch.setattr(swing_clearance, "SHARE", 0.0)


@pytest.mark.parametrize("seed", range(N_FAST))
def test_that_a_swing_is_bounded_by_dense_sampling(seed):
    check_case(seed)


@pytest.mark.slow
@pytest.mark.parametrize("first", range(1000, 1000 + N_SLOW, TOGETHER))
def test_that_a_thousand_swings_are_bounded_by_dense_sampling(first):
    for seed in range(first, first + TOGETHER):
        check_case(seed)


def check_case(seed):
    case = random_swings.random_swing(np.random.default_rng(seed))
    scene = random_swings.scene_of(case)
    prepared = Prepared(scene)
    report, proven = (
        next(r for r in check_swings(scene, prepared, settle) if (r.start, r.end) == ("V1", "V2"))
        for settle in (Settle(TOLERANCE), Settle())
    )
    axes = [ref.Axis(origin, direction) for origin, direction, _, _ in case.axes]
    boxes = random_swings.boxes_of(case)
    exact = random_swings.pairs_of(case, with_errors=False)
    with_errors = random_swings.pairs_of(case, with_errors=True) if case.errors.location else exact
    sampled = ref.least_distance(axes, boxes, with_errors)
    nearest = ref.least_distance(axes, boxes, exact) if sampled.distance <= 0.0 else None
    is_hit = nearest is not None and nearest.distance <= 0.0
    assert report.verdict is not Verdict.NOT_CHECKED, (seed, report.why)
    assert (report.verdict is Verdict.HITS) == is_hit, (seed, "a contact missed, or one that is not there", nearest)
    if is_hit:
        assert proven.verdict is Verdict.HITS, (seed, proven)
        return
    for r in (report, proven):
        assert r.spare <= sampled.distance + PEER, (seed, "the spare is not a bound", sampled)
        assert r.verdict is verdict_of(r.spare, r.keep_off), seed
    assert proven.verdict is report.verdict or _is_close_call(report), (seed, proven.verdict)
    if sampled.is_apart:  # else the swept tool touches, and the spare is a bound from the stick-out
        assert sampled.distance - report.spare <= TOLERANCE + POLYGONS, (seed, "the spare is far below", sampled)
    assert report.clearance.value - report.clearance.at_least <= TOLERANCE + 1e-9, seed
    check_attained(case, axes, exact, report, seed)
    check_attained(case, axes, exact, proven, seed)


def _is_close_call(report):
    return min(abs(report.spare), abs(report.spare - report.keep_off)) < 2 * TOLERANCE


def check_attained(case, axes, pairs, report, seed):
    """The value is the distance of the two points told, which lie on the two bodies at the angles told."""
    p, q = (np.array(point) for point in report.points_W)
    assert math.isclose(float(np.linalg.norm(p - q)), report.clearance.value, abs_tol=1e-6), seed
    angles = np.array([[a for _, a in report.at_angles_deg]])
    if not angles.size:  # nothing turns in the pair
        angles = np.array([case.start])
    frames = ref.poses(axes, angles)
    box = np.array(report.at_angles_deg, dtype=object)
    assert len(box) in (0, len(case.axes)), seed
    found = [
        (float(ref.distances(frames, a, b)[0]), a, b) for a, b, _ in pairs if {a.name, b.name} == set(report.between)
    ]
    assert report.clearance.value >= min(d for d, _, _ in found) - POLYGONS, (seed, "nearer than the bodies are")
    on_first = min(_off(p, s, frames) for _, a, b in found for s in (a, b) if s.name == report.between[0])
    on_second = min(_off(q, s, frames) for _, a, b in found for s in (a, b) if s.name == report.between[1])
    assert max(on_first, on_second) <= POLYGONS, (seed, "a point off its body", on_first, on_second)


def _off(p, s, frames):
    """Distance of a point in W from a solid in the frames given."""
    dot = ref.solid("point", 0, ref.coal.Sphere(1e-6), t=p)
    return max(float(ref.distances(frames, dot, s)[0]), 0.0)
