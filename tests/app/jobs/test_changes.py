"""What is called tighter, looser, the same, new or gone. Rooms are those of the drill beside a post, by its drawing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from app.jobs.changes import Change, Changes, ChecksumFault, compared, sheet_sum, shown_sum
from app.jobs.check import check_scene, whole_check
from app.jobs.results import Check
from app.scenes.reader import read_scene
from kinematics.report import CutReport, Interval
from kinematics.verdict import Verdict
from tests.app.cli.small_scenes import write_scene
from tests.app.jobs.hand_made import OUT_OF_TRAVEL, a_cut, a_pair

Make = Callable[..., Check]


def checked(file: Path) -> Check:
    scene_file = read_scene(file)
    return whole_check(scene_file, list(check_scene(scene_file, second_opinion=False)))


@pytest.fixture
def make(tmp_path: Path) -> Make:
    """A check of the drill beside a post, in a folder of its own."""

    def made(name: str, **numbers: Any) -> Check:
        folder = tmp_path / name
        folder.mkdir()
        return checked(write_scene(folder, **numbers))

    return made


def only(changes: Changes) -> tuple[Change, float | None]:
    (result,) = changes.results
    return result.change, result.spare_change


@pytest.mark.parametrize(
    ("gap", "change"), [(2.5, Change.TIGHTER), (3.0, Change.SAME), (3.5, Change.LOOSER), (-1.0, Change.TIGHTER)]
)
def test_that_the_room_grows_by_as_much_as_the_post_was_moved(gap: float, change: Change, make: Make) -> None:
    found, grown = only(compared(make("a", gap=3.0), make("b", gap=gap)))
    assert found is change
    assert grown == pytest.approx(gap - 3.0, abs=0.01)


def test_that_the_moved_post_is_the_only_input_that_differs(make: Make) -> None:
    (moved,) = compared(make("a", gap=3.0), make("b", gap=2.5)).inputs
    # the nut's radius, the gap and half the post: 14 + 3 + 5 and 14 + 2.5 + 5
    assert (moved.role, moved.difference.path) == ("scene", "post/at/y")
    assert (moved.difference.before_value, moved.difference.after_value) == (22.0, 21.5)


def test_that_a_changed_machine_file_is_told_by_the_paths_in_it(make: Make, tmp_path: Path) -> None:
    before = make("a", gap=3.0)
    file = write_scene(tmp_path, gap=3.0)
    machine = tmp_path / "plain.machine.yaml"
    machine.write_text(machine.read_text(encoding="utf-8").replace("[50, 400]", "[50, 390]"), encoding="utf-8")
    changes = compared(before, checked(file))
    (limit,) = changes.inputs
    assert (limit.role, limit.name, limit.difference.path) == ("machine", "plain", "linear_axes/z/limits/2")
    assert not changes.are_inputs_the_same


def test_that_a_comment_changes_the_checksum_and_no_value(make: Make, tmp_path: Path) -> None:
    file = write_scene(tmp_path, gap=3.0)
    file.write_text(file.read_text(encoding="utf-8") + "# checked with a pin\n", encoding="utf-8")
    changes = compared(make("a", gap=3.0), checked(file))
    assert changes.inputs == ()
    assert not changes.are_inputs_the_same


def test_that_a_flute_that_became_too_short_is_tighter_with_the_same_room(make: Make) -> None:
    change, grown = only(compared(make("a", gap=3.0), make("b", gap=3.0, flute=8.0)))
    assert (change, grown) == (Change.TIGHTER, 0.0)


def test_that_asking_for_more_room_makes_nothing_tighter(make: Make, tmp_path: Path) -> None:
    file = write_scene(tmp_path, gap=3.0)
    file.write_text(file.read_text(encoding="utf-8").replace("cut: 2.0", "cut: 3.5"), encoding="utf-8")
    after = checked(file)
    assert after.verdict is Verdict.TIGHT
    assert only(compared(make("a", gap=3.0), after))[0] is Change.SAME


def test_that_cuts_are_found_by_name_and_others_are_new_or_gone(make: Make) -> None:
    more = "      - {name: again, tool: T1, state: plate, hole: {at: [5, 0, 0], depth: 5}}\n"
    short, long = make("a", gap=3.0), make("b", gap=3.0, more=more)
    changes = {r.name: (r.kind, r.change) for r in compared(short, long).results}
    assert changes == {
        "top hole": ("cut", Change.SAME),
        "top again": ("cut", Change.NEW),
        "link top: hole > again": ("link", Change.NEW),
    }
    back = {r.name: r.change for r in compared(long, short).results}
    assert [back["top again"], back["link top: hole > again"]] == [Change.GONE, Change.GONE]


@cache
def _demo() -> Check:
    root = Path(__file__).parents[3]
    return checked(root / "sample_scenes/sampler_block_b/sampler_block_b.scene.yaml")


def between(before: CutReport, after: CutReport) -> Change:
    """The change between two reports made by hand, in a set-up that stayed the same."""
    sides = (replace(_demo(), cuts=(cut,), links=(), swings=()) for cut in (before, after))
    return only(compared(*sides))[0]


CLEAR, TIGHT = a_cut(a_pair(5.0, verdict=Verdict.CLEAR)), a_cut(a_pair(2.0))
OVERLAP = a_cut(a_pair(0.0, verdict=Verdict.HITS, clearance=None, spare=None, contact="overlap"))
UNKNOWN = a_cut(None, verdict=Verdict.NOT_CHECKED, why="the mesh is open")
FAR = a_cut(None)


@pytest.mark.parametrize(
    ("before", "after", "change"),
    [
        (CLEAR, TIGHT, Change.TIGHTER),
        (TIGHT, CLEAR, Change.LOOSER),
        (TIGHT, UNKNOWN, Change.UNTOLD),
        (UNKNOWN, CLEAR, Change.UNTOLD),
        (UNKNOWN, UNKNOWN, Change.UNTOLD),
        (TIGHT, OVERLAP, Change.TIGHTER),
        (OVERLAP, TIGHT, Change.LOOSER),
        (OVERLAP, OVERLAP, Change.SAME),
        (a_cut(a_pair(-1.0, verdict=Verdict.HITS)), OVERLAP, Change.TIGHTER),
        (FAR, FAR, Change.SAME),
        (FAR, CLEAR, Change.TIGHTER),
        (CLEAR, FAR, Change.LOOSER),
        (CLEAR, replace(CLEAR, verdict=Verdict.HITS, travel=OUT_OF_TRAVEL), Change.TIGHTER),
    ],
)
def test_that_a_change_without_numbers_is_still_told_right(before: CutReport, after: CutReport, change: Change) -> None:
    assert between(before, after) is change


def test_that_a_bound_too_wide_to_tell_is_not_called_the_same() -> None:
    wide = a_cut(a_pair(5.0, verdict=Verdict.CLEAR, clearance=Interval(5.0, 9.0)))
    assert between(wide, replace(CLEAR, worst=a_pair(6.0, verdict=Verdict.CLEAR))) is Change.UNTOLD


# --- the checksum of a sheet -------------------------------------------------------------------------


def test_that_a_sheet_is_recognized_however_its_digits_are_typed() -> None:
    scene_file = _demo().scene_file
    first = scene_file.input_sha256[:8]
    assert shown_sum(scene_file) == f"{first[:4]} {first[4:]}"
    for typed in (
        first,
        f"{first[:4]} {first[4:]}",
        f"{first[:4]}\u2009{first[4:]}",
        first.upper(),
        scene_file.input_sha256,
    ):
        assert sheet_sum(typed).is_of(scene_file), typed
    other = "0" if first[7] != "0" else "1"
    assert not sheet_sum(first[:7] + other).is_of(scene_file)


@pytest.mark.parametrize("text", ["7c1e", "7c1e 90a", "nowhere.scene.yaml", "", "7c1e90ag", "0" * 65])
def test_that_what_is_no_checksum_is_refused_with_what_was_expected(text: str) -> None:
    with pytest.raises(ChecksumFault, match="expected a file, or at least 8 of the digits"):
        sheet_sum(text)
