"""The demo set-up told in other words: turned, shifted, mirrored, on other machines. Same gaps, same verdicts.

Every variant is built from the demo's values by rigid motions, or from machines whose axes bring the part to the same
poses under the tool. Circles are polygons that turn with their bodies, so gaps may differ by two sagittas.
"""

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from app.scenes.reader import read_scene
from kinematics.clearance import check_cuts
from kinematics.machine import TableAxis, nearest_solution, tool_axis_in_platter
from kinematics.scene import Hole, Placement, Pocket, Profile

DEMO = Path(__file__).parents[2] / "sample_scenes" / "sampler_block_b" / "sampler_block_b.scene.yaml"
SAME = 0.006  # mm
ROOM = (-5000.0, 5000.0)


@cache
def demo():
    """The demo with so much travel that no variant runs out of it."""
    scene = read_scene(DEMO).scene
    axes = tuple(replace(axis, limits=ROOM) for axis in scene.machine.linear_axes)
    return replace(scene, machine=replace(scene.machine, linear_axes=axes))


@cache
def told(name):
    """What each cut of a scene says: verdict, clearance, spare, and the pairs that tie with the worst."""
    scene = {"demo": demo, "on the platter": on_the_platter}[name]()
    return answers(scene)


def answers(scene):
    return [
        (
            f"{report.orientation}/{report.cut}",
            report.verdict,
            report.worst.clearance,
            report.worst.spare,
            {report.worst.between, *report.ties},
            report,
        )
        for report in check_cuts(scene)
    ]


def check_same(scene, expected):
    found = answers(scene)
    assert len(found) == len(expected) == 9
    for (name, verdict, clearance, spare, pairs, _), (_, verdict0, clearance0, spare0, pairs0, _) in zip(
        found, expected, strict=True
    ):
        assert verdict == verdict0, name
        assert clearance.value == pytest.approx(clearance0.value, abs=SAME), name
        assert clearance.at_least == pytest.approx(clearance0.at_least, abs=SAME), name
        assert spare == pytest.approx(spare0, abs=SAME), name
        assert pairs == pairs0, name
    return found


# ---- turned and shifted -----------------------------------------------------------------------------------


def about_z(degrees):
    quarter, rest = divmod(degrees, 90)
    c, s = (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))
    if rest == 0:
        c, s = [(1, 0), (0, 1), (-1, 0), (0, -1)][int(quarter) % 4]
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def vector(v):
    return tuple(float(x) for x in v)


def turned_placement(placement, degrees, shift):
    """The same place in a frame whose content is turned about Z and shifted."""
    R = about_z(degrees)
    x, y, z = placement.axis
    upside_down = x == y == 0.0 and z < 0.0  # there the own turn counts the other way round
    return replace(
        placement,
        at=vector(R @ placement.at + shift),
        axis=vector(R @ placement.axis),
        turn_deg=placement.turn_deg + (-degrees if upside_down else degrees),
    )


def turned(scene, degrees, shift=(0.0, 0.0, 0.0)):
    """Everything turned about W's Z and shifted: what stands on the bed and the table, the axes, the operator."""
    R, shift = about_z(degrees), np.asarray(shift)
    machine = scene.machine
    frames = machine.frames

    def moved(placement):
        if placement.rides_on not in frames:
            return placement
        stays = placement.rides_on not in ("bed", "table")
        return turned_placement(placement, degrees, np.zeros(3) if stays else shift)

    def moved_body(body):
        return replace(body, placement=moved(body.placement))

    first, *others = machine.table_axes
    axes = (
        replace(first, origin=vector(R @ first.origin + shift), axis=vector(R @ first.axis)),
        *(replace(a, origin=vector(R @ a.origin), axis=vector(R @ a.axis)) for a in others),
    )
    machine = replace(
        machine,
        table_axes=axes,
        operator=vector(R @ machine.operator),
        bodies=tuple(moved_body(b) for b in machine.bodies),
    )
    workpieces = tuple(replace(w, zero=moved(w.zero)) for w in scene.workpieces)
    return replace(scene, machine=machine, bodies=tuple(moved_body(b) for b in scene.bodies), workpieces=workpieces)


@pytest.mark.parametrize(
    ("degrees", "shift"),
    [
        (90, (0.0, 0.0, 0.0)),
        (180, (0.0, 0.0, 0.0)),
        (37, (0.0, 0.0, 0.0)),
        (0, (123.4, -567.8, 91.0)),
        (-101, (800.0, 400.0, 300.0)),
    ],
)
def test_that_the_set_up_turned_and_shifted_as_a_whole_says_the_same(degrees, shift):
    found = check_same(turned(demo(), degrees, shift), told("demo"))
    for (*_, report), (*_, original) in zip(found, told("demo"), strict=True):
        assert report.side == original.side
        assert report.clock == original.clock
        assert report.part_side == original.part_side
        if original.side != "below":  # a flat nut over a flat top is as near everywhere: any place may be shown
            assert report.is_hidden_from_operator == original.is_hidden_from_operator
        assert report.above_platter == pytest.approx(original.above_platter, abs=0.05)


def test_that_far_from_the_origin_the_set_up_says_the_same():
    far = turned(demo(), 0, (1e4, -1e4, 1e4))
    room = tuple(replace(axis, limits=(-2e4, 3e4)) for axis in far.machine.linear_axes)
    check_same(replace(far, machine=replace(far.machine, linear_axes=room)), told("demo"))


# ---- mirrored ---------------------------------------------------------------------------------------------


MIRROR = np.diag([-1.0, 1.0, 1.0])


def mirrored(scene):
    """Left and right exchanged. Boxes and turned solids are their own mirror images; turns run the other way."""

    def flip(placement):
        face = {"+X": "-X", "-X": "+X"}.get(placement.face, placement.face)
        return replace(
            placement,
            at=vector(MIRROR @ placement.at),
            axis=vector(MIRROR @ placement.axis),
            turn_deg=-placement.turn_deg,
            face=face,
        )

    def flip_body(body):
        return replace(body, placement=flip(body.placement))

    def flip_feature(feature):
        match feature:
            case Hole(at=at):
                return replace(feature, at=vector(MIRROR @ at))
            case Pocket(at=at, along=along):
                return replace(feature, at=vector(MIRROR @ at), along=vector(MIRROR @ along))
            case Profile(at=at, outline=outline):
                return replace(feature, at=vector(MIRROR @ at), outline=tuple((-x, y) for x, y in outline))
        raise AssertionError("the demo has no other feature")

    machine = scene.machine
    axes = tuple(
        replace(a, origin=vector(MIRROR @ a.origin), axis=vector(-(MIRROR @ a.axis))) for a in machine.table_axes
    )
    machine = replace(machine, table_axes=axes, bodies=tuple(flip_body(b) for b in machine.bodies))
    workpieces = tuple(
        replace(
            w,
            zero=flip(w.zero),
            states=tuple(replace(s, bodies=tuple(flip_body(b) for b in s.bodies)) for s in w.states),
        )
        for w in scene.workpieces
    )
    orientations = tuple(
        replace(o, cuts=tuple(replace(c, feature=flip_feature(c.feature)) for c in o.cuts)) for o in scene.orientations
    )
    return replace(
        scene,
        machine=machine,
        bodies=tuple(flip_body(b) for b in scene.bodies),
        workpieces=workpieces,
        orientations=orientations,
    )


def test_that_the_mirrored_set_up_says_the_same_with_left_and_right_exchanged():
    found = check_same(mirrored(demo()), told("demo"))
    swap = {"left": "right", "right": "left"}
    n_swapped = 0
    for (name, *_, report), (*_, original) in zip(found, told("demo"), strict=True):
        assert report.worst.between == original.worst.between, name
        words = [swap.get(w, w) for w in original.side.split(", ")]
        assert report.side.split(", ") == words, name
        n_swapped += words != original.side.split(", ")
    assert n_swapped, "in none of these cuts is anything to the left or right"


# ---- other machines ----------------------------------------------------------------------------------------


def on_the_platter():
    """The demo with nothing but what stands on the platter."""
    scene = demo()
    return replace(scene, machine=replace(scene.machine, bodies=()))


def on_axes(*axes):
    """The same part under the same tool axes, on a machine with other table axes."""
    scene = on_the_platter()
    names = {scene.machine.platter: axes[-1].carries}
    machine = replace(scene.machine, table_axes=axes, home_deg=tuple((a.name, 0.0) for a in axes))

    def moved(placement: Placement):
        return replace(placement, rides_on=names.get(placement.rides_on, placement.rides_on))

    orientations = []
    for orientation in scene.orientations:
        wanted = tool_axis_in_platter(scene.machine, dict(orientation.angles_deg))
        solution = nearest_solution(machine, wanted)
        assert tool_axis_in_platter(machine, dict(solution.angles_deg)) == pytest.approx(wanted, abs=1e-12)
        orientations.append(replace(orientation, angles_deg=solution.angles_deg))
    return replace(
        scene,
        machine=machine,
        bodies=tuple(replace(b, placement=moved(b.placement)) for b in scene.bodies),
        workpieces=tuple(replace(w, zero=moved(w.zero)) for w in scene.workpieces),
        orientations=tuple(orientations),
    )


def axis(letter, direction, origin):
    return TableAxis(letter, letter, letter.lower(), origin, direction, None)


S60, C60 = math.sqrt(0.75), 0.5
MACHINES = {
    "B-C": (axis("B", (0.0, 1.0, 0.0), (10.0, 20.0, 200.0)), axis("C", (0.0, 0.0, 1.0), (0.0, 0.0, -15.0))),
    "A-C, both axes the other way round": (
        axis("A", (-1.0, 0.0, 0.0), (70.0, 0.0, 112.0)),
        axis("C", (0.0, 0.0, -1.0), (0.0, 0.0, -15.0)),
    ),
    "an axis inclined by 60 degrees": (
        axis("B", (0.0, S60, C60), (0.0, 0.0, 200.0)),
        axis("C", (0.0, 0.0, 1.0), (0.0, 0.0, 0.0)),
    ),
    "an inclined axis in no plane of the machine": (
        axis("B", (0.6 * S60, 0.8 * S60, C60), (30.0, -70.0, 150.0)),
        axis("C", (0.0, 0.0, 1.0), (5.0, 6.0, 7.0)),
    ),
}


@pytest.mark.parametrize("name", MACHINES)
def test_that_another_machine_with_the_part_in_the_same_poses_says_the_same(name):
    found = check_same(on_axes(*MACHINES[name]), told("on the platter"))
    for (name, *_, report), (*_, original) in zip(found, told("on the platter"), strict=True):
        if not original.ties:
            assert report.part_side == original.part_side, name
