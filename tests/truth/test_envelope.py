"""Many holders and stick-outs at once: every interval holds the exact clearance, and is as narrow as it says.

Against the exact leaf over every triangle, set and frustum by itself (`rooms_by_hand.py`), plain sampling, and
closed forms worked out beside each check.
"""

import math

import numpy as np
import pytest

from kinematics.engine.envelope import TOLERANCE, envelope
from kinematics.engine.sweep import Positions
from kinematics.errors import EngineError
from tests.truth import brute_force
from tests.truth.rooms_by_hand import (
    HOLDER,
    NUT,
    SETS,
    Step,
    body,
    exact,
    random_scene,
    sampled_distance,
    soup,
    tool_sees,
    turned,
)

CLOSE = 1e-6  # mm, rounding
HEIGHTS = (-70.0, 120.0)
ORIGIN = [Positions(np.zeros((1, 3)))]


def check(room, at, truth, *, width=TOLERANCE):
    """One interval holds the truth and is narrow; next to contact it may leave contact open."""
    lo, hi = room.lo[at], room.hi[at]
    assert lo <= truth + CLOSE, f"{at}: proven {lo}, true {truth}"
    assert truth <= hi + CLOSE or (hi == -math.inf and truth <= CLOSE), f"{at}: attained {hi}, true {truth}"
    assert hi == lo or hi - lo <= width or (lo == -math.inf and hi <= CLOSE), f"{at}: {lo} to {hi} is wide"


def rooms(bodies, sets, profiles=(HOLDER,), shifts=(0.0,), heights=HEIGHTS, **how):
    build = {k: how.pop(k) for k in ("least_up", "tolerance") if k in how}
    return envelope(bodies, sets, heights, **build).rooms(profiles, np.asarray(shifts, dtype=float), **how)


# --- against the leaf over everything -------------------------------------------------------------


@pytest.mark.parametrize("is_aligned", [False, True], ids=["any", "aligned"])
@pytest.mark.parametrize("kind", SETS)
def test_that_every_interval_holds_the_exact_room(kind, is_aligned):
    rng = np.random.default_rng([17, SETS.index(kind), is_aligned])
    for _ in range(25):
        sets, mesh = random_scene(rng, is_aligned, int(rng.integers(1, 14)), (kind,))
        near = [body(mesh)]
        down = float(rng.choice([0.0, 0.5]))
        shifts = np.sort(rng.uniform(0.0, 60.0, 4)).round(0 if is_aligned else 9)
        profiles = [HOLDER, HOLDER[2:], HOLDER[:1]]
        made = envelope(near, sets, HEIGHTS)
        raw = made.rooms(profiles, shifts, down=down, is_refined=False)
        fine = made.rooms(profiles, shifts, down=down)
        for p, profile in enumerate(profiles):
            for s, shift in enumerate(shifts):
                truth = exact(profile, near, sets, shift=shift, down=down)
                check(raw, (p, s), truth, width=math.inf)
                check(fine, (p, s), truth)


@pytest.mark.parametrize("is_aligned", [False, True], ids=["any", "aligned"])
def test_that_moves_of_many_sets_with_lifts_of_their_own_hold_the_exact_room(is_aligned):
    rng = np.random.default_rng([18, is_aligned])
    for n_sets in (2, 3, 9, 9):
        sets, mesh = random_scene(rng, is_aligned, 3, n_sets=n_sets)
        if n_sets == 9:  # more lifts than are kept apart
            sets = [Positions(s.points, up=float(k % 5) * 4.0) for k, s in enumerate(sets)]
        near = [body(mesh, subtract=0.3)]
        room = rooms(near, sets, shifts=(0.0, 7.0, 31.0))
        for s, shift in enumerate((0.0, 7.0, 31.0)):
            check(room, (0, s), exact(HOLDER, near, sets, shift=shift))


def test_that_of_many_lifts_the_largest_bounds_and_the_least_attains():
    # an overhang 60 over the tips, 40 to the side of all but one of nine positions; the one below it lifts most
    near = [body(brute_force.box_mesh((20, 20, 5), (-10, -10, 60)))]
    ups = [44.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]
    sets = [Positions(np.array([[0.0 if k == 0 else 40.0 + k, 0.0, 0.0]]), up=up) for k, up in enumerate(ups)]
    made = envelope(near, sets, HEIGHTS)
    raw = made.rooms([[NUT]], [0.0], is_refined=False)
    assert raw.lo[0, 0] <= 60 - 12 - 44 + CLOSE
    check(raw, (0, 0), 60.0 - 12.0 - 44.0, width=math.inf)
    check(made.rooms([[NUT]], [0.0]), (0, 0), 60.0 - 12.0 - 44.0)


def test_that_a_wall_that_is_hardly_nearer_than_another_bounds_too():
    far, near = 20.0, 20.0 - 0.001
    walls = soup([[(x, -40, -40), (x, 40, -40), (x, 0, 90)] for x in (far, near)])
    room = rooms([body(walls)], ORIGIN, profiles=[[NUT]], shifts=[0.0, 10.0, 20.0], is_refined=False)
    for s in range(3):
        check(room, (0, s), near - NUT.r1)


def test_that_a_path_of_many_short_moves_holds_the_exact_room():
    rng = np.random.default_rng(19)
    _, mesh = random_scene(rng, False, 40, ("point",))
    t = np.linspace(0.0, 6.0, 41)
    path = mesh[0].mean(axis=0) + np.column_stack([12 * np.cos(t), 12 * np.sin(t), 0.6 * np.abs(t - 3.0)])
    sets = [Positions(path[k : k + 2], up=5.0) for k in range(40)]
    near = [body(mesh)]
    room = rooms(near, sets, shifts=(0.0, 20.0))
    for s, shift in enumerate((0.0, 20.0)):
        check(room, (0, s), exact(HOLDER, near, sets, shift=shift))


@pytest.mark.parametrize("kind", ["point", "sloping segment", "rectangle"])
def test_that_no_sampled_point_is_nearer_than_proven(kind):
    rng = np.random.default_rng([20, SETS.index(kind)])
    for _ in range(4):
        sets, mesh = random_scene(rng, False, 3, (kind,))
        points, lifts = tool_sees(mesh, sets, 9)
        room = rooms([body(mesh)], sets, profiles=[[NUT]], shifts=(0.0, 15.0))
        for s, shift in enumerate((0.0, 15.0)):
            step = Step(NUT.r1, NUT.r2, NUT.z1 + shift, NUT.z2 + shift)
            assert room.lo[0, s] <= sampled_distance(points, lifts, step).min() + CLOSE


# --- single triangles that are awkward ------------------------------------------------------------

AWKWARD = {
    "level": [(20, -5, 6), (30, -5, 6), (20, 9, 6)],
    "level under the axis": [(-20, -15, -3), (30, -15, -3), (0, 29, -3)],
    "level through the axis": [(-20, -15, 30), (30, -15, 30), (0, 29, 30)],
    "almost level": [(20, -5, 6), (30, -5, 6 + 1e-12), (20, 9, 6)],
    "upright": [(20, -5, 0), (20, 15, 0), (20, -5, 90)],
    "sliver": [(14, -50, 3), (14, 50, 3), (14 + 1e-9, 0, 3 + 1e-9)],
    "sliver along the axis": [(14, 0, -40), (14, 0, 80), (14, 1e-10, 10)],
    "collinear": [(14, -50, 3), (14, 50, 20), (14, 0, 11.5)],
    "a point": [(9, 12, 7), (9, 12, 7), (9, 12, 7)],
    "steep across the axis": [(-30, -4, -60), (30, 0, 100), (0, 6, 20)],
    "an edge on the axis": [(0, 0, 50), (0, 0, 60), (40, 3, 55)],
    "huge": [(-4000, 40, -4000), (4000, 40, -4000), (0, 40, 8000)],
    "on a boundary of bins": [(20, -5, -70 + 100 * TOLERANCE), (30, 0, -70 + 100 * TOLERANCE), (20, 9, 0)],
}  # fmt: skip


@pytest.mark.parametrize("name", AWKWARD)
@pytest.mark.parametrize("kind", ["point", "segment", "slope", "rectangle"])
def test_that_awkward_triangles_are_seen_exactly(name, kind):
    corners = {
        "point": [(0, 0, 0)],
        "segment": [(0, 0, 0), (0, 6, 0)],
        "slope": [(0, 0, 0), (-3, 6, 5)],
        "rectangle": [(0, 0, 0), (2, 0, 0), (2, 6, 0), (0, 6, 0)],
    }[kind]
    sets = [Positions(np.array(corners, dtype=float), up=2.0)]
    near = [body(soup([AWKWARD[name]]))]
    room = rooms(near, sets, shifts=(0.0, 2.5, 40.0))
    for s, shift in enumerate((0.0, 2.5, 40.0)):
        check(room, (0, s), exact(HOLDER, near, sets, shift=shift))


# --- closed forms ---------------------------------------------------------------------------------


def test_that_a_tool_in_a_tube_has_the_width_of_the_tube_less_its_own_at_every_height():
    n, radius = 48, 30.0
    near = [body(brute_force.prism_mesh(n, radius, radius, 400, (0, 0, -150)))]
    room = rooms(near, ORIGIN, profiles=[[NUT], [Step(3, 11, 0, 20)]], shifts=np.linspace(0.0, 80.0, 17))
    inner = radius * math.cos(math.pi / n)  # of a regular polygon, to the middle of a side
    for p, r in enumerate((8.0, 11.0)):
        for s in range(17):
            check(room, (p, s), inner - r)


@pytest.mark.parametrize("shift", [4.0, 9.0, 30.0])
def test_that_a_stick_out_error_takes_the_tool_nearer_to_the_floor_by_as_much(shift):
    near = [body(brute_force.box_mesh((100, 100, 10), (-50, -50, -10)))]  # its top is at height 0
    check(rooms(near, ORIGIN, profiles=[[NUT]], shifts=[shift]), (0, 0), shift)
    check(rooms(near, ORIGIN, profiles=[[NUT]], shifts=[shift], down=0.5), (0, 0), shift - 0.5)


def test_that_a_cone_over_an_edge_has_the_distance_of_a_point_to_a_line():
    # the edge at r = 20, z = 10 of a box; the cone's side is the line r = z - 6 at shift 0 and r = z - 11 at 5
    near = [body(brute_force.box_mesh((50, 400, 30), (20, -200, -20)))]
    room = rooms(near, ORIGIN, profiles=[[Step(4, 24, 10, 30)]], shifts=[0.0, 5.0])
    check(room, (0, 0), (20 - 10 + 6) / math.sqrt(2))
    check(room, (0, 1), (20 - 10 + 11) / math.sqrt(2))


def test_that_what_hangs_over_the_tool_limits_its_lift():
    near = [body(brute_force.box_mesh((40, 40, 5), (-20, -20, 60)))]  # its lower side is at 60
    for up, spare in ((0.0, 48.0), (10.0, 38.0), (47.0, 1.0)):
        sets = [Positions(np.zeros((1, 3)), up=up)]
        check(rooms(near, sets, profiles=[[NUT]]), (0, 0), spare)
    assert rooms(near, [Positions(np.zeros((1, 3)), up=50.0)], profiles=[[NUT]]).hi[0, 0] == -math.inf


def test_that_a_lift_to_a_fixed_height_is_shorter_by_the_stick_out_but_never_than_the_retract():
    near = [body(brute_force.box_mesh((40, 40, 5), (-20, -20, 60)))]
    sets = [Positions(np.zeros((1, 3)), up=30.0)]
    shifts = np.array([0.0, 10.0, 28.0])
    room = rooms(near, sets, profiles=[[NUT]], shifts=shifts, raised=-shifts, least_up=[5.0])
    # the nut's top is 12 + shift, and it lifts by 30, 20 and then by the retract of 5
    for s, spare in enumerate((60 - 12 - 30, 60 - 22 - 20, 60 - 40 - 5)):
        check(room, (0, s), float(spare))
    # out of the range of the bins, and nearest not where it is nearest to the axis: each is settled exactly
    plates = [brute_force.box_mesh((40, 40, 5), (5, -20, 60)), brute_force.box_mesh((2, 2, 2), (-1, -1, 90))]
    near = [body(brute_force.joined(*plates))]
    settled = rooms(near, sets, profiles=[[NUT]], shifts=shifts, heights=(-9, -8), raised=-shifts, least_up=[5.0])
    for s, up in enumerate((30.0, 20.0, 5.0)):
        check(settled, (0, s), exact([NUT], near, sets, shift=shifts[s], ups=[up]))


def test_that_a_shank_reaches_up_to_the_holder_when_it_is_taller():
    near = [body(brute_force.box_mesh((5, 40, 5), (9, -20, 30)))]  # from height 30 to 35, 9 beside the axis
    room = rooms(near, ORIGIN, profiles=[[Step(4, 4, 2, 10)]], shifts=[0.0, 0.0, 0.0], taller=[0.0, 15.0, 26.0])
    for s, truth in enumerate((math.hypot(5, 20), math.hypot(5, 5), 5.0)):
        check(room, (0, s), truth)


def test_that_bodies_are_compared_by_what_remains_of_their_clearance():
    left = brute_force.box_mesh((5, 90, 90), (-25, -45, -20))  # 20 beside the axis
    right = brute_force.box_mesh((5, 90, 90), (19, -45, -20))  # 19 beside the axis
    near = [body(left, subtract=1.5), body(right, subtract=0.1)]
    made = envelope(near, ORIGIN, HEIGHTS)
    room = made.rooms([[NUT]], [0.0, 20.0])
    assert room.body.tolist() == [[0, 0]]
    check(room, (0, 0), 12.0 - 1.5)
    again = made.with_subtracts([0.5, 0.1]).rooms([[NUT]], [0.0, 20.0])
    assert again.body.tolist() == [[1, 1]]
    check(again, (0, 0), 11.0 - 0.1)


def test_that_a_body_of_many_errors_is_not_hidden_behind_a_nearer_one():
    rng = np.random.default_rng(5)
    for _ in range(15):
        sets, first = random_scene(rng, False, 4, ("point",))
        at = sets[0].points[0] + rng.uniform(-30, 30, 3)
        second = soup(rng.normal(size=(5, 3, 3)) * 12 + at)
        near = [body(first, subtract=rng.uniform(0, 5)), body(second, subtract=rng.uniform(0, 5))]
        room = rooms(near, sets, shifts=(0.0, 9.0))
        for s, shift in enumerate((0.0, 9.0)):
            check(room, (0, s), exact(HOLDER, near, sets, shift=shift))


def test_that_the_chord_error_of_a_body_lowers_what_is_proven_only():
    wall = brute_force.box_mesh((5, 90, 90), (20, -45, -20))
    room = rooms([body(wall, error=0.1)], ORIGIN, profiles=[[NUT]])
    assert room.lo[0, 0] <= 12.0 - 0.1 <= room.lo[0, 0] + TOLERANCE
    assert 12.0 <= room.hi[0, 0] + CLOSE <= 12.0 + TOLERANCE


# --- contact, inside, nothing ---------------------------------------------------------------------

BLOCK = brute_force.box_mesh((60, 60, 60), (-30, -30, -20))


def test_that_contact_is_no_number():
    room = rooms([body(BLOCK)], ORIGIN, profiles=[[Step(40, 40, 0, 5)], [NUT]], shifts=[0.0, 100.0])
    assert room.lo[0, 0] == room.hi[0, 0] == -math.inf
    check(room, (0, 1), 60.0)
    assert (room.body[:, 0] == (0, 0)).all()


def test_that_a_part_inside_a_solid_is_in_contact_and_inside_a_shell_is_not():
    assert (rooms([body(BLOCK, is_solid=True)], ORIGIN, profiles=[[NUT]], shifts=[0.0, 5.0]).hi == -math.inf).all()
    check(rooms([body(BLOCK)], ORIGIN, profiles=[[NUT]]), (0, 0), 20.0)
    thin = [Step(0.01, 0.01, 0.0, 0.005)]
    assert rooms([body(BLOCK, is_solid=True)], ORIGIN, profiles=[thin]).hi[0, 0] == -math.inf
    below = rooms([body(BLOCK, is_solid=True)], ORIGIN, profiles=[thin], shifts=[-20.01])
    check(below, (0, 0), 0.005)


@pytest.mark.parametrize("turn", [0.0, 30.0, 45.0, 90.0])
def test_that_inside_is_told_where_the_axis_goes_through_edges_and_corners(turn):
    X_WG = turned(turn, (0.0, 0.0, 0.0), axis=0)
    cube = brute_force.box_mesh((60, 60, 60), (0, 0, 0))
    for x, y, is_in in ((30, 30, True), (30, 0, None), (0, 0, None), (-1, 30, False)):
        p = X_WG.points(np.array([x, y, 30.0]))
        near = [body(cube, is_solid=True, X_WG=X_WG)]
        room = rooms(near, [Positions(p[None, :])], profiles=[[Step(0.5, 0.5, -1, 1)]])
        if is_in is None:  # on an edge of the cube: contact either way
            assert room.hi[0, 0] == -math.inf
        else:
            assert bool(room.hi[0, 0] == -math.inf) is is_in


def test_that_inside_is_told_among_very_many_sheets():
    # 50 plates, 1 thick, 2 apart: the axis goes in and out of each
    plates = brute_force.joined(*(brute_force.box_mesh((40, 40, 1), (-20, -20, 2 * k)) for k in range(50)))
    near = [body(plates, is_solid=True)]
    needle = [Step(0.1, 0.1, -0.25, 0.25)]
    room = rooms(near, ORIGIN, profiles=[needle], shifts=np.arange(0.5, 100.0, 1.0))
    assert (room.hi[0, 0::2] == -math.inf).all()  # within a plate
    for s in range(1, 99, 2):
        check(room, (0, s), 0.25)  # half way between two


def test_that_an_open_surface_is_not_taken_for_a_solid():
    vertices, faces = BLOCK
    lid_off = (vertices, faces[[i for i in range(12) if i not in (2, 3)]])  # without its top
    with pytest.raises(EngineError, match="not closed"):
        rooms([body(lid_off, is_solid=True, name="block")], ORIGIN)
    check(rooms([body(lid_off)], ORIGIN, profiles=[[NUT]]), (0, 0), 20.0)


def test_that_empty_surroundings_leave_endless_room():
    room = rooms([], ORIGIN, shifts=[0.0, 10.0])
    assert (room.lo == math.inf).all() and (room.hi == math.inf).all() and (room.body == -1).all()


# --- ranges, caps, relations ----------------------------------------------------------------------


def test_that_what_lies_outside_the_heights_is_settled_exactly():
    rng = np.random.default_rng(6)
    for _ in range(20):
        sets, mesh = random_scene(rng, False, 6)
        near = [body(mesh)]
        made = envelope(near, sets, (10.0, 12.0))
        raw = made.rooms([HOLDER], [0.0, 14.0], is_refined=False)
        fine = made.rooms([HOLDER], [0.0, 14.0])
        for s, shift in enumerate((0.0, 14.0)):
            truth = exact(HOLDER, near, sets, shift=shift)
            check(raw, (0, s), truth, width=math.inf)
            check(fine, (0, s), truth)


def test_that_a_cap_leaves_what_is_below_it_as_it_is():
    rng = np.random.default_rng(7)
    for _ in range(20):
        sets, mesh = random_scene(rng, False, 6)
        near = [body(mesh)]
        room = rooms(near, sets, shifts=(0.0, 30.0), cap=4.0)
        for s, shift in enumerate((0.0, 30.0)):
            truth = exact(HOLDER, near, sets, shift=shift)
            if truth < 4.0:
                check(room, (0, s), truth)
            else:
                assert room.lo[0, s] >= 4.0 - TOLERANCE and room.lo[0, s] <= truth + CLOSE <= room.hi[0, s] + 2 * CLOSE


def test_that_a_posed_body_is_seen_as_its_triangles_are():
    rng = np.random.default_rng(8)
    for axis, degrees in ((0, 60.0), (1, 90.0), (2, 33.0)):
        vertices, faces = soup(rng.normal(size=(12, 3, 3)) * 15)
        X_WG = turned(degrees, (20.0, -9.0, 14.0), axis)
        posed = rooms([body((vertices, faces), X_WG=X_WG)], ORIGIN, shifts=(0.0, 11.0))
        placed = [body((X_WG.points(vertices), faces))]
        for s, shift in enumerate((0.0, 11.0)):
            check(posed, (0, s), exact(HOLDER, placed, ORIGIN, shift=shift))


def test_that_the_room_changes_by_no_more_than_the_stick_out_does():
    rng = np.random.default_rng(9)
    sets, mesh = random_scene(rng, False, 30, ("rectangle",))
    shifts = np.linspace(0.0, 120.0, 241)
    room = rooms([body(mesh)], sets, shifts=shifts)
    lo, hi = room.lo[0], room.hi[0]
    is_clear = np.isfinite(lo) & np.isfinite(hi)
    both = is_clear[1:] & is_clear[:-1]
    assert both.sum() > 20
    assert (lo[1:][both] <= hi[:-1][both] + 0.5 + CLOSE).all()
    assert (lo[:-1][both] <= hi[1:][both] + 0.5 + CLOSE).all()


def test_that_the_frustum_and_the_triangle_that_are_told_are_the_nearest():
    rng = np.random.default_rng(10)
    for _ in range(10):
        sets, mesh = random_scene(rng, False, 8)
        made = envelope([body(mesh)], sets, HEIGHTS)
        room = made.rooms([HOLDER], [0.0, 25.0])
        for s, shift in enumerate((0.0, 25.0)):
            if room.hi[0, s] == -math.inf:
                continue
            near = made.nearest(HOLDER, shift, room, (0, s))
            assert room.lo[0, s] - CLOSE <= near.distance <= room.hi[0, s] + CLOSE
            corners = mesh[0][mesh[1][near.face]]
            foot = brute_force.nearest_on_triangles(np.array([near.p]), *(c[None] for c in corners))[0]
            assert np.linalg.norm(foot - near.p) < CLOSE
            own = exact([HOLDER[room.frustum[0, s]]], [body(mesh)], sets, shift=shift)
            assert own <= room.hi[0, s] + CLOSE


def test_that_a_finer_tolerance_is_kept():
    rng = np.random.default_rng(11)
    for tolerance in (0.1, 0.004):
        sets, mesh = random_scene(rng, False, 8, ("rectangle",))
        near = [body(mesh)]
        made = envelope(near, sets, HEIGHTS, tolerance=tolerance)
        room = made.rooms([HOLDER], [0.0, 21.0, 44.0])
        for s, shift in enumerate((0.0, 21.0, 44.0)):
            check(room, (0, s), exact(HOLDER, near, sets, shift=shift), width=tolerance)
