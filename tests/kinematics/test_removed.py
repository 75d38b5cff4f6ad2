"""The workpiece without what the cutter takes: less than it takes, never more."""

import math

import numpy as np
import pytest

from kinematics.removed import above_plane, without_hole
from kinematics.shapes import Box, cylinder
from kinematics.solids import corner_count, pieces
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.truth import brute_force
from tests.truth.mesh_facts import check_closed, volume

UP = (0.0, 0.0, 1.0)
BLOCK = brute_force.box_mesh((40.0, 30.0, 20.0), (-20.0, -15.0, 0.0))
OPEN_BLOCK = (BLOCK[0], BLOCK[1][:-1])


def piece_of(shape):
    (piece,) = pieces(shape)
    return piece


def volume_of(triangles):
    return volume(triangles.vertices, triangles.faces)


@pytest.mark.parametrize("shape", [Box(40, 30, 20), mesh_shape(*BLOCK)], ids=["box", "mesh"])
@pytest.mark.parametrize("axis", [UP, (1.0, 0.0, 0.0), (0.0, -0.6, 0.8)])
def test_that_a_blind_hole_takes_no_more_than_the_cutter(shape, axis):
    """From a tip in the middle of the block outwards; the true hole is a little larger than what is taken."""
    r = 3.0
    rest = without_hole(piece_of(shape), np.array([0.0, 0.0, 8.0]), axis, r)
    taken = 40 * 30 * 20 - volume_of(rest.outer)
    check_closed(rest.outer.vertices, rest.outer.faces)
    if axis == UP:
        true = math.pi * r * r * 12
    elif axis == (1.0, 0.0, 0.0):
        true = math.pi * r * r * 20
    else:  # leaning: the mean length from the tip to the top, of every line along the axis
        true = math.pi * r * r * (12 / 0.8)
    n = corner_count(r)
    polygon = n / 2 * math.sin(2 * math.pi / n) / math.pi  # the share of the circle that its inscribed polygon has
    assert taken == pytest.approx(true * polygon, rel=1e-6)
    assert taken < true


def test_that_a_mesh_that_may_not_be_written_to_is_taken_from():
    """As meshes from files are: their arrays are locked."""
    vertices, faces = (np.array(a) for a in BLOCK)
    vertices.flags.writeable = faces.flags.writeable = False
    rest = without_hole(piece_of(mesh_shape(vertices, faces)), np.array([0.0, 0.0, 8.0]), UP, 3.0)
    assert volume_of(rest.outer) < 40 * 30 * 20


def test_that_what_is_left_is_no_longer_convex_and_keeps_its_errors():
    rest = without_hole(piece_of(mesh_shape(*BLOCK, chord_error=0.02)), np.array([0.0, 0.0, 8.0]), UP, 3.0)
    assert not rest.is_convex
    assert rest.chord_error == 0.02
    assert rest.mesh.is_closed


def test_that_a_round_bar_is_taken_from_on_both_sides_of_the_truth():
    bar = piece_of(cylinder(30, 20))
    rest = without_hole(bar, np.array([0.0, 0.0, 8.0]), UP, 3.0)
    assert volume_of(rest.inner) < volume_of(rest.outer)
    assert volume_of(bar.outer) - volume_of(rest.outer) == pytest.approx(math.pi * 9 * 12, rel=1e-2)


def test_that_nothing_is_taken_from_a_mesh_that_does_not_close():
    assert without_hole(piece_of(mesh_shape(*OPEN_BLOCK)), np.array([0.0, 0.0, 8.0]), UP, 3.0) is None


def test_that_a_hole_beside_the_block_leaves_it_whole():
    rest = without_hole(piece_of(Box(40, 30, 20)), np.array([100.0, 0.0, 8.0]), UP, 3.0)
    assert rest is None or volume_of(rest.outer) == pytest.approx(40 * 30 * 20)


@pytest.mark.parametrize("shape", [Box(40, 30, 20), mesh_shape(*BLOCK)], ids=["box", "mesh"])
@pytest.mark.parametrize(("height", "left"), [(5.0, 15.0), (0.0, 20.0), (-3.0, 20.0), (19.999, 0.001)])
def test_that_what_is_above_a_plane_is_cut_off_at_it(shape, height, left):
    rest = above_plane(piece_of(shape), np.array([7.0, 9.0, height]), UP)
    check_closed(rest.outer.vertices, rest.outer.faces)
    assert volume_of(rest.outer) == pytest.approx(40 * 30 * left, rel=2e-3)
    assert rest.outer.vertices[:, 2].max() == pytest.approx(20.0)


def test_that_above_a_leaning_plane_half_a_centred_block_is_left():
    axis = (0.0, -0.6, 0.8)
    rest = above_plane(piece_of(Box(40, 30, 20)), np.array([0.0, 0.0, 10.0]), axis)
    assert volume_of(rest.outer) == pytest.approx(40 * 30 * 10, rel=1e-6)


@pytest.mark.parametrize("height", [20.0, 20.5, 300.0])
def test_that_a_block_which_only_touches_the_plane_has_nothing_above_it(height):
    for shape in (Box(40, 30, 20), mesh_shape(*BLOCK), mesh_shape(*OPEN_BLOCK)):
        assert above_plane(piece_of(shape), np.array([0.0, 0.0, height]), UP) is None


def test_that_a_mesh_which_does_not_close_is_kept_whole():
    piece = piece_of(mesh_shape(*OPEN_BLOCK))
    assert above_plane(piece, np.array([0.0, 0.0, 5.0]), UP) is piece
