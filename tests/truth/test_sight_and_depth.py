"""Sight and depth of every cut of the sample set-ups: plain numpy over all triangles in W says the same.

The bodies are placed here once more, from the placements of the scene; what is compared is what reports say.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from app.scenes.reader import read_scene
from kinematics.clearance import check_cut
from kinematics.machine import BED, HEAD, bed_motion, frame_poses
from kinematics.moves.cuts import cut_move
from kinematics.prepared import Prepared, current_state
from kinematics.scene import Body, Hole, Placement
from kinematics.shapes import Box
from tests.one_cut import body, end_mill, one_cut, plain_machine
from tests.truth import highest_reference, sight_reference

SCENES = sorted(Path("sample_scenes").glob("*/*.scene.yaml"))
TIED = 1e-7  # mm
WITH_STEP = ("lamp_bracket",)  # reading takes seconds


@cache
def prepared_of(file):
    return Prepared(read_scene(file).scene)


def cuts_of(prepared):
    """Every cut with its orientation and the cuts made before it."""
    done = []
    for orientation, cut in prepared.scene.cuts():
        yield orientation, cut, frozenset(done)
        done.append((orientation.name, cut.name))


def placed(prepared, bodies, poses, bed=(0.0, 0.0, 0.0)):
    """Triangles (vertices, faces) in W of what lies around the bodies; those on the bed are moved by `bed`."""
    for one in bodies:
        for piece in prepared.pieces_of(one.shape):
            points = one.X_CG.points(piece.outer.vertices)
            if one.carrier in poses:
                points = poses[one.carrier].points(points)
            yield points + (bed if one.carrier == BED else 0.0), piece.outer.faces


def in_the_way(prepared, orientation, workpiece, state, done, tip, gauge_length):
    """Triangles of everything but the round parts of the tool and the machine's door, with the tip at `tip`."""
    scene, poses = prepared.scene, frame_poses(prepared.scene.machine, dict(orientation.angles_deg))
    bodies = list(prepared.state_bodies(workpiece, state))
    for other in scene.workpieces:
        if other is not workpiece:
            bodies += prepared.state_bodies(other, current_state(other, done))
    others = [b for b in prepared.placed.bodies if not (b.is_machine and b.name in ("door", "enclosure"))]
    bodies += [b for b in others if b.carrier != HEAD]
    gauge = tip + (0.0, 0.0, gauge_length)
    yield from placed(prepared, bodies, poses, np.array(bed_motion(scene.machine, tuple(gauge))))
    head = [b for b in others if b.carrier == HEAD]
    for vertices, faces in placed(prepared, head, {}):
        yield vertices + gauge, faces


def assert_as_numpy_says(prepared):
    """Both answers of every cut; returns what was found: hidden or not, and the depths."""
    scene = prepared.scene
    hidden, depths = [], []
    for orientation, cut, done in cuts_of(prepared):
        report = check_cut(prepared, orientation, cut, done)
        workpiece = scene.workpiece_of(cut)
        state = next(s for s in workpiece.states if s.name == cut.state)
        assembly = prepared.assembly_of(scene.tool(cut.tool))
        poses = frame_poses(scene.machine, dict(orientation.angles_deg))
        zero = prepared.placed.zero_of(scene, workpiece)
        X_WP = poses[zero.carrier] @ zero.X_CP if zero.carrier in poses else zero.X_CP.relabelled("W", "P")
        if report.depth is not None:
            feature = cut_move(cut, assembly, X_WP, prepared.lift_to(orientation, cut)).feature
            material = list(placed(prepared, prepared.state_bodies(workpiece, state), poses))
            needs = highest_reference.depth_needed(assembly.cutter_radius, [s.points for s in feature], material)
            assert report.depth.needs == pytest.approx(needs, abs=1e-9), cut.name
            depths.append(needs)
        if report.worst is not None and report.worst.points_W is not None:
            ends = tuple(np.array(p) for p in report.worst.points_W)
            tip = np.array(report.worst.tip_W)
            tool = [(s.r1, s.r2, s.z1, s.z2) for s in assembly.inner]
            bodies = list(in_the_way(prepared, orientation, workpiece, state, done, tip, assembly.gauge_length))
            operator = scene.machine.operator
            expected = sight_reference.is_hidden(ends, operator, tool, tip, bodies)
            if report.is_hidden_from_operator != expected:
                assert report.is_hidden_from_operator, f"{cut.name}: a line within rounding of a rim is stopped"
                assert sight_reference.is_hidden(ends, operator, tool, tip, bodies, margin=TIED), cut.name
                assert not sight_reference.is_hidden(ends, operator, tool, tip, bodies, margin=-TIED), cut.name
            hidden.append(expected)
        else:
            assert report.is_hidden_from_operator is None
    return hidden, depths


@pytest.mark.parametrize(
    "file",
    [pytest.param(f, id=f.parent.name, marks=pytest.mark.slow if f.parent.name in WITH_STEP else ()) for f in SCENES],
)
def test_that_sample_set_ups_are_seen_and_measured_as_plain_numpy_does(file):
    hidden, depths = assert_as_numpy_says(prepared_of(file))
    assert hidden
    assert depths


def test_that_the_demo_has_gaps_of_both_kinds():
    file = next(f for f in SCENES if f.parent.name == "sampler_block_b")
    hidden, _ = assert_as_numpy_says(prepared_of(file))
    assert {*hidden} == {True, False}


@pytest.mark.parametrize(
    ("moves_table", "x", "z", "hides"),
    [
        ("", 0.0, -100.0, True),
        ("", -200.0, -100.0, False),
        ("xy", 0.0, -100.0, True),
        ("xy", -200.0, -100.0, True),
        ("xyz", -200.0, -100.0, False),  # raised by 120 - 5: its lower edge is 15 over the tip
        ("xyz", -200.0, -215.0, True),
    ],
)
def test_that_a_curtain_on_the_bed_is_where_the_spindle_took_it(moves_table, x, z, hides):
    """It fills the view from 80 in front of the gap; beside the gap by 200 or above it, it hides nothing."""
    assert is_curtained("bed", (0.0, -80.0, z), moves_table, x) is hides


@pytest.mark.parametrize("moves_table", ["", "xy", "xyz"])
@pytest.mark.parametrize(("at", "hides"), [(0.0, True), (200.0, False)])
def test_that_a_curtain_on_the_head_goes_where_the_spindle_goes(moves_table, at, hides):
    assert is_curtained("head", (at, -80.0, -150.0), moves_table, -200.0) is hides


def is_curtained(on, at, moves_table, x):
    """Whether a curtain, 150 x 260, hides the gap between a d10 cutter, its tip 120 under the gauge, and a post."""
    curtain = Body("curtain", Placement(on, at), Box(150.0, 4.0, 260.0))
    machine = plain_machine(moves_table=moves_table, bodies=(curtain,))
    post = body("post", Box(10, 10, 20), (x + 12.0, 0.0, -20.0))
    scene = one_cut(Hole((x, 0.0, 0.0), 5.0), end_mill(10.0), post, machine=machine, retract=1.0)
    (hidden,), _ = assert_as_numpy_says(Prepared(scene))
    return hidden
