"""Round tools against turning triangles by closed forms, and against dense sampling with another distance library."""

import math

import numpy as np
import pytest

from kinematics.engine.exact_pair import body_tree, round_part
from kinematics.engine.joined_bodies import JoinedBodies
from kinematics.engine.round_turning import Enough, RoundPair, least_over_round_turn
from kinematics.engine.sweep import Positions, RoundPiece
from kinematics.engine.turning_pieces import TurnAxis
from kinematics.moves.swings import hull_2d
from kinematics.pose import shift
from kinematics.shapes import Box, cylinder
from kinematics.solids import pieces
from tests.one_swing import ORIGIN, X, Z, block, hollow_block, mesh_of
from tests.truth import turning_reference as ref

HUNDREDTH = Enough(tolerance=0.01)


def part(*steps):
    """A round part of (r1, r2, length) from the tip up."""
    found, z = [], 0.0
    for r1, r2, length in steps:
        found.append(RoundPiece("cutter", r1, r2, z, z + length))
        z += length
    return round_part(found, found)


def pair(tool, places, shape, at, axes, box, *, subtract=0.0, down=0.0, name="body"):
    positions = Positions(np.asarray(places, dtype=float), 0.0, down)
    body = body_tree(pieces(shape))
    return RoundPair(tool, positions, body, shift("C", "G", at), axes, box, subtract, ("cutter", name), (0, 0))


def least(*pairs, enough=HUNDREDTH, **options):
    return least_over_round_turn(pairs, enough, JoinedBodies(), **options)


ROTARY = (TurnAxis(ORIGIN, Z),)
TILT = (TurnAxis(ORIGIN, X),)


def on_circle(radius, angle_deg, z=0.0):
    return radius * math.cos(math.radians(angle_deg)), radius * math.sin(math.radians(angle_deg)), z


@pytest.mark.parametrize("gap", [-1.6, -0.4, 0.05, 0.2, 1.0])
def test_that_a_pin_that_one_degree_steps_miss_is_found_or_cleared(gap):
    radius, pin_d, cutter_d, at_deg = 220.0, 1.2, 2.0, 30.4703
    beside = radius + (pin_d + cutter_d) / 2 + gap
    result = least(pair(part((1.0, 1.0, 60.0)), [on_circle(beside, at_deg)], cylinder(pin_d, 30), (radius, 0, 0),
                        ROTARY, ((0.0, 90.0),)))  # fmt: skip
    if gap < 0.0:
        assert result.witness.is_proven
        assert result.witness.angles_deg[0] == pytest.approx(at_deg, abs=math.degrees(1.6 / radius))
        return
    assert result.at_least <= gap <= result.at_most + 1e-9
    assert result.at_most - result.at_least <= 0.01
    assert result.n_queries < 2000


def test_that_a_shim_that_tenth_degree_steps_miss_is_found():
    radius, at_deg = 300.0, 40.05
    result = least(pair(part((0.15, 0.15, 60.0)), [on_circle(radius, at_deg)], Box(20.0, 0.1, 20.0), (radius, 0, 0),
                        ROTARY, ((0.0, 90.0),)))  # fmt: skip
    assert result.witness.is_proven
    assert result.witness.angles_deg[0] == pytest.approx(at_deg, abs=0.05)


def test_that_the_corner_of_a_plate_comes_as_high_as_its_reach():
    result = least(pair(part((5.0, 5.0, 40.0)), [(0.0, 0.0, 53.0)], Box(40, 60, 40), ORIGIN, TILT, ((-60.0, 60.0),)))
    assert result.at_least <= 3.0 <= result.at_most + 1e-9
    assert result.at_most - result.at_least <= 0.01


def test_that_a_plate_that_turns_under_a_flat_tool_is_settled_at_once():
    result = least(
        pair(part((5.0, 5.0, 40.0)), [(30.0, 0.0, 12.0)], Box(200, 200, 10), ORIGIN, ROTARY, ((0.0, 360.0),))
    )
    assert (result.at_least, result.at_most) == (pytest.approx(2.0, abs=2e-6), pytest.approx(2.0, abs=1e-9))
    assert result.n_queries < 100


def test_that_what_does_not_turn_is_measured_where_it_stands():
    result = least(pair(part((5.0, 5.0, 40.0)), [(0.0, 0.0, 12.0)], Box(20, 20, 10), ORIGIN, (), ()))
    assert (result.at_least, result.at_most) == (pytest.approx(2.0, abs=2e-6), pytest.approx(2.0, abs=1e-9))


def test_that_a_longer_stick_out_and_set_up_errors_come_off():
    result = least(pair(part((5.0, 5.0, 40.0)), [(0.0, 0.0, 12.0)], Box(20, 20, 10), ORIGIN, ROTARY, ((0.0, 90.0),),
                        down=0.5, subtract=0.3))  # fmt: skip
    assert result.at_most == pytest.approx(2.0 - 0.5 - 0.3, abs=1e-9)
    assert result.witness.value == pytest.approx(1.5, abs=1e-9)


def test_that_the_least_spare_and_not_the_least_clearance_is_found():
    tool, box = part((5.0, 5.0, 40.0)), ((0.0, 90.0),)
    near = pair(tool, [(0.0, 0.0, 12.0)], Box(20, 20, 10), ORIGIN, ROTARY, box, name="near")
    sure = pair(tool, [(0.0, 0.0, 12.0)], Box(20, 20, 9), ORIGIN, ROTARY, box, subtract=2.5, name="far")
    result = least(near, sure)
    assert result.witness.pair is sure
    assert result.at_most == pytest.approx(0.5, abs=1e-9)


@pytest.mark.parametrize("is_tool_inside", [True, False])
def test_that_one_inside_the_other_is_contact(is_tool_inside):
    if is_tool_inside:
        shape, at = mesh_of(*block((400, 400, 400), (-200, -200, -200))), ORIGIN
    else:
        shape, at = Box(2, 2, 2), (0.0, 0.0, 20.0)
    result = least(pair(part((5.0, 5.0, 40.0)), [(0.0, 0.0, 0.0)], shape, at, ROTARY, ((0.0, 90.0),)))
    assert result.witness.is_proven


def test_that_a_tool_in_the_hollow_of_a_mesh_is_not_contact():
    hollow = mesh_of(*hollow_block((100, 100, 100), (60, 60, 60), (-50, -50, -50)))
    result = least(pair(part((5.0, 5.0, 20.0)), [(0.0, 0.0, -10.0)], hollow, ORIGIN, ROTARY, ((0.0, 90.0),)))
    assert not result.witness.is_proven
    assert result.at_least <= 20.0 <= result.at_most + 1e-9
    assert result.at_most - result.at_least <= 0.01


def test_that_a_search_stops_at_the_queries_allowed_with_a_true_interval():
    edge = pair(part((5.0, 5.0, 40.0)), [(0.0, 0.0, 53.0)], Box(40, 60, 40), ORIGIN, TILT, ((-60.0, 60.0),))
    result = least(edge, enough=Enough(tolerance=1e-7), max_queries=20)
    assert not result.is_settled
    assert result.at_least < 3.0 <= result.at_most


@pytest.mark.parametrize(
    ("enough", "at_least", "at_most", "says"),
    [
        (Enough(below=0.0), -5.0, -0.1, True),
        (Enough(below=0.0), -5.0, 0.1, False),
        (Enough(above=5.0), 5.0, 9.0, True),
        (Enough(above=5.0), 5.0, math.inf, False),
        (Enough(between=(0.0, 5.0)), 0.1, 4.9, True),
        (Enough(between=(0.0, 5.0)), 0.0, 4.9, False),
        (Enough(tolerance=0.01, share=0.01), 9.9, 10.0, True),
        (Enough(tolerance=0.01, share=0.01), 9.8, 10.0, False),
        (Enough(about_zero=(0.01, 0.05)), -0.04, 0.01, True),
        (Enough(about_zero=(0.01, 0.05)), -0.04, 0.02, False),
    ],
)
def test_that_an_interval_is_enough(enough, at_least, at_most, says):
    assert enough(at_least, at_most) is says


# ---- random ------------------------------------------------------------------------------------------

STEPS = ((3.0, 3.0, 20.0), (3.0, 9.0, 5.0), (12.0, 6.0, 35.0))
PEER = 1e-5  # mm; coal iterates to about this


def random_pair(seed):
    """A pair, and the same for the reference: axes, tool and body."""
    rng = np.random.default_rng(seed)
    n_axes = int(rng.integers(1, 3))
    directions = np.eye(3)[rng.integers(0, 3, 2)] if seed % 3 == 0 else rng.normal(size=(2, 3))
    directions = directions / np.linalg.norm(directions, axis=1)[:, None]
    origins = rng.uniform(-15, 15, (2, 3))
    axes = tuple(
        TurnAxis(tuple(o), tuple(d)) for o, d in zip(origins[:n_axes].tolist(), directions.tolist(), strict=False)
    )
    widths, lows = rng.choice([20.0, 90.0, 200.0, 360.0], n_axes), rng.uniform(-180, 180, n_axes)
    box = tuple((lo, lo + w) for lo, w in zip(lows.tolist(), widths.tolist(), strict=True))
    sizes, at = rng.uniform(3, 40, 3), tuple(rng.uniform(-60, 60, 3).tolist())
    corners = hull_2d(rng.uniform(-30, 30, (int(rng.integers(1, 5)), 2)))
    places = np.column_stack([corners, np.full(len(corners), rng.uniform(-20, 60))])
    made = pair(part(*STEPS), places, Box(*sizes.tolist()), at, axes, box)
    tools, z = [], 0.0
    for r1, r2, length in STEPS:
        tools.append(ref.solid("tool", 0, ref.swept(ref.frustum_points(r1, r2, z, z + length), places)))
        z += length
    body = ref.solid("body", n_axes, ref.coal.Box(*sizes.tolist()), t=np.array(at) + (0, 0, sizes[2] / 2))
    return made, [ref.Axis(a.origin, a.direction) for a in axes], [(t, body, 0.0) for t in tools]


@pytest.mark.parametrize("seed", range(24))
def test_that_no_sample_is_nearer_than_the_bound(seed):
    made, axes, solids = random_pair(seed)
    result = least(made)
    sampled = ref.least_distance(axes, [made.box], solids, n_samples=300, n_starts=3)
    assert result.is_settled
    assert result.at_least <= sampled.distance + PEER
    if sampled.distance <= 0.0:
        assert result.witness.is_proven
        return
    assert result.at_most - result.at_least <= 0.01 + 1e-9
    assert result.at_least >= sampled.distance - 0.01 - 2 * ref.INSCRIBED - 1e-3
    frames = ref.poses(axes, np.array([result.witness.angles_deg]))
    there = min(float(ref.distances(frames, a, b)[0]) for a, b, _ in solids)
    assert result.witness.value >= there - 2 * ref.INSCRIBED
