"""Swept room against closed forms: what a block sweeps about an axis, by its volume and by single places."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from app.scenes.reader import read_scene
from app.view3d.display_meshes import shape_mesh
from app.view3d.drawn import Shell
from app.view3d.scene_meshes import nearest_in_hull
from app.view3d.swept_room import swept_shell
from kinematics.machine import Machine
from kinematics.pose import shift
from kinematics.shapes import Box
from tests.app.cli.checked_samples import sample_file

BAR = shape_mesh(Box(60.0, 10.0, 20.0))  # centred on its base


@pytest.fixture(scope="module")
def machine() -> Machine:
    """Two axes through the origin: the first turns about X and carries the second, which turns about Z."""
    made = read_scene(sample_file("sampler_block_b")).scene.machine
    first, second = made.table_axes
    tilt = replace(first, origin=(0.0, 0.0, 0.0), axis=(1.0, 0.0, 0.0), limits=None)
    rotary = replace(second, origin=(0.0, 0.0, 0.0), axis=(0.0, 0.0, 1.0), limits=None)
    return replace(made, table_axes=(tilt, rotary))


def shell_of(machine: Machine, *box: tuple[float, float]) -> Shell:
    found = swept_shell(machine, [(BAR, shift("R", "G", (0.0, 0.0, 0.0)), 2)], [box])
    assert found is not None
    return found


def volume(shell: Shell) -> float:
    return float(shell.taken.astype(np.float64).sum() / 255.0 * shell.step**3)


def is_taken(shell: Shell, p: tuple[float, float, float]) -> bool:
    at = np.round((np.array(p) - shell.origin) / shell.step).astype(int)
    return bool((at >= 0).all() and (at < shell.taken.shape).all() and shell.taken[tuple(at)] > 127)


def skin(area: float, shell: Shell) -> float:
    """How much a grid may add to a volume: a cell over its whole surface."""
    return area * shell.step


def test_that_what_does_not_turn_takes_its_own_room(machine: Machine) -> None:
    shell = shell_of(machine, (0.0, 0.0), (0.0, 0.0))
    assert volume(shell) == pytest.approx(60 * 10 * 20, abs=skin(2 * (600 + 1200 + 200), shell))


def test_that_a_bar_that_turns_all_round_sweeps_a_disc(machine: Machine) -> None:
    shell = shell_of(machine, (0.0, 0.0), (0.0, 360.0))
    radius = math.hypot(30.0, 5.0)
    disc = math.pi * radius**2 * 20.0
    assert volume(shell) == pytest.approx(disc, abs=skin(2 * math.pi * radius * (radius + 20.0), shell))


def test_that_a_quarter_turn_sweeps_one_side_and_not_the_other(machine: Machine) -> None:
    shell = shell_of(machine, (0.0, 0.0), (0.0, 90.0))
    for angle in (0.0, 20.0, 45.0, 70.0, 90.0):
        a = math.radians(angle)
        assert is_taken(shell, (28.0 * math.cos(a), 28.0 * math.sin(a), 10.0))
    assert not is_taken(shell, (20.0, -20.0, 10.0))
    assert not is_taken(shell, (-20.0, 20.0, 10.0))


def test_that_the_first_axis_turns_what_the_second_swept(machine: Machine) -> None:
    """The disc over z 0 to 20, tilted by a quarter turn about X: it stands on edge, and has swept what is between."""
    shell = shell_of(machine, (0.0, 90.0), (0.0, 360.0))
    assert is_taken(shell, (0.0, -10.0, 28.0))  # where the disc's point (0, 28, 10) came to
    assert is_taken(shell, (0.0, 28.0, 10.0))
    assert not is_taken(shell, (0.0, 15.0, -15.0))


def test_that_each_way_round_is_swept(machine: Machine) -> None:
    turning = [(BAR, shift("R", "G", (20.0, 0.0, 0.0)), 2)]
    both = swept_shell(machine, turning, [((0.0, 0.0), (0.0, 60.0)), ((0.0, 0.0), (-60.0, 0.0))])
    assert both is not None
    assert is_taken(both, (45.0 * math.cos(1.0), 45.0 * math.sin(1.0), 10.0))
    assert is_taken(both, (45.0 * math.cos(1.0), -45.0 * math.sin(1.0), 10.0))


def test_that_an_axis_that_lies_elsewhere_sweeps_the_same_room_there(machine: Machine) -> None:
    first, second = machine.table_axes
    tilt, rotary = replace(first, origin=(5.0, -40.0, 90.0)), replace(second, origin=(0.0, 7.0, 30.0))
    moved = replace(machine, table_axes=(tilt, rotary))
    for box in (((0.0, 0.0), (0.0, 200.0)), ((0.0, 120.0), (0.0, 0.0))):
        here, there = shell_of(machine, *box), shell_of(moved, *box)
        if box[0] == (0.0, 0.0):
            assert there.origin == pytest.approx(np.add(here.origin, (5.0, -33.0, 120.0)), abs=2.0 * here.step)
        assert is_taken(there, (33.0, -33.0, 130.0))  # the bar's end where both axes stand at 0: (28, 0, 10)
        assert not is_taken(there, (28.0, 0.0, 10.0))


def test_that_nothing_that_turns_sweeps_nothing(machine: Machine) -> None:
    assert swept_shell(machine, [], [((0.0, 90.0), (0.0, 0.0))]) is None


@pytest.mark.parametrize(
    ("p", "expected"),
    [((5.0, 5.0), (5.0, 5.0)), ((20.0, 5.0), (10.0, 5.0)), ((-3.0, -4.0), (0.0, 0.0)), ((4.0, 30.0), (4.0, 10.0))],
)
def test_that_the_tool_waits_where_it_is_nearest(p: tuple[float, float], expected: tuple[float, float]) -> None:
    square = np.array([(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)])
    assert nearest_in_hull(square, p) == pytest.approx(expected)
    assert nearest_in_hull(square[:1], p) == (0.0, 0.0)
    assert nearest_in_hull(square[:2], p) == pytest.approx((min(max(p[0], 0.0), 10.0), 0.0))
