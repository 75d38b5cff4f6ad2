"""The map of a cut: every cell is what a check of the re-aimed cut says."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from app.scenes.reader import read_scene
from kinematics.answers.map_bodies import MapBodies
from kinematics.answers.map_frames import MapMove, rates_of
from kinematics.answers.orientation_map import Known, NoMap, OrientationMap, map_grid, orientation_map
from kinematics.answers.re_aimed import re_aimed, with_orientation
from kinematics.clearance import check_cut
from kinematics.machine import TableAxis
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import Hole, Lift, Path, Placement, Pocket, Profile, Scene, SetupErrors, Slot
from kinematics.shapes import Box, cylinder
from kinematics.verdict import Verdict
from tests.app.cli.checked_samples import sample_file
from tests.one_cut import body, end_mill, one_cut, plain_machine

NONE = SetupErrors(0.0, 0.0, 0.0, 0.0, 0.0)


def sample(name: str, cut: tuple[str, str]) -> PlacedCut:
    prepared = Prepared(read_scene(sample_file(name)).scene)
    return next(p for p in placed_cuts(prepared) if (p.orientation.name, p.cut.name) == cut)


def mapped(placed: PlacedCut, step: float) -> OrientationMap:
    *_, found = orientation_map(placed, map_grid(placed.prepared.scene.machine, step, placed.angles))
    assert isinstance(found, OrientationMap)
    return found


def checked(placed: PlacedCut, angles: dict[str, float]):
    """The report of the cut in a scene whose orientation is re-aimed, all made anew."""
    scene = placed.prepared.scene
    there = with_orientation(scene, re_aimed(scene, placed.prepared.placed, placed.orientation, angles))
    orientation = next(o for o in there.orientations if o.name == placed.orientation.name)
    cut = next(c for c in orientation.cuts if c.name == placed.cut.name)
    return check_cut(Prepared(there), orientation, cut, placed.done)


def agree(placed: PlacedCut, found: OrientationMap, n: int, seed: int = 0) -> None:
    """Random cells, half of them where the verdict changes, against a check."""
    rng = np.random.default_rng(seed)
    changes = np.argwhere(found.severity[:, 1:] != found.severity[:, :-1])
    for k in range(n):
        i, j = rng.integers(found.shape[0]), rng.integers(found.shape[1])
        if k % 2 and len(changes):
            i, j = changes[rng.integers(len(changes))]
        cell = found.cell(int(i), int(j))
        report = checked(placed, dict(cell.angles_deg))
        assert cell.verdict is report.verdict, cell
        assert cell.is_out_of_travel == (report.travel.verdict is not Verdict.CLEAR), cell
        pair = report.worst
        assert pair is not None
        match cell.known:
            case Known.AT_LEAST:
                assert pair.verdict is Verdict.CLEAR, cell
            case Known.VALUE:
                assert pair.spare == pytest.approx(cell.spare, abs=1e-5), cell
                # of several that tie the two may name another; the names are of a pair of that spare
                assert cell.between in (pair.between, *report.ties), cell
            case Known.CONTACT:
                assert pair.verdict is Verdict.HITS, cell
            case Known.TOUCH:
                assert pair.verdict is Verdict.CAN_HIT, cell


@pytest.mark.parametrize(
    ("name", "cut", "step"),
    [
        ("sampler_block_b", ("V6", "drain spot"), 5.0),
        ("sampler_block_b", ("V5", "bevel port"), 3.0),  # slanting: a wide rotary of clear places
        ("sampler_block_b", ("V3", "+X pocket"), 5.0),
        ("sampler_block_c", ("V6", "drain drill"), 1.0),
        ("hinge_block_inclined", ("side", "pin hole"), 5.0),
        ("gauge_cap_bc", ("outlet 1", "flat 1"), 5.0),
        ("latch_pair", ("left side", "left bolt hole"), 5.0),
    ],
)
def test_that_cells_are_what_a_check_says(name: str, cut: tuple[str, str], step: float) -> None:
    placed = sample(name, cut)
    agree(placed, mapped(placed, step), 24)


def turning_table(*, moves_table: str = "", **numbers: object) -> Scene:
    """A block with a post and a wall beside it on a table that tilts and turns, a column on the table below.

    A mast on the bed stands behind; the linear axes that are named move the table past it.
    """
    tilt = TableAxis("tilt", "A", "cradle", (5.0, 0.0, 0.0), (1.0, 0.0, 0.0), (-100.0, 100.0))
    turn = TableAxis("turn", "C", "platter", (0.0, 3.0, -20.0), (0.0, 0.0, 1.0), None)
    column = body("column", Box(20.0, 20.0, 80.0), (70.0, 30.0, -60.0))
    motor = body("motor", Box(60.0, 80.0, 40.0), (0.0, 20.0, 10.0), on="head")
    plain = plain_machine(moves_table=moves_table, bodies=(column, motor))
    machine = replace(plain, table_axes=(tilt, turn))
    bodies = (
        body("post", cylinder(8.0, 62.0), (24.0, 0.0, 0.0), on="platter"),
        body("wall", Box(40.0, 6.0, 30.0), (0.0, 30.0, 0.0), on="platter"),
        body("mast", Box(30.0, 20.0, 300.0), (0.0, 75.0, -60.0), on="bed"),
        body("yoke", Box(10.0, 60.0, 30.0), (-60.0, 0.0, -40.0), on="cradle"),
    )
    given = {
        "feature": Hole((2.0, 1.0, 0.0), 6.0),
        "tool": end_mill(6.0, 20.0, stick_out=30.0),
        "errors": SetupErrors(),
        "lift": Lift("gauge_z", 200.0),
    } | numbers
    feature, tool = given.pop("feature"), given.pop("tool")
    return one_cut(
        feature,
        tool,
        *bodies,
        part=(body("block", Box(30.0, 30.0, 30.0), (0.0, 0.0, -30.0), on="P"),),
        machine=machine,
        zero=Placement("platter", (0.0, 0.0, 30.0)),
        angles=(("tilt", 20.0), ("turn", 40.0)),
        **given,
    )


@pytest.mark.parametrize(
    "numbers",
    [
        {},
        {"feature": Slot((-8.0, 0.0, 0.0), (8.0, 4.0, 0.0), 3.0)},
        {"feature": Path(((-8.0, 0.0, -2.0), (8.0, 4.0, -3.0), (8.0, -6.0, -1.0)))},
        {"feature": Profile(((-12.0, -9.0), (12.0, -9.0), (0.0, 12.0)), (0.0, 0.0, 0.0), "outside", 4.0)},
        {"tool": end_mill(6.0, 8.0, stick_out=30.0, shank=10.0)},  # in the hole what the cutter took is gone
        {"lift": Lift("retract")},
        {"lift": Lift("top")},
        {"moves_table": "xy"},
        {"moves_table": "z", "feature": Slot((-8.0, 0.0, 0.0), (8.0, 4.0, 0.0), 3.0)},
        {"moves_table": "y", "feature": Pocket((0.0, 0.0, 0.0), (20.0, 14.0), (1.0, 0.0, 0.0), 4.0)},
        {"feature": Slot((-8.0, 0.0, 0.0), (8.0, 4.0, 0.0), 3.0), "leave_to": (20.0, 20.0, 4.0)},
    ],
    ids=[
        "hole",
        "slot",
        "path",
        "contour",
        "wide shank",
        "lift by retract",
        "lift to top",
        "table moves in X and Y",
        "table moves in Z",
        "table moves in Y",
        "leaves aside",
    ],
)
def test_that_features_of_every_kind_are_what_a_check_says(numbers: dict[str, object]) -> None:
    (placed,) = placed_cuts(Prepared(turning_table(**numbers)))
    # what leaves along its path is checked cell by cell
    agree(placed, mapped(placed, 45.0 if "leave_to" in numbers else 20.0), 16)


def test_that_a_wall_stops_the_tool_by_the_closed_form() -> None:
    """By hand: the tool leans by t over a floor 50 below its tip; its nut's lower edge (r 10, 40 up, the flange of r 20
    from 70 to 120 up) comes down. The spare at t is 50 + 120 cos t - 20 sin t for t beyond 90, less nothing."""
    tilt = TableAxis("tilt", "A", "cradle", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (-110.0, 110.0))
    scene = one_cut(
        Hole((0.0, 0.0, 2.0), 2.0),
        end_mill(),
        body("floor", Box(600.0, 600.0, 10.0), (0.0, 0.0, -60.0), on="cradle"),
        part=(body("block", Box(4.0, 4.0, 2.0), on="P"),),
        machine=replace(plain_machine(), table_axes=(tilt,)),
        zero=Placement("cradle"),
        angles=(("tilt", 0.0),),
        errors=NONE,
        retract=0.0,
        lift=Lift("gauge_z", 0.0),
    )
    (placed,) = placed_cuts(Prepared(scene))
    found = mapped(placed, 0.5)
    assert found.row_axis is None and found.shape == (1, 441)
    for j, angle in enumerate(found.columns_deg.tolist()):
        t = math.radians(abs(angle))
        spare = 50.0 + min(z * math.cos(t) - r * math.sin(t) for r, z in ((10.0, 40.0), (20.0, 70.0), (20.0, 120.0)))
        cell = found.cell(0, j)
        if spare >= 2.001:
            assert (cell.verdict, cell.known) == (Verdict.CLEAR, Known.AT_LEAST), angle
        elif 0.001 < spare < 1.999:
            assert cell.known is Known.VALUE
            assert cell.spare == pytest.approx(spare, abs=1e-4)
        elif spare < -0.001:
            assert (cell.verdict, cell.known) == (Verdict.HITS, Known.CONTACT), angle


def test_that_out_of_travel_cannot_be_reached_and_too_short_a_flute_can_hit() -> None:
    placed = sample("sampler_block_b", ("V6", "drain spot"))
    found = mapped(placed, 5.0)
    deep = found.too_deep & (found.pair_severity == 0)
    assert deep.any() and (found.severity[deep] == Verdict.CAN_HIT.severity).all()
    scene = placed.prepared.scene
    y = replace(scene.machine.linear_axes[1], limits=(-60.0, 60.0))
    machine = replace(scene.machine, linear_axes=(scene.machine.linear_axes[0], y, scene.machine.linear_axes[2]))
    narrow = next(p for p in placed_cuts(Prepared(replace(scene, machine=machine))) if p.cut.name == "drain spot")
    found = mapped(narrow, 5.0)
    assert found.out_of_travel.any()
    assert (found.severity[found.out_of_travel] == Verdict.HITS.severity).all()
    agree(narrow, found, 12)


def test_that_no_body_moves_farther_than_its_rates_say() -> None:
    """Random pairs of cells: corners of bodies seen from the tip, and the tip itself, against rate times angle."""
    (placed,) = placed_cuts(Prepared(turning_table()))
    grid = map_grid(placed.prepared.scene.machine, 7.0, placed.angles)
    move = MapMove.of(placed, grid)
    bodies = MapBodies.of(placed, grid)
    assert move is not None and bodies is not None
    rng = np.random.default_rng(0)
    rows, columns = grid.rows_rad, grid.columns_rad
    for run in bodies.sure:
        rates = rates_of(move, run.target)
        corners = np.array([[x, y, z] for x in (0, 3) for y in (1, 4) for z in (2, 5)])
        points_G = run.target.tree.tree.boxes[0][corners]
        for _ in range(60):
            a, b = ((int(rng.integers(len(rows))), int(rng.integers(len(columns)))) for _ in range(2))
            seen = []
            for i, j in (a, b):
                tip = move.sets_at(i, j)[0].points[0]
                seen.append((move.frames.target_at(run.target, i, j).X_WG.points(points_G) - tip, tip))
            by_row, by_column = abs(rows[a[0]] - rows[b[0]]), abs(columns[a[1]] - columns[b[1]])
            moved = np.linalg.norm(seen[0][0] - seen[1][0], axis=1).max()
            assert moved <= rates[0] * by_row + rates[1] * by_column + 1e-9, run.target.name
            rose = np.linalg.norm(seen[0][1] - seen[1][1])
            assert rose <= rates[2] * by_row + rates[3] * by_column + 1e-9


def test_that_there_is_a_grid_only_where_something_turns() -> None:
    with pytest.raises(NoMap, match="no table axis"):
        map_grid(plain_machine(), 5.0, {})
    machine = turning_table().machine
    grid = map_grid(machine, 30.0, {"turn": 10.0})
    assert grid.rows_deg.tolist() == [-90.0, -60.0, -30.0, 0.0, 30.0, 60.0, 90.0]
    assert (grid.columns_deg[0], grid.columns_deg[-1], len(grid.columns_deg)) == (-180.0, 150.0, 12)
    assert map_grid(machine, 30.0, {"turn": 270.0}).columns_deg[0] == -180.0
    assert map_grid(machine, 30.0, {"turn": 180.0}).columns_deg[0] == 0.0
    with pytest.raises(NoMap, match="expected at most"):
        map_grid(machine, 0.01, {})
