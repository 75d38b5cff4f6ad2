"""Tilt-rotate tables against tables of outside values, scipy's rotations and pytransform3d's transforms.

The tables were computed outside this project (matrices, 4 x 4 chains and axis-angle products agree);
the two solutions and the singular case of A-C and B-C tables: K. Sorby, "Inverse kinematics of
five-axis machines near singular configurations" (2007). The naming of axes and the two signs:
ISO 841 (from memory): a control counts the tool's motion, so a table turns the other way.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from pytransform3d.rotations import matrix_from_axis_angle
from pytransform3d.transformations import concat, transform, transform_from
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from kinematics.errors import UnreachableError
from kinematics.machine import (
    Control,
    Machine,
    TableAxis,
    TableSolution,
    control_angles,
    nearest_solution,
    platter_pose,
    rotary_centre_error,
    solutions,
    tool_axis_in_platter,
)
from kinematics.pose import Vector, angle_difference_deg
from tests.hand_built import a_c, b_c, machine_of, table_axis

Pair = tuple[float, float]

# tool axis (not normalised), the two solutions (tilt, rotary) on an A-C table, then on a B-C table;
# positive is the right-hand turn of the table
INVERSE: dict[str, tuple[Vector, tuple[Pair, Pair], tuple[Pair, Pair]]] = {
    "I2": ((0.6, 0, 0.8), ((36.869898, 90), (-36.869898, -90)), ((-36.869898, 0), (36.869898, 180))),
    "I3": ((0, 0.5, math.sqrt(3) / 2), ((30, 0), (-30, 180)), ((-30, -90), (30, 90))),
    "I4": ((1, 1, 1), ((54.735610, 45), (-54.735610, -135)), ((-54.735610, -45), (54.735610, 135))),
    "I5": (
        (1, 2, 2),
        ((48.189685, 26.565051), (-48.189685, -153.434949)),
        ((-48.189685, -63.434949), (48.189685, 116.565051)),
    ),
    "I6": (
        (2, 3, 6),
        ((31.002719, 33.690068), (-31.002719, -146.309932)),
        ((-31.002719, -56.309932), (31.002719, 123.690068)),
    ),
    "I7": (
        (1, 4, 8),
        ((27.266044, 14.036243), (-27.266044, -165.963757)),
        ((-27.266044, -75.963757), (27.266044, 104.036243)),
    ),
    "I8": ((1, 0, 0), ((90, 90), (-90, -90)), ((-90, 0), (90, 180))),
    "I9": ((0, -1, 0), ((90, 180), (-90, 0)), ((-90, 90), (90, -90))),
    "I10": ((0.6, 0, -0.8), ((143.130102, 90), (-143.130102, -90)), ((-143.130102, 0), (143.130102, 180))),
}


def check_solutions(machine: Machine, direction: Vector, expected: tuple[Pair, Pair], sign: float = 1.0) -> None:
    """Exactly the two expected pairs of angles, in any order."""
    found = [tuple(angle for _, angle in s.angles_deg) for s in solutions(machine, direction)]
    assert len(found) == 2
    for tilt, rotary in expected:
        assert any(
            abs(angle_difference_deg(t, sign * tilt)) < 1e-6 and abs(angle_difference_deg(r, sign * rotary)) < 1e-6
            for t, r in found
        ), (found, expected)
    assert all(s.free == () for s in solutions(machine, direction))


@pytest.mark.parametrize("case", INVERSE)
def test_that_both_solutions_are_those_of_the_table(case: str) -> None:
    direction, on_a_c, on_b_c = INVERSE[case]
    check_solutions(a_c(), direction, on_a_c)
    check_solutions(b_c(), direction, on_b_c)


@pytest.mark.parametrize("case", INVERSE)
def test_that_axes_drawn_the_other_way_negate_both_angles(case: str) -> None:
    direction, on_a_c, on_b_c = INVERSE[case]
    check_solutions(a_c(sign=-1), direction, on_a_c, sign=-1.0)
    check_solutions(b_c(sign=-1), direction, on_b_c, sign=-1.0)


@pytest.mark.parametrize("case", INVERSE)
def test_that_a_control_that_counts_the_tools_motion_negates_both_angles(case: str) -> None:
    direction, on_a_c, _ = INVERSE[case]
    a, c = a_c().table_axes
    machine = machine_of(a, c, control=Control((0, 0, 0), (("A", -1), ("C", -1)), "once"))
    counted = [control_angles(machine, dict(s.angles_deg)) for s in solutions(machine, direction)]
    for tilt, rotary in on_a_c:
        assert any(
            abs(angle_difference_deg(n["A"], -tilt)) < 1e-6 and abs(angle_difference_deg(n["C"], -rotary)) < 1e-6
            for n in counted
        )


@pytest.mark.parametrize("machine", [a_c(), b_c(), a_c(sign=-1)])
def test_that_straight_up_leaves_the_rotary_free(machine: Machine) -> None:  # I1
    (solution,) = solutions(machine, (0, 0, 1))
    assert solution.free == ("C",)
    assert [angle for _, angle in solution.angles_deg] == [0.0, 0.0]


def test_that_limits_leave_one_solution_of_i2_and_none_of_i10() -> None:
    machine = a_c(limits=(-110, 20))
    first, second = solutions(machine, INVERSE["I2"][0])
    assert (first.outside, second.outside) == ((), ("A",))
    assert first.angle("A") == pytest.approx(-36.869898, abs=1e-6)
    assert first.angle("C") == pytest.approx(-90, abs=1e-6)
    assert nearest_solution(machine, INVERSE["I2"][0]) == first
    assert all(s.outside == ("A",) for s in solutions(machine, INVERSE["I10"][0]))
    with pytest.raises(UnreachableError, match=r"\[0.6, 0, -0.8\]"):
        nearest_solution(machine, INVERSE["I10"][0])


@pytest.mark.parametrize("tilt", range(-180, 180, 15))
@pytest.mark.parametrize("rotary", range(-180, 180, 45))
def test_that_the_tool_axis_in_the_part_has_its_closed_form(tilt: int, rotary: int) -> None:
    """(sin A sin C, sin A cos C, cos A), and (-sin B cos C, sin B sin C, cos B), for the table's own sense."""
    (sa, ca), (sc, cc) = (((math.sin(math.radians(v))), math.cos(math.radians(v))) for v in (tilt, rotary))
    on_a_c = tool_axis_in_platter(a_c(), {"A": tilt, "C": rotary})
    on_b_c = tool_axis_in_platter(b_c(), {"B": tilt, "C": rotary})
    assert on_a_c == pytest.approx((sa * sc, sa * cc, ca), abs=1e-12)
    assert on_b_c == pytest.approx((-sa * cc, sa * sc, ca), abs=1e-12)
    # counted as ISO 841 thinks the tool to move, both change sign
    iso = tool_axis_in_platter(a_c(sign=-1), {"A": tilt, "C": rotary})
    assert iso == pytest.approx((sa * sc, -sa * cc, ca), abs=1e-12)


# --- where the work offset goes ----------------------------------------------------------------------

# part zero at A = C = 0, tilt, rotary, a point on each axis, part zero after the turns
FORWARD: dict[str, tuple[str, Vector, float, float, Vector, Vector, Vector]] = {
    "K1": ("A", (0, 0, 100), 90, 0, (0, 0, 0), (0, 0, 0), (0, -100, 0)),
    "K2": ("A", (0, 0, 100), -90, 0, (0, 0, 0), (0, 0, 0), (0, 100, 0)),
    "K3": ("A", (30, 40, 0), 0, 90, (0, 0, 0), (0, 0, 0), (-40, 30, 0)),
    "K4": ("A", (30, 40, 120), -30, 45, (0, 0, -50), (0, 0, 0), (-7.071068, 127.866070, 72.475581)),
    "K5": ("A", (10, -20, 150), -90, -90, (0, 0.05, -60), (0.02, -0.03, 0), (-19.95, 210.05, -49.94)),
    "K6": ("A", (50, 25, 80), -53.130102, 90, (0, 0, -40), (0, 0, 0), (-25, 126, -8)),
    "K7": (
        "A",
        (-35, 12.5, 95),
        -35,
        120,
        (250, 180, -400),
        (250.012, 179.985, -350),
        (537.564265, 330.316529, 99.030655),
    ),
    "K8": ("A", (12, -7, 33), -110, -210, (0, 3, -20), (1, 0, 0), (-5.026279, 49.875272, -46.172883)),
    "K9": ("B", (30, 40, 120), 30, 45, (0, 0, -50), (0, 0, 0), (78.876276, 49.497475, 100.759853)),
    "K10": ("B", (10, -20, 150), -90, 180, (0.1, 0, -60), (0, 0.05, 0), (-209.9, 20.1, -70.1)),
}


def part_zero(letter: str, p: Vector, tilt: float, rotary: float, p_tilt: Vector, p_C: Vector) -> np.ndarray:
    """Where a point that stands at p (in W) with the table at 0 is carried."""
    machine = a_c(p_A=p_tilt, p_C=p_C) if letter == "A" else b_c(p_B=p_tilt, p_C=p_C)
    return platter_pose(machine, {letter: tilt, "C": rotary}).points(np.subtract(p, p_C))


@pytest.mark.parametrize("case", FORWARD)
def test_that_part_zero_is_carried_to_where_the_table_says(case: str) -> None:
    letter, p, tilt, rotary, p_tilt, p_C, expected = FORWARD[case]
    assert part_zero(letter, p, tilt, rotary, p_tilt, p_C) == pytest.approx(expected, abs=2e-6)


@pytest.mark.parametrize("case", FORWARD)
def test_that_a_chain_of_transforms_carries_part_zero_to_the_same_place(case: str) -> None:
    letter, p, tilt, rotary, p_tilt, p_C, _ = FORWARD[case]
    k_tilt = (1, 0, 0) if letter == "A" else (0, 1, 0)

    def about(point: Vector, axis: Vector, angle: float) -> np.ndarray:
        turn = transform_from(matrix_from_axis_angle((*axis, math.radians(angle))), np.zeros(3))
        return concat(concat(transform_from(np.eye(3), -np.array(point)), turn), transform_from(np.eye(3), point))

    chain = concat(about(p_C, (0, 0, 1), rotary), about(p_tilt, k_tilt, tilt))
    carried = transform(chain, np.array([*p, 1.0]))[:3]
    assert part_zero(letter, p, tilt, rotary, p_tilt, p_C) == pytest.approx(carried, abs=1e-9)


@pytest.mark.parametrize("case", FORWARD)
def test_that_only_the_axis_counts_and_not_the_point_on_it(case: str) -> None:
    letter, p, tilt, rotary, p_tilt, p_C, _ = FORWARD[case]
    here = part_zero(letter, p, tilt, rotary, p_tilt, p_C)
    slid = (p_tilt[0] + 37.5, p_tilt[1], p_tilt[2]) if letter == "A" else (p_tilt[0], p_tilt[1] + 37.5, p_tilt[2])
    assert part_zero(letter, p, tilt, rotary, slid, p_C) == pytest.approx(here, abs=1e-9)
    assert part_zero(letter, p, tilt, rotary, p_tilt, (p_C[0], p_C[1], p_C[2] - 81)) == pytest.approx(here, abs=1e-9)


@pytest.mark.parametrize("case", FORWARD)
def test_that_a_full_turn_changes_nothing(case: str) -> None:
    letter, p, tilt, rotary, p_tilt, p_C, _ = FORWARD[case]
    here = part_zero(letter, p, tilt, rotary, p_tilt, p_C)
    for turn in (360, -360):
        assert part_zero(letter, p, tilt, rotary + turn, p_tilt, p_C) == pytest.approx(here, abs=1e-9)
    quarter = part_zero(letter, p, 90, 180, p_tilt, p_C)
    assert part_zero(letter, p, 450, -180, p_tilt, p_C).tolist() == quarter.tolist()


@pytest.mark.parametrize("seed", range(30))
def test_that_the_part_is_carried_rigidly_and_as_scipy_turns_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    machine = random_machine(rng)
    first, second = machine.table_axes
    angles = rng.uniform(-180, 180, 2)
    points = rng.uniform(-100, 100, (20, 3))
    carried = platter_pose(machine, {"A": angles[0], "C": angles[1]}).points(points)
    np.testing.assert_allclose(
        np.linalg.norm(carried[1:] - carried[:-1], axis=1), np.linalg.norm(points[1:] - points[:-1], axis=1), atol=1e-10
    )
    outer = Rotation.from_rotvec(angles[0] * np.array(first.axis), degrees=True)
    inner = Rotation.from_rotvec(angles[1] * np.array(second.axis), degrees=True)
    expected = outer.apply(inner.apply(points) + second.origin) + first.origin
    np.testing.assert_allclose(carried, expected, atol=1e-10)


# --- an error of the rotary centre -------------------------------------------------------------------

ANGLES = (5, 10, 30, 45, 60, 90, 120, 180)
CENTRE_ERROR = {  # micrometres of error at the point, by micrometres of error of the centre
    10: (0.872, 1.743, 5.176, 7.654, 10, 14.142, 17.321, 20),
    20: (1.745, 3.486, 10.353, 15.307, 20, 28.284, 34.641, 40),
    50: (4.362, 8.716, 25.882, 38.268, 50, 70.711, 86.603, 100),
}


@pytest.mark.parametrize("size", CENTRE_ERROR)
@pytest.mark.parametrize("direction", [0, 37, 90, 200])
def test_that_an_error_of_the_centre_has_the_size_of_its_chord(size: int, direction: int) -> None:
    e = (size * math.cos(math.radians(direction)), size * math.sin(math.radians(direction)), 0.0)
    for angle, expected in zip(ANGLES, CENTRE_ERROR[size], strict=True):
        for turn in (angle, -angle):
            R = platter_pose(a_c(), {"C": turn}).R_AB
            assert math.hypot(*rotary_centre_error(R, e)) == pytest.approx(expected, abs=6e-4)


@pytest.mark.parametrize(
    ("e", "tilt", "expected"),
    [
        ((0, 0.02, 0), 90, (0, 0.02, -0.02)),
        ((0, 0.02, 0.01), -30, (0, -0.002321, 0.011340)),
        ((0, 0, 0.05), 60, (0, 0.043301, 0.025)),
    ],
)
def test_that_an_error_of_the_tilt_axis_points_where_it_must(e: Vector, tilt: float, expected: Vector) -> None:
    R = platter_pose(a_c(), {"A": tilt}).R_AB
    assert rotary_centre_error(R, e) == pytest.approx(expected, abs=1e-6)
    # the same by moving the axis: what is believed less what is
    p = (12.0, -7.0, 33.0)
    believed, true = part_zero("A", p, tilt, 0, e, (0, 0, 0)), part_zero("A", p, tilt, 0, (0, 0, 0), (0, 0, 0))
    assert believed - true == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("e", "tilt", "rotary", "expected"),
    [
        ((0.012, -0.015, 0), -45, 90, (-0.003, -0.019092, 0.019092)),
        ((0.012, -0.015, 0), -90, 180, (0.024, 0, 0.030)),
    ],
)
def test_that_an_error_of_the_rotary_axis_is_tilted_with_it(
    e: Vector, tilt: float, rotary: float, expected: Vector
) -> None:
    p = (12.0, -7.0, 33.0)
    believed, true = (part_zero("A", p, tilt, rotary, (0, 0, 0), centre) for centre in (e, (0, 0, 0)))
    assert believed - true == pytest.approx(expected, abs=1e-6)
    own = rotary_centre_error(platter_pose(a_c(), {"C": rotary}).R_AB, e)
    assert platter_pose(a_c(), {"A": tilt}).direction(own) == pytest.approx(expected, abs=1e-6)


def test_that_a_ball_on_the_table_shows_a_wrong_centre_as_a_first_harmonic() -> None:
    """A circle with the tool following a ball on the turning table, in the way of ISO 10791-6 (from memory)."""
    r, e = 80.0, np.array([0.03, -0.04, 0.0])
    turns = np.arange(0, 360, 5)
    ball = np.array([platter_pose(a_c(p_C=tuple(e)), {"C": c}).points(np.array([r, 0, 0]) - e) for c in turns])
    tool = np.array([platter_pose(a_c(), {"C": c}).points((r, 0, 0)) for c in turns])
    radial = ((ball - tool) * tool / r).sum(axis=1)
    # (I - R) e along the radius: the turning part -R e is constant there, e itself is the harmonic
    phase = np.degrees(np.arctan2(e[1], e[0]))
    expected = 0.05 * np.cos(np.radians(turns - phase)) - e[0]
    np.testing.assert_allclose(radial, expected, atol=1e-9)


# --- a frustum cut by its side -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("half_angle", "lean", "tilt_range", "rotary_travel"),
    [
        (15, 10, (5, 25), 360),
        (45, 30, (15, 75), 360),
        (15, 15, (0, 30), 180),
        (10, 15, (5, 25), 2 * math.degrees(math.asin(math.sin(math.radians(10)) / math.sin(math.radians(15))))),
        (15, 75, (60, 90), 31.085),
    ],
)
def test_that_a_leaning_frustum_needs_the_travel_of_its_closed_form(
    half_angle: float, lean: float, tilt_range: Pair, rotary_travel: float
) -> None:
    """The five-axis test frustum (NAS 979, ISO 10791-7, from memory): the tool axis runs round a cone."""
    steps = 1440
    phi = np.radians(np.arange(steps) * 360 / steps)
    a = math.radians(half_angle)
    around = np.stack([math.sin(a) * np.sin(phi), math.sin(a) * np.cos(phi), np.full(steps, math.cos(a))], axis=1)
    axes = Rotation.from_euler("x", lean, degrees=True).apply(around)
    tilts, rotaries = [], []
    for v in axes:
        pair = [s for s in solutions(a_c(), v) if s.angle("A") >= -1e-9]
        if pair[0].free:
            tilts.append(pair[0].angle("A"))
            continue
        (solution,) = pair
        tilts.append(solution.angle("A"))
        rotaries.append(solution.angle("C"))
    assert (min(tilts), max(tilts)) == pytest.approx(tilt_range, abs=1e-6)
    unwound = np.degrees(np.unwrap(np.radians([*rotaries, rotaries[0]])))
    travel = unwound.max() - unwound.min()
    assert travel == pytest.approx(rotary_travel, abs=360 / steps if half_angle == lean else 1e-3)


# --- any two axes ------------------------------------------------------------------------------------


def random_machine(rng: np.random.Generator) -> Machine:
    axes = [
        TableAxis(letter, letter, letter.lower(), tuple(rng.uniform(-50, 50, 3)), tuple(rng.normal(size=3)), None)
        for letter in "AC"
    ]
    return machine_of(*axes)


def turned(machine: Machine, solution: TableSolution, v: np.ndarray) -> np.ndarray:
    """The direction after both turns, by scipy and not by the product."""
    for axis in reversed(machine.table_axes):
        v = Rotation.from_rotvec(solution.angle(axis.name) * np.array(axis.axis), degrees=True).apply(v)
    return v


def brute_force(machine: Machine, v: np.ndarray, step_deg: float = 4.0) -> list[np.ndarray]:
    """All pairs of angles that turn v to +Z: the low places of a grid, refined."""
    a1, a2 = (np.array(axis.axis) for axis in machine.table_axes)

    def off(angles: np.ndarray) -> np.ndarray:
        outer = Rotation.from_rotvec(angles[..., :1] * a1, degrees=True)
        inner = Rotation.from_rotvec(angles[..., 1:] * a2, degrees=True)
        return outer.apply(inner.apply(v)) - (0, 0, 1)

    side = np.arange(-180, 180, step_deg)
    grid = np.stack(np.meshgrid(side, side, indexing="ij"), axis=-1)
    size = np.linalg.norm(off(grid.reshape(-1, 2)), axis=1).reshape(len(side), len(side))
    low = np.ones_like(size, dtype=bool)
    for di in (-1, 0, 1):
        for dj in (-1, 0, 1):
            low &= size <= np.roll(size, (di, dj), axis=(0, 1))
    roots: list[np.ndarray] = []
    for start in grid[low & (size < 0.3)]:
        fit = least_squares(lambda x: off(x[None])[0], start, xtol=1e-15, ftol=1e-15, gtol=1e-15)
        is_new = all(np.abs((fit.x - root + 180) % 360 - 180).max() > 1e-3 for root in roots)
        if np.linalg.norm(fit.fun) < 1e-9 and is_new:
            roots.append(fit.x)
    return roots


@pytest.mark.parametrize("seed", range(40))
def test_that_no_solution_of_an_inclined_table_is_missed_and_none_is_wrong(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    machine = random_machine(rng)
    if seed % 2:  # a direction that can be reached
        angles = {"A": rng.uniform(-180, 180), "C": rng.uniform(-180, 180)}
        v = np.array(tool_axis_in_platter(machine, angles))
    else:
        v = rng.normal(size=3)
        v /= np.linalg.norm(v)
    found = solutions(machine, v)
    for solution in found:
        np.testing.assert_allclose(turned(machine, solution, v), (0, 0, 1), atol=1e-9)
    expected = brute_force(machine, v)
    assert len(found) == len(expected)
    for root in expected:
        assert any(
            max(abs(angle_difference_deg(s.angle("A"), root[0])), abs(angle_difference_deg(s.angle("C"), root[1])))
            < 1e-4
            for s in found
        )


@pytest.mark.parametrize("inclined", [45, 30, 60])
@pytest.mark.parametrize("seed", range(10))
def test_that_a_table_inclined_by_45_reaches_half_the_sphere_and_less_or_more_by_its_angle(
    inclined: int, seed: int
) -> None:
    """A rotary on an axis that leans by i from the spindle reaches tool axes up to 2 i off its own."""
    lean = math.radians(inclined)
    machine = machine_of(table_axis("B", (0, math.sin(lean), math.cos(lean))), table_axis("C", (0, 0, 1)))
    rng = np.random.default_rng(seed)
    polar, azimuth = math.radians(rng.uniform(1, 179)), rng.uniform(0, 2 * math.pi)
    v = np.array([math.sin(polar) * math.cos(azimuth), math.sin(polar) * math.sin(azimuth), math.cos(polar)])
    found = solutions(machine, v)
    assert len(found) == (2 if polar < 2 * lean else 0)
    for solution in found:
        np.testing.assert_allclose(turned(machine, solution, v), (0, 0, 1), atol=1e-9)


def near_cases() -> list[tuple[Machine, np.ndarray]]:
    """Directions close to where the two solutions meet: at the singular point and at the rim of the reach."""
    cases = []
    single = (machine_of(table_axis("C", (0, 0, 1))), machine_of(table_axis("A", (1, 0, 0))), machine_of())
    offs = [0.0, *(10.0**-k for k in range(1, 17))]
    lean = math.radians(45)
    leaning = machine_of(table_axis("B", (0, math.sin(lean), math.cos(lean))), table_axis("C", (0, 0, 1)))
    for off in offs:
        for azimuth in (0.0, 0.5, math.pi / 2, 2.0, math.pi):
            along = np.array([math.cos(azimuth), math.sin(azimuth), 0.0])
            for machine in (a_c(), b_c(), leaning, *single):
                for up in (1.0, -1.0):
                    cases.append((machine, math.sin(off) * along + np.array([0, 0, up * math.cos(off)])))
            cases.append((leaning, math.cos(off) * along + np.array([0, 0, math.sin(off)])))  # the rim is at 90
            cases.append((machine_of(table_axis("C", (0, 0, 1)), table_axis("A", (1, 0, 0))), along))
    return cases


def test_that_close_to_a_singular_point_every_solution_still_turns_the_direction_to_the_spindle() -> None:
    for machine, v in near_cases():
        for solution in solutions(machine, v):
            np.testing.assert_allclose(turned(machine, solution, v), (0, 0, 1), atol=3e-9)


@pytest.mark.parametrize("off_deg", [1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6])
def test_that_a_tool_axis_just_off_the_rotary_has_two_solutions(off_deg: float) -> None:
    off = math.radians(off_deg)
    (one, other) = solutions(a_c(), (math.sin(off), 0, math.cos(off)))
    assert one.angle("A") == pytest.approx(-other.angle("A"), rel=1e-6)
    assert abs(one.angle("A")) == pytest.approx(off_deg, rel=1e-6)
    assert {round(abs(one.angle("C")), 4), round(abs(other.angle("C")), 4)} == {90.0}
