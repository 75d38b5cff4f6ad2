"""The window never stands still: no turn of its event loop takes 100 ms of its own, whatever is being computed.

What other processes take of a busy machine is not counted (`heartbeat.py` says how); what the window itself does, and
whatever it waits for, is. A process that it starts may be kept waiting by others too, so a scenario that was late is
played again: what the window does by itself it does every time.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from PySide6.QtCore import QCoreApplication

from app.window.main_window import MainWindow
from tests.gui import scenes_for_pictures as scenes
from tests.gui.conftest import Opener, is_checked, sample
from tests.gui.heartbeat import Heartbeat

LIMIT = 0.100  # s
ROUNDS = 3


def check_alive(opener: Opener, play: Callable[[MainWindow], None], least_beats: int) -> None:
    """Play a scenario; where a beat was late, again, up to ROUNDS times."""
    told = []
    for _ in range(ROUNDS):
        window = opener(size=(1920, 1080))
        QCoreApplication.processEvents()
        heartbeat = Heartbeat()
        heartbeat.start()
        play(window)
        heartbeat.stop()
        opener.close()
        assert len(heartbeat.beats) >= least_beats, "the loop turned"
        late = [beat for beat in heartbeat.beats if beat.own > LIMIT]
        if not late:
            return
        told.append("; ".join(f"{b.own * 1000:.0f} ms ({b.cpu * 1000:.0f} of work) at {b.at:.1f} s" for b in late))
    raise AssertionError(" | ".join(told))


@pytest.fixture
def heartbeat(application):  # noqa: ARG001 - there is an event loop
    return Heartbeat()


@pytest.mark.slow
def test_that_a_part_of_a_million_triangles_never_holds_the_window_up(opener, wait, tmp_path) -> None:
    file = scenes.with_large_part(tmp_path)
    check_alive(opener, lambda window: work_with_large_part(window, wait, file), 200)


def work_with_large_part(window, wait, file) -> None:
    window.files.open(file)
    wait(lambda: is_checked(window), "the set-up is checked", seconds=240)
    window.wiring.pick(("V6", "drain spot"))
    wait(lambda: window.view.place is not None and window.view.place.key[0] == "V6", "the part is shown", seconds=60)
    wait(lambda: any(card.has_picture for card in window.board.cards), "a picture is there", seconds=120)
    for value in (18.5, 19.0, 19.5, 20.0):
        window.session.turn({"T4/stick_out": value})
        wait(lambda: window.session.snapshot.is_fresh and not window.session.snapshot.doing, "it follows", seconds=60)
    window.session.release("T4 out", {"T4/stick_out": 20.0})
    window.session.document.edit("riser", "riser/h", 44)
    wait(lambda: window.session.snapshot.is_stale, "old numbers look old")
    wait(lambda: window.session.snapshot.is_fresh, "the cuts are there", seconds=120)
    place = window.view.place
    assert any(body.off_by is not None for body in place.bodies), "the part is drawn with fewer triangles"
    assert "fewer triangles" in window.view.note.text()


@pytest.mark.slow
def test_that_the_window_stays_alive_through_all_that_can_be_done_to_the_demo(opener, wait) -> None:
    check_alive(opener, lambda window: work_with_the_demo(window, wait), 200)


def work_with_the_demo(window, wait) -> None:
    window.files.open(sample("sampler_block_b"))
    wait(lambda: is_checked(window), "the set-up is checked")
    wait(lambda: all(card.has_picture for card in window.board.cards), "the pictures are there", seconds=120)
    wait(lambda: "T1/stick_out" in window.dials.rows, "the dials are there")
    for key in (
        "view.door",
        "view.tool",
        "view.gap",
        "view.swept",
        "view.swept",
        "view.through",
        "board.order",
        "window.unit",
    ):
        window.trigger(key)
        QCoreApplication.processEvents()
    for key in ("window.keys", "window.about", "window.find", "edit.stop"):
        window.trigger(key)
        QCoreApplication.processEvents()
    for card in window.board.cards:
        window.wiring.pick(card.card.shown.key)
        QCoreApplication.processEvents()
    for step in range(30):
        window.session.turn({"riser/h": 40.0 + 0.1 * step})
        QCoreApplication.processEvents()
    window.session.release("riser", {"riser/h": 42.9})
    wait(lambda: is_checked(window), "the set-up is checked")
    window.session.document.undo()
    window.resize(1280, 800)
    wait(lambda: is_checked(window), "the set-up is checked")


def test_that_a_heartbeat_tells_a_loop_that_is_held_up(heartbeat, wait) -> None:
    """The measure measures: work and waiting are both found."""
    import time

    from PySide6.QtCore import QTimer

    done = []

    def work() -> None:
        until = time.thread_time() + 0.15
        while time.thread_time() < until:
            pass
        done.append("work")

    def rest() -> None:
        time.sleep(0.15)
        done.append("rest")

    heartbeat.start()
    for n, hold_up in enumerate((work, rest)):
        QTimer.singleShot(0, hold_up)
        wait(lambda n=n: len(done) > n, "it is done")
        n_beats = len(heartbeat.beats)
        wait(lambda n_beats=n_beats: len(heartbeat.beats) > n_beats + 1, "the loop turned")
    heartbeat.stop()
    late = sorted((beat for beat in heartbeat.beats if beat.own > LIMIT), key=lambda beat: beat.cpu)
    assert len(late) == 2
    assert late[0].cpu < 0.1 < late[0].own, "it waited"
    assert late[1].cpu >= 0.15, "it worked"
