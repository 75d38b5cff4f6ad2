"""The room of a set-up: its worst pairs are those of a check, and a cut that has not changed is not asked again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.scenes.reader import read_scene
from kinematics.answers import worst_room
from kinematics.answers.worst_room import CutRoom, PairRoom, Rooms, cut_room, room_of
from kinematics.clearance import check_cuts
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.report import AxisTravel, DepthReport, TravelReport
from kinematics.scene import Hole, Scene
from kinematics.verdict import Verdict
from tests.app.cli.checked_samples import SAMPLES, sample_file
from tests.kinematics.answers.generated import a_scene


def check_rooms(scene: Scene) -> None:
    """Every cut's room says what a check says of it."""
    prepared = Prepared(scene)
    for placed, report in zip(placed_cuts(prepared), check_cuts(scene, prepared), strict=True):
        room = cut_room(placed)
        assert (room.orientation, room.cut, room.verdict) == (report.orientation, report.cut, report.verdict)
        worst = report.worst
        if worst is None:
            assert room.pair is None
            continue
        assert room.pair == PairRoom(worst.between, worst.verdict, worst.spare, worst.keep_off)
        assert (room.depth, room.travel) == (report.depth, report.travel)


@pytest.mark.parametrize("name", SAMPLES)
def test_that_a_room_is_that_of_a_check(name: str) -> None:
    check_rooms(read_scene(sample_file(name)).scene)


@pytest.mark.parametrize("seed", range(40))
def test_that_a_room_of_a_random_set_up_is_that_of_a_check(seed: int) -> None:
    check_rooms(a_scene(np.random.default_rng([seed, 7])))


def test_that_a_state_that_comes_too_soon_is_not_checked_and_says_why() -> None:
    scene = read_scene(sample_file("sampler_block_b")).scene
    first = replace(scene, orientations=tuple(reversed(scene.orientations)))
    room = Rooms().of(Prepared(first), only=[("V7", "low side port")])
    assert (room.verdict, room.cause) == (Verdict.NOT_CHECKED, "unknown")
    assert room.why == "V7 low side port: the state profiled exists only after V1/profile, made later"


def test_that_only_cuts_with_changed_inputs_are_asked_again(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def asking(placed):
        asked.append(placed.orientation.name)
        return cut_room(placed)

    monkeypatch.setattr(worst_room, "cut_room", asking)
    scene = read_scene(sample_file("sampler_block_b")).scene
    rooms, before = Rooms(), Prepared(scene)
    rooms.of(before)
    assert len(asked) == 9
    v6 = scene.orientations[5]
    spot = replace(v6.cuts[0], feature=Hole((0.0, 15.0, -31.0), 2.6))
    moved = replace(
        scene, orientations=(*scene.orientations[:5], replace(v6, cuts=(spot, v6.cuts[1])), scene.orientations[6])
    )
    asked.clear()
    rooms.of(Prepared(moved, like=before))
    assert asked == ["V6"]
    asked.clear()
    rooms.of(Prepared(replace(moved, keep_off=replace(scene.keep_off, cutter=3.0)), like=before))
    assert len(asked) == 9


# ---- what several cuts say together ----------------------------------------------------------------


def travel(left: float) -> TravelReport:
    side = AxisTravel((0.0, 100.0 - left), (50.0, left))
    verdict, why = (Verdict.CLEAR, None) if left >= 0.0 else (Verdict.HITS, "X is outside")
    return TravelReport(
        verdict, side, AxisTravel((0.0, 0.0), (50.0, 50.0)), AxisTravel((0.0, 0.0), (50.0, 50.0)), left, why
    )


def room(
    name: str, verdict: Verdict, spare: float | None, keep_off: float = 2.0, *, left: float = 30.0, **more
) -> CutRoom:
    return CutRoom("V1", name, PairRoom(("nut", name), verdict, spare, keep_off), more.get("depth"), travel(left))


def test_that_the_worst_pair_is_by_verdict_then_by_spare_over_keep_off() -> None:
    tight = room("a", Verdict.TIGHT, 1.5)
    nearer = room("b", Verdict.TIGHT, 1.2, 1.3)
    overlap = room("c", Verdict.HITS, None)
    assert room_of([tight, nearer]).cut == "a"
    assert room_of([tight, overlap, nearer]).cut == "c"
    assert room_of([tight, overlap]).verdict is Verdict.HITS


def test_that_what_else_makes_the_verdict_is_named() -> None:
    clear = room("a", Verdict.CLEAR, 9.0)
    stuck = room("b", Verdict.CLEAR, 9.5, left=-2.0)
    short = room("c", Verdict.CLEAR, 9.5, depth=DepthReport(Verdict.CAN_HIT, 12.0, 10.0))
    assert (room_of([clear]).cause, room_of([clear]).why) == ("pair", None)
    said = room_of([clear, stuck])
    assert (said.verdict, said.cause, said.why) == (Verdict.HITS, "travel", "V1 b: X is outside")
    assert said.travel is not None
    assert (said.travel.axis, said.travel.least_left, said.travel.reached, said.travel.cut) == ("x", -2.0, 102.0, "b")
    said = room_of([clear, short])
    assert (said.cause, said.why) == ("depth", "V1 c needs 12.00 of flute, has 10.00")


def test_that_no_cut_leaves_all_room() -> None:
    said = room_of([])
    assert (said.verdict, said.pair, said.travel) == (Verdict.CLEAR, None, None)
