"""Clearance of one part against one obstacle: closed forms, answers known by construction, one solid in another.

Cases D1 to D8 have closed forms; two independent distance libraries agree with them to 2e-6.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from kinematics.engine import pair as engine_pair
from kinematics.engine.pair import DIRECTIONS, Clear, Contact, TreeCache
from kinematics.engine.sweep import PolyPiece, Positions, hull
from kinematics.errors import EngineError
from kinematics.shapes import Box, Revolve, Screw, Step, cone, cylinder
from kinematics.solids import Triangles, pieces
from tests.kinematics.engine.constructed import MOVES, OBSTACLES, TOOLS, built
from tests.kinematics.engine.pairs_by_hand import clearance, clearance_by_polyhedra, cutter_of, frusta, mesh_shape
from tests.truth import brute_force

WIDTH = 0.01  # mm, the most that the two ends of an interval may differ
ORIGIN = np.zeros(3)


def at(*tip, up=0.0, down=0.0):
    return Positions(np.array([tip], dtype=float), up, down)


def turned(axis, degrees):
    """Rotation about a coordinate axis, exact at quarter turns."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    if degrees % 90 == 0:
        c, s = round(c), round(s)
    i, j = [(1, 2), (2, 0), (0, 1)]["XYZ".index(axis)]
    R = np.eye(3)
    R[i, i] = R[j, j] = c
    R[i, j], R[j, i] = -s, s
    return R


def check_gap(answer, expected):
    """The interval holds the exact value, is narrow, and its value is the distance of its witness points."""
    assert isinstance(answer, Clear)
    assert answer.at_least <= expected + 1e-9
    assert answer.value >= expected - 1e-6
    assert answer.value - answer.at_least <= WIDTH
    assert np.linalg.norm(answer.p_tool - answer.p_obstacle) == pytest.approx(answer.value, abs=1e-9)


def check_contact(answer, kind):
    assert isinstance(answer, Contact)
    assert answer.kind == kind
    assert answer.is_proven


# ---- closed forms ------------------------------------------------------------------------------

CYLINDER_5_30 = frusta((5.0, 5.0, 0.0, 30.0))


def test_that_d1_a_cylinder_above_a_box_clears_it_by_15():
    check_gap(clearance(CYLINDER_5_30, Box(20, 20, 20), np.eye(3), np.array([0, 0, -10.0]), at(0, 0, 25)), 15.0)


def test_that_d2_a_cylinder_beside_the_edge_of_a_box_clears_it_by_root_200_less_5():
    part = frusta((5.0, 5.0, 0.0, 40.0))
    check_gap(clearance(part, Box(20, 20, 20), np.eye(3), np.array([0, 0, -10.0]), at(20, 20, -20)), math.sqrt(200) - 5)


@pytest.mark.parametrize("about", ["X", "Y"])
@pytest.mark.parametrize("lean", [30, -30])
def test_that_d3_a_tip_above_a_leaning_plane_clears_it_by_26(about, lean):
    """The plane leans under the tool, so it is a slab whose top goes through the origin."""
    R = turned(about, lean)
    n = R @ (0.0, 0.0, 1.0)
    tip = 30.0 * n  # the middle of the tip stands 30 off the plane; its rim comes 8 sin 30 nearer
    part = frusta((8.0, 8.0, 0.0, 40.0))
    check_gap(clearance(part, Box(400, 400, 50), R, -50.0 * n, at(*tip)), 26.0)


def test_that_d4_a_holder_over_a_screw_head_clears_it_by_root_32():
    part = frusta((21.0, 21.0, 0.0, 20.0))
    screw = Screw("ISO 4762", "M6", 10.0, 6.0)
    check_gap(clearance(part, screw, np.eye(3), np.array([30.0, 0, 0]), at(0, 0, 10)), math.sqrt(32))


@pytest.mark.parametrize("along", [0, 30, 90, 180])
def test_that_d5_crossed_cylinders_clear_each_other_by_25(along):
    part = frusta((6.0, 6.0, -100.0, 100.0))
    lying = turned("Z", along) @ turned("Y", 90)
    beside = turned("Z", along) @ (0.0, 40.0, 0.0) - lying @ (0.0, 0.0, 100.0)
    check_gap(clearance(part, cylinder(18, 200), lying, beside, at(0, 0, 0)), 25.0)


def test_that_d6_a_tip_over_the_edge_of_a_cube_on_its_edge_clears_it_by_60_less_25_root_2():
    R = turned("X", 45)
    part = frusta((8.0, 8.0, 0.0, 40.0))
    check_gap(clearance(part, Box(50, 50, 50), R, R @ (0, 0, -25.0), at(0, 0, 60)), 60 - 25 * math.sqrt(2))


def test_that_d7_a_ball_beside_a_cylinder_clears_it_by_6():
    ball = cutter_of(kind="lollipop", d=6.0, shank=3.0)
    check_gap(clearance(ball, cylinder(8, 60), np.eye(3), np.array([0, 0, -30.0]), at(12, 5, -3)), 6.0)


def test_that_d8_a_ball_beside_a_frustum_clears_it_by_19_2536():
    ball = cutter_of(kind="lollipop", d=10.0, shank=3.0)
    expected = ((40 - 15) * 4 / math.sqrt(17)) - 5  # from the centre to the flank, which rises 4 to 1, less the radius
    assert expected == pytest.approx(19.253563, abs=1e-6)
    check_gap(clearance(ball, cone(20, 40, 40), np.eye(3), ORIGIN, at(40, 0, 15)), expected)


@pytest.mark.parametrize("lean", [0, 30, 45, 60, 90])
@pytest.mark.parametrize("up", [0.0, 100.0])
def test_that_a_leaning_cylinder_under_a_tip_is_cleared_by_the_closed_form(lean, up):
    highest = 40 * math.cos(math.radians(lean)) + 20 * math.sin(math.radians(lean))  # half length, radius
    R = turned("X", lean)
    part = frusta((100.0, 100.0, 0.0, 5.0))
    check_gap(clearance(part, cylinder(40, 80), R, R @ (0, 0, -40.0), at(0, 0, 200, up=up)), 200 - highest)


def check_tip(answer, case):
    """The tip is a position of the move, and with the tip there the tool holds its point."""
    assert (DIRECTIONS @ answer.tip <= case.positions.supports(DIRECTIONS) + 1e-6).all()
    around, real = case.part
    p_L = answer.p_tool - answer.tip
    if real:
        assert min(piece.distance_to(p_L)[0] for piece in real) < 1e-6
    else:
        ((_, supports),) = around
        assert (DIRECTIONS @ p_L <= supports + 1e-6).all()


# ---- known by construction ---------------------------------------------------------------------

GAPS = (0.001, 0.012, 0.3, 4.0, 80.0)


def check_constructed(tool, obstacle, move, rng, gap, pose):
    """Apart: the interval holds the gap. Touching or overlapping: never clear. Contact is claimed only if there is."""
    case = built(tool, obstacle, move, rng, gap, pose)
    answer = case.ask()
    where = (tool, obstacle, move, pose, gap)
    if gap > 0.0 and (isinstance(answer, Clear) or gap > WIDTH):
        assert isinstance(answer, Clear), where
        check_gap(answer, gap)
        check_tip(answer, case)
    elif gap > 0.0:
        assert not answer.is_proven, where
    else:
        assert not isinstance(answer, Clear) or answer.at_least <= 0.0, where
        if isinstance(answer, Contact) and answer.depth is not None:
            assert answer.depth[0] <= -gap + 1e-6, where


@pytest.mark.parametrize("tool", TOOLS)
@pytest.mark.parametrize("obstacle", OBSTACLES)
def test_that_a_constructed_gap_is_found(tool, obstacle):
    rng = np.random.default_rng(TOOLS.index(tool) * 10 + OBSTACLES.index(obstacle))
    for k, move in enumerate(MOVES):
        for pose in ("any", "aligned"):
            check_constructed(tool, obstacle, move, rng, GAPS[(k + (pose == "aligned")) % len(GAPS)], pose)


@pytest.mark.parametrize("tool", TOOLS)
@pytest.mark.parametrize("obstacle", OBSTACLES)
def test_that_touching_and_overlapping_solids_are_never_clear(tool, obstacle):
    rng = np.random.default_rng(100 + TOOLS.index(tool) * 10 + OBSTACLES.index(obstacle))
    for k, gap in enumerate((0.0, -1e-6, -0.001, -0.02, -0.3)):
        check_constructed(tool, obstacle, MOVES[k], rng, gap, "aligned" if k % 2 else "any")


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_that_many_more_constructed_gaps_are_found(seed):
    rng = np.random.default_rng(1000 + seed)
    for i in range(500):
        gap = float(rng.choice([*GAPS, 0.0, 1e-6, 0.004, -0.002, -0.01, -0.3]))
        check_constructed(
            rng.choice(TOOLS), rng.choice(OBSTACLES), rng.choice(MOVES), rng, gap, "aligned" if i % 2 else "any"
        )


@pytest.mark.parametrize("far", [1e3, 1e4, 1e5])
@pytest.mark.parametrize("obstacle", ["box", "cylinder", "mesh"])
def test_that_a_gap_is_found_far_from_the_origin(far, obstacle):
    rng = np.random.default_rng(7)
    for move in MOVES:
        case = built("cylinder", obstacle, move, rng, 0.3, "any")
        away = np.array([far, -far, far / 2])
        shifted = Positions(case.positions.points + away, case.positions.up)
        if not shifted.is_level and len(shifted.points) > 2:
            continue  # rounding of the shift alone
        check_gap(clearance(case.part, case.shape, case.R, case.p + away, shifted), 0.3)


@pytest.mark.parametrize("size", [1e-4, 1e-3, 1e-2])
def test_that_tiny_solids_are_told_apart(size):
    """A needle over a speck, both smaller than the sagitta of larger circles."""
    part = frusta((0.0, size, 0.0, size))
    check_gap(clearance(part, Box(size, size, size), np.eye(3), ORIGIN, at(0, 0, 3 * size)), 2 * size)
    check_gap(clearance(part, cylinder(size, size), np.eye(3), ORIGIN, at(0, 0, 3 * size)), 2 * size)


# ---- relations ---------------------------------------------------------------------------------


@pytest.mark.parametrize("pose", ["any", "aligned"])
def test_that_growing_a_solid_never_raises_the_gap(pose):
    rng = np.random.default_rng(3)
    for move in MOVES:
        case = built("cylinder", "box", move, rng, 2.0, pose)
        r, h = case.part[1][0].r1, case.part[1][0].z2
        before = case.ask()
        thicker = frusta((r + 0.5, r + 0.5, 0.0, h))
        after = clearance(thicker, case.shape, case.R, case.p, case.positions)
        assert after.at_least <= before.value
        longer_lift = Positions(case.positions.points, case.positions.up + 30.0)
        after = clearance(case.part, case.shape, case.R, case.p, longer_lift)
        assert not isinstance(after, Clear) or after.at_least <= before.value


@pytest.mark.parametrize("pose", ["any", "aligned"])
def test_that_moving_along_the_witness_line_flips_the_verdict(pose):
    rng = np.random.default_rng(5)
    for tool, obstacle, move in zip(("cylinder", "point", "frustum"), ("box", "mesh", "box"), MOVES, strict=False):
        case = built(tool, obstacle, move, rng, 1.0, pose)
        answer = case.ask()
        n = (answer.p_obstacle - answer.p_tool) / answer.value
        for step, is_clear in ((answer.at_least - 1e-3, True), (answer.value + 1e-3, False)):
            moved = clearance(case.part, case.shape, case.R, case.p - step * n, case.positions)
            assert isinstance(moved, Clear) == is_clear


def test_that_an_exact_shape_and_its_mesh_are_as_far_away():
    rng = np.random.default_rng(9)
    for move in MOVES:
        case = built("cylinder", "box", move, rng, 3.0, "any")
        size = np.array([case.shape.dx, case.shape.dy, case.shape.dz])
        mesh = mesh_shape(*brute_force.box_mesh(size, (-size[0] / 2, -size[1] / 2, 0.0)))
        as_mesh = clearance(case.part, mesh, case.R, case.p, case.positions)
        as_box = case.ask()
        assert as_mesh.at_least <= as_box.value
        assert as_box.at_least <= as_mesh.value


def test_that_the_chord_error_of_a_file_is_taken_off_the_bound_and_not_off_the_value():
    box = brute_force.box_mesh((10.0, 10.0, 10.0), (-5.0, -5.0, 0.0))
    for chord_error in (0.0, 0.01, 0.3):
        answer = clearance(
            frusta((3.0, 3.0, 0.0, 9.0)), mesh_shape(*box, chord_error=chord_error), np.eye(3), ORIGIN, at(0, 0, 12)
        )
        assert answer.at_least == pytest.approx(2.0 - chord_error, abs=1e-5)
        assert answer.value == pytest.approx(2.0, abs=1e-5)


def test_that_a_chord_error_larger_than_the_gap_leaves_nothing_proven():
    box = brute_force.box_mesh((10.0, 10.0, 10.0), (-5.0, -5.0, 0.0))
    answer = clearance(
        frusta((3.0, 3.0, 0.0, 9.0)), mesh_shape(*box, chord_error=0.3), np.eye(3), ORIGIN, at(0, 0, 10.2)
    )
    assert isinstance(answer, Clear)
    assert answer.at_least < 0.0 < answer.value


@pytest.mark.parametrize("gap", [0.0, 0.001, 0.003])
def test_that_contact_which_is_not_proven_is_within_the_width_of_an_interval(gap):
    """Two round solids side by side, nearer than their polygons: contact can't be excluded, nor is it claimed."""
    answer = clearance_by_polyhedra(
        frusta((20.0, 20.0, 0.0, 50.0)), cylinder(30, 50), np.eye(3), np.array([35.0 + gap, 0, 0]), at(0, 0, 0)
    )
    assert isinstance(answer, Contact)
    assert not answer.is_proven
    assert -WIDTH <= answer.depth[0] <= -gap + 1e-9
    assert 0.0 <= answer.depth[1] <= WIDTH
    if answer.depth[0] < 0.0:  # what is attained is the distance of the two points told
        assert np.linalg.norm(answer.p_tool - answer.p_obstacle) == pytest.approx(-answer.depth[0], abs=1e-9)


def test_that_a_library_that_contradicts_itself_is_not_believed(monkeypatch):
    """The distance library answers with points that are not as far apart as it says."""
    real = engine_pair.surface_distance

    def lying(a, b):
        answer = real(a, b)
        return type(answer)(answer.distance * 0.5, answer.p_a, answer.p_b)

    monkeypatch.setattr(engine_pair, "surface_distance", lying)
    with pytest.raises(EngineError, match="support plane"):
        clearance_by_polyhedra(
            frusta((5.0, 5.0, 0.0, 30.0)), Box(10, 10, 10), np.eye(3), np.array([20.0, 0, 0]), at(0, 0, 0)
        )


# ---- one solid inside another: surfaces are hollow to the distance library ------------------------

CUBE_100 = brute_force.box_mesh((100.0, 100.0, 100.0), (-50.0, -50.0, 0.0))
CUBE_2 = brute_force.box_mesh((2.0, 2.0, 2.0), (-1.0, -1.0, -1.0))
NUT = frusta((14.0, 14.0, 0.0, 22.0))


@pytest.mark.parametrize("up", [0.0, 20.0])
@pytest.mark.parametrize("tip", [(0, 0, 40), (-30, 25, 10), (0, 0, 50)])
def test_that_a_cutter_inside_a_part_is_contact(tip, up):
    cutter = frusta((3.0, 3.0, 0.0, 13.0))
    for shape in (Box(100, 100, 100), mesh_shape(*CUBE_100), cylinder(140, 100)):
        answer = clearance(cutter, shape, np.eye(3), ORIGIN, at(*tip, up=up))
        check_contact(answer, "inside")
        assert (answer.depth is None) == (not isinstance(shape, Box | Revolve))


@pytest.mark.parametrize(
    "shape",
    [
        Screw("ISO 4762", "M3", 5.5, 3.0, 3.0, 8.0),
        Box(4, 4, 4),
        cylinder(6, 6),
        cone(6, 0, 5),
        mesh_shape(*brute_force.box_mesh((3.0, 3.0, 3.0))),
        mesh_shape(*brute_force.prism_mesh(7, 3.0, 1.0, 4.0)),
    ],
    ids=["screw", "box", "cylinder", "cone", "cube mesh", "prism mesh"],
)
@pytest.mark.parametrize("pose", [(0, 0), (90, 0), (0, 180), (37, 12)])
def test_that_a_solid_inside_the_nut_is_contact(shape, pose):
    R = turned("X", pose[0]) @ turned("Y", pose[1])
    check_contact(clearance(NUT, shape, R, np.array([2.0, -3.0, 11.0]), at(0, 0, 0)), "inside")


@pytest.mark.parametrize("pieces", [1, 2, 3])
def test_that_one_component_of_a_mesh_inside_the_nut_is_contact(pieces):
    """The other components stand well apart; only the last one is swallowed, and no surface crosses another."""
    away = [brute_force.box_mesh((5.0, 5.0, 5.0), (60.0 + 20 * k, 0.0, 0.0)) for k in range(pieces)]
    mesh = mesh_shape(*brute_force.joined(*away, (CUBE_2[0] + (0.0, 0.0, 10.0), CUBE_2[1])))
    check_contact(clearance(NUT, mesh, np.eye(3), ORIGIN, at(0, 0, 0)), "inside")


def test_that_a_solid_which_only_the_move_swallows_is_contact():
    """A speck that the nut passes over: at neither end of the move, nor at the ends of the lift, is it inside."""
    mesh = mesh_shape(*CUBE_2)
    for positions in (
        Positions(np.array([[-60.0, 0, -10], [60.0, 0, -10]])),
        Positions(np.array([[-60.0, 0, -30], [60.0, 0, 10]])),
        Positions(np.array([[0.0, 0, -60]]), up=100.0),
        Positions(np.array([[-60.0, -60, -10], [60, -60, -10], [60, 60, -10], [-60, 60, -10]])),
    ):
        check_contact(clearance(NUT, mesh, np.eye(3), ORIGIN, positions), "inside")


def test_that_a_tool_in_the_hollow_of_a_mesh_is_not_in_its_metal():
    shell = brute_force.joined(CUBE_100, (CUBE_100[0] * 0.8 + (0.0, 0.0, 10.0), CUBE_100[1][:, ::-1]))
    answer = clearance(frusta((3.0, 3.0, 0.0, 13.0)), mesh_shape(*shell), np.eye(3), ORIGIN, at(0, 0, 40))
    check_gap(answer, 30.0)


def test_that_two_closed_solids_in_one_mesh_which_overlap_each_other_still_have_an_inside():
    twice = brute_force.joined(CUBE_100, (CUBE_100[0] + (20.0, 0.0, 0.0), CUBE_100[1]))
    check_contact(
        clearance(frusta((3.0, 3.0, 0.0, 13.0)), mesh_shape(*twice), np.eye(3), ORIGIN, at(10, 0, 40)), "inside"
    )


def open_box(*dropped):
    vertices, faces = CUBE_100
    return mesh_shape(vertices, np.delete(faces, dropped, axis=0))


def test_that_inside_an_open_mesh_is_said_to_be_undecided():
    with pytest.raises(EngineError, match="open"):
        clearance(frusta((3.0, 3.0, 0.0, 13.0)), open_box(2, 3), np.eye(3), ORIGIN, at(0, 0, 70))


def test_that_an_open_mesh_still_gives_a_distance_outside():
    check_gap(clearance(frusta((3.0, 3.0, 0.0, 13.0)), open_box(2, 3), np.eye(3), ORIGIN, at(90, 0, 50)), 37.0)


def test_that_a_mesh_turned_inside_out_is_said_to_be_undecided():
    vertices, faces = CUBE_100
    with pytest.raises(EngineError, match="inside out"):
        clearance(frusta((3.0, 3.0, 0.0, 13.0)), mesh_shape(vertices, faces[:, ::-1]), np.eye(3), ORIGIN, at(0, 0, 40))


# ---- bodies of the head --------------------------------------------------------------------------------


def head_part(mesh):
    """A body of the head that is a mesh: its hull covers it, it is itself within."""
    corners = Triangles(mesh[0], mesh[1].astype(np.int32))
    piece = PolyPiece("lamp", hull(mesh[0]), corners, is_convex=False)
    return ((piece, piece.supports(DIRECTIONS)),), ()


L_LAMP = brute_force.joined(
    brute_force.box_mesh((100.0, 10.0, 10.0), (-50.0, -5.0, 0.0)),
    brute_force.box_mesh((10.0, 10.0, 100.0), (40.0, -5, -100)),
)


def test_that_contact_with_the_hull_of_a_mesh_on_the_head_is_not_claimed_as_proven():
    answer = clearance(head_part(L_LAMP), Box(20, 20, 20), np.eye(3), np.array([-20.0, 0, -60]), at(0, 0, 0))
    assert isinstance(answer, Contact)
    assert (answer.is_proven, answer.depth) == (False, None)


def test_that_contact_with_a_mesh_on_the_head_itself_is_proven():
    for where in ((45.0, 0.0, -60.0), (-45.0, 0.0, -5.0)):
        answer = clearance(head_part(L_LAMP), Box(20, 20, 20), np.eye(3), np.array(where), at(0, 0, 0))
        check_contact(answer, "overlap")


def test_that_the_gap_of_a_mesh_on_the_head_is_bounded_by_its_hull_and_attained_by_itself():
    """A box under the long arm: 30 from the arm, less from the hull of the L."""
    answer = clearance(head_part(L_LAMP), Box(8, 8, 8), np.eye(3), np.array([-45.0, 0, -38]), at(0, 0, 0))
    assert isinstance(answer, Clear)
    assert answer.value == pytest.approx(30.0, abs=1e-9)
    assert answer.at_least < 30.0


# ---- depth --------------------------------------------------------------------------------------


def test_that_a_mesh_in_contact_has_no_depth():
    answer = clearance(NUT, mesh_shape(*CUBE_100), np.eye(3), ORIGIN, at(0, 0, 95))
    check_contact(answer, "overlap")
    assert answer.depth is None


def test_that_the_depth_of_a_stack_is_that_of_its_deepest_step():
    """A stepped pin under a flat nut: the thin upper step is in by 3, the thick one not at all."""
    pin = Revolve((Step(30, 30, 10), Step(8, 8, 10)))
    answer = clearance(frusta((12.0, 12.0, 0.0, 9.0)), pin, np.eye(3), ORIGIN, at(0, 0, 17))
    check_contact(answer, "overlap")
    assert answer.depth[0] <= 3.0 <= answer.depth[1]
    assert answer.depth[1] - answer.depth[0] <= WIDTH
    assert answer.normal == pytest.approx((0.0, 0.0, -1.0))


def test_that_a_mesh_never_gets_the_components_of_one_that_is_gone():
    """Meshes that live for one cut only (the part without its hole) may follow each other at one address."""
    trees = TreeCache()
    for k in range(50):
        (piece,) = pieces(mesh_shape(CUBE_2[0] + (10.0 * k, 0.0, 0.0), CUBE_2[1]))
        (point,) = trees.component_points(replace(piece, outer=Triangles(*CUBE_100)))
        assert abs(point[0] - 10.0 * k) <= 1.0
        del piece
