"""Distances of swept solids to near triangles, against closed forms, brute force and what one tree of FCL says."""

import math

import numpy as np
import pytest

from kinematics import meshed_sweeps
from kinematics.engine.fcl_engine import MeshTree, surface_distance
from kinematics.engine.sweep import Positions, hull
from kinematics.meshed_sweeps import (
    AXES,
    MOST_AT_ONCE,
    Moving,
    body_error,
    body_mover,
    every_sweep,
    measured,
    near_surface,
    nearest,
    part_mover,
    sweeps,
)
from kinematics.pose import Pose
from kinematics.prepared import Part
from kinematics.shapes import Box, cone, cylinder
from kinematics.solids import SAGITTA, Triangles, pieces
from kinematics.tool_kinds import ARC_GAP
from tests.benchmarks.wavy_block import HEIGHT, WAVE, wavy_block
from tests.kinematics.engine.pairs_by_hand import cutter_of, frusta, head_box, mesh_shape
from tests.one_swing import block, hollow_block, joined
from tests.truth.supports import rotation

STRAIGHT = np.eye(3)


def posed(shape, p=(0.0, 0.0, 0.0), R=STRAIGHT):
    X_WG = Pose("W", "G", R, np.asarray(p, dtype=float))
    return [(piece, X_WG) for piece in pieces(shape)]


def mover_of(part, *sets, down=0.0):
    outer, real = part
    return part_mover(Part("part", 0, outer, real), Moving(sets or (at(0, 0, 0),), down))


def at(*p, up=0.0):
    return Positions(np.array([p], dtype=float), up)


def seen(mover, obstacle, limit=1000.0, down=0.0):
    extent = mover.extent(AXES, down)
    surface = near_surface(obstacle, (-extent[3:], extent[:3]), limit)
    return measured(sweeps(mover, surface, down), obstacle, surface, limit)


CYLINDER = frusta((5.0, 5.0, 0.0, 30.0))


# ---- distances --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("p", "expected"),
    [((20.0, 0.0, 0.0), 10.0), ((0.0, 0.0, -15.0), 5.0), ((0.0, 0.0, 34.0), 4.0), ((12.0, 14.0, -22.0), 15.0)],
)
def test_that_a_cylinder_and_a_box_are_as_far_apart_as_the_closed_form_says(p, expected):
    """A d10 cylinder 30 high on the origin; a box 10 x 10 x 10 on the centre of its base."""
    found = seen(mover_of(CYLINDER), posed(Box(10.0, 10.0, 10.0), p))
    near_edge = math.hypot(7.0, 9.0) - 5.0  # the edge of the last box is (7, 9) off the axis, 12 under the base
    expected = math.hypot(near_edge, 12.0) if expected == 15.0 else expected
    assert expected - SAGITTA - 1e-6 <= found.distance <= expected + 1e-6
    assert found.contact is None
    assert found.is_whole


def test_that_it_looks_no_farther_than_the_limit():
    found = seen(mover_of(CYLINDER), posed(Box(10.0, 10.0, 10.0), (20.0, 0.0, 0.0)), limit=4.0)
    assert found.is_beyond
    assert found.distance == 4.0
    assert str(found) == "more than 4.000"


def test_that_the_stick_out_error_brings_a_tool_down():
    mover = mover_of(CYLINDER, at(0, 0, 0, up=50.0), down=2.0)
    floor = posed(Box(50.0, 50.0, 1.0), (0.0, 0.0, -6.0))
    assert seen(mover, floor).distance == pytest.approx(5.0, abs=1e-6)
    assert seen(mover, floor, down=2.0).distance == pytest.approx(3.0, abs=1e-6)


def test_that_every_position_and_its_lift_are_swept():
    """A pin of d1 beside the middle of a slot and half way up the lift: 3 from the cutter."""
    slot = Positions(np.array([[-40.0, 0.0, 0.0], [40.0, 0.0, 0.0]]), 60.0)
    pin = posed(Box(1.0, 1.0, 1.0), (0.0, 8.5, 70.0))
    assert seen(mover_of(CYLINDER, slot), pin).distance == pytest.approx(3.0, abs=SAGITTA)


# ---- contact ----------------------------------------------------------------------------------------

CUBE = block((100.0, 100.0, 100.0), (-50.0, -50.0, -50.0))


@pytest.mark.parametrize(
    ("shape", "p", "expected"),
    [
        (Box(4.0, 4.0, 4.0), (6.0, 0.0, 0.0), "overlap"),
        (mesh_shape(*CUBE), (0.0, 0.0, 0.0), "inside"),  # the tool in the mesh
        (Box(100.0, 100.0, 100.0), (0.0, 0.0, -50.0), "inside"),
        (mesh_shape(*block((1.0, 1.0, 1.0))), (0.0, 0.0, 4.0), "inside"),  # the mesh in the tool
        (mesh_shape(*hollow_block((90.0, 90.0, 90.0), (70.0, 70.0, 70.0), (-45.0, -45.0, -45.0))), (0.0, 0, 0), None),
        (mesh_shape(*CUBE), (60.0, 0.0, 0.0), None),
    ],
)
def test_that_contact_is_told_by_its_kind(shape, p, expected):
    found = seen(mover_of(CYLINDER), posed(shape, p))
    assert found.contact == expected
    assert (found.distance == 0.0) == (expected is not None)


def test_that_a_tool_deep_inside_a_body_is_found_where_no_triangle_is_near():
    huge = mesh_shape(*block((4000.0, 4000.0, 4000.0), (-2000.0, -2000.0, -2000.0)))
    assert seen(mover_of(CYLINDER), posed(huge), limit=1.0).contact == "inside"


def test_that_one_of_many_grains_inside_a_tool_is_found():
    """The grains of a mesh hang not together: one in the tool, the others round it."""
    grains = joined(*(block((1.0, 1.0, 1.0), (12.0 * k, 0.0, 10.0)) for k in (2, 1, 3, 0, 4)))
    assert seen(mover_of(CYLINDER), posed(mesh_shape(*grains))).contact == "inside"


# ---- many triangles ---------------------------------------------------------------------------------


@pytest.fixture
def sizes(monkeypatch):
    """The numbers of triangles of all trees that FCL builds."""
    built = []

    def tree(triangles):
        built.append(len(triangles.faces))
        return MeshTree(triangles)

    monkeypatch.setattr(meshed_sweeps, "MeshTree", tree)
    return built


def wavy(n):
    corners = wavy_block(n).astype(float)
    return Triangles(corners.reshape(-1, 3), np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3))


@pytest.mark.parametrize("height", [0.5, 6.0, 40.0])
def test_that_only_small_trees_are_built_over_a_part_of_many_triangles(sizes, height):
    """A tool over a wavy top, which is nowhere higher than HEIGHT + WAVE, and under it somewhere below the tool."""
    part = wavy(40_000)
    shape = mesh_shape(part.vertices, part.faces)
    mover = mover_of(CYLINDER, at(3.0, -7.0, HEIGHT + WAVE + height, up=30.0))
    found = seen(mover, posed(shape), limit=2 * height)
    sizes_then = list(sizes)
    whole = surface_distance(MeshTree(every_sweep(mover).triangles(0)).at_origin(), MeshTree(part).at_origin())
    assert found.distance == pytest.approx(whole.distance, abs=1e-6)
    assert 0 < max(sizes_then) <= MOST_AT_ONCE


@pytest.mark.parametrize("seed", range(6))
def test_that_two_surfaces_of_many_triangles_are_as_far_apart_as_whole_trees_say(sizes, seed):
    rng = np.random.default_rng(seed)
    first, second = wavy(9_000), wavy(5_000)
    R = rotation(rng, "aligned" if seed % 2 else "any")
    second = Triangles(second.vertices @ R.T + rng.normal(size=3) * 60.0 + (90.0, 0.0, 0.0), second.faces)
    expected = surface_distance(MeshTree(first).at_origin(), MeshTree(second).at_origin())
    found = nearest(first, second, math.inf)
    assert found is not None
    assert found.distance == pytest.approx(expected.distance, abs=1e-6)
    if expected.distance > 0.0:
        assert np.linalg.norm(found.p_a - found.p_b) == pytest.approx(found.distance, abs=1e-6)
        assert nearest(first, second, expected.distance - 1e-3) is None
    assert max(sizes) <= MOST_AT_ONCE


# ---- stated errors ----------------------------------------------------------------------------------


def test_that_the_stated_error_is_that_of_the_polygons_on_either_side():
    assert mover_of(CYLINDER).error == SAGITTA
    ball = cutter_of(kind="ball mill", d=6.0, flute=10.0, shank=6.0)
    assert mover_of(ball).error == SAGITTA + ARC_GAP
    assert mover_of(head_box(CUBE[0])).error == 0.0
    assert body_error(posed(Box(1.0, 1.0, 1.0))) == 0.0
    assert body_error(posed(cylinder(3.0, 1.0))) == SAGITTA
    assert body_error(posed(mesh_shape(*CUBE, chord_error=0.01))) == 0.01


@pytest.mark.parametrize("seed", range(8))
def test_that_what_is_found_is_less_than_the_true_distance_by_the_stated_error_at_most(seed):
    """Cylinder beside cylinder, both upright or one lying: the axes' distance less the radii."""
    rng = np.random.default_rng(seed)
    r1, r2, gap, t = *rng.uniform(0.5, 60.0, 2), rng.uniform(0.1, 30.0), rng.uniform(0.0, 2 * math.pi)
    mover = mover_of(frusta((r1, r1, 0.0, 50.0)))
    beside = (r1 + r2 + gap) * np.array([math.cos(t), math.sin(t), 0.0])
    upright = posed(cylinder(2 * r2, 50.0), beside)
    lying = np.column_stack([(0.0, 0.0, 1.0), beside / np.linalg.norm(beside), np.cross((0, 0, 1.0), beside)])
    lying[:, 2] /= np.linalg.norm(lying[:, 2])
    along = posed(cylinder(2 * r2, 400.0), beside - 200.0 * lying[:, 2] + (0.0, 0.0, 25.0), lying)
    for obstacle in (upright, along):
        error = mover.error + body_error(obstacle)
        assert gap - error - 1e-6 <= seen(mover, obstacle).distance <= gap + 1e-6


# ---- bodies that stand ------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(6))
def test_that_two_bodies_that_stand_are_measured_as_their_hulls_are(seed):
    """Against FCL on whole hulls of the same corners: convex solids."""
    rng = np.random.default_rng(seed)
    shapes = [Box(*rng.uniform(5, 30, 3)), cone(*rng.uniform(5, 30, 2), 20.0)]
    R = rotation(rng, "aligned" if seed % 2 else "any")
    first, second = posed(shapes[0]), posed(shapes[1], rng.normal(size=3) * 40.0 + (50.0, 0.0, 0.0), R)
    hulls = [hull(np.concatenate([X.points(p.outer.vertices) for p, X in body])) for body in (first, second)]
    expected = surface_distance(*(MeshTree(h).at_origin() for h in hulls)).distance
    assert seen(body_mover(first), second).distance == pytest.approx(expected, abs=1e-6)


def test_that_a_mesh_that_stands_is_itself_and_not_its_hull():
    room = mesh_shape(*hollow_block((90.0, 90.0, 90.0), (70.0, 70.0, 70.0), (-45.0, -45.0, -45.0)))
    small = posed(Box(10.0, 10.0, 10.0))
    assert seen(body_mover(posed(room)), small).distance == pytest.approx(25.0, abs=1e-6)
    assert seen(body_mover(posed(mesh_shape(*CUBE))), small).contact == "inside"
    assert seen(body_mover(small), posed(mesh_shape(*CUBE))).contact == "inside"


def test_that_some_of_a_mesh_inside_a_body_is_found_from_either_side():
    grains = joined(block((1.0, 1.0, 1.0), (30.0, 0.0, 3.0)), block((1.0, 1.0, 1.0), (0.0, 0.0, 3.0)))
    some, box = posed(mesh_shape(*grains)), posed(Box(10.0, 10.0, 10.0))
    assert seen(body_mover(some), box).contact == "inside"
    assert seen(body_mover(box), some).contact == "inside"
