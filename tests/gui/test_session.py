"""What is open: revisions, held dials, what is old and looks old. The engine is played by the test."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtCore import QCoreApplication, QObject, Signal

from app.scenes.faults import Fault
from app.window.answers import (
    Ask,
    CutDone,
    CutOutline,
    Faulty,
    Look,
    MoveDone,
    MovesPlanned,
    Opened,
    OrientationOutline,
    Outline,
    Stage,
    Whole,
)
from app.window.results import ENGINE_GONE, Holds
from app.window.session import LONG_MS, Session
from kinematics.report import SecondOpinion
from kinematics.verdict import Verdict
from tests.app.jobs.hand_made import a_cut, a_pair
from tests.gui.conftest import sample

SPOT, DRILL = ("V6", "drain spot"), ("V6", "drain drill")
SWING = (None, "V6", "home")
OUTLINE = Outline(
    title="block",
    machine="",
    unit="mm",
    orientations=(
        OrientationOutline(
            "V6", (("A", 105.0),), (CutOutline(SPOT, None, "T4", "H11"), CutOutline(DRILL, None, "T6", "H11"))
        ),
    ),
    tools=(),
    holders=(),
    bodies=(),
    numbers=(),
    keep_off_cut=2.0,
    keep_off_swing=5.0,
    not_modelled=("door",),
    assumed=(),
    notes=(),
    files=(),
    input_sha256="",
)


class PlayedWorker(QObject):
    """Writes down what is asked; the test gives the answers."""

    answered = Signal(object)
    stopped = Signal()
    died = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.generation = 0
        self.asked: list[Ask] = []
        self.looks: list[Look] = []
        self.n_stops = 0
        self.is_running = True

    def next_generation(self) -> int:
        self.generation += 1
        return self.generation

    def ask(self, question) -> None:
        (self.asked if isinstance(question, Ask) else self.looks).append(question)

    def stop(self) -> None:
        self.n_stops += 1

    def close(self) -> None:
        self.is_running = False

    def say(self, *bodies) -> None:
        self.answered.emit(bodies)
        QCoreApplication.processEvents()


def spot(spare: float = 1.55):
    verdict = Verdict.TIGHT if spare < 2.0 else Verdict.CLEAR
    return CutDone(SPOT, a_cut(a_pair(spare + 0.69, verdict=verdict)))


def drill(spare: float = 2.80):
    return CutDone(DRILL, replace(a_cut(a_pair(spare + 0.69, verdict=Verdict.CLEAR)), cut="drain drill", tool="T6"))


CUTS_DONE, ALL_DONE = Stage("", "cuts"), Stage("", "all")


@pytest.fixture
def session(application):  # noqa: ARG001 - signals need an application
    made = Session(worker=PlayedWorker())
    made.document.open(sample("sampler_block_b"))
    yield made
    made.close()
    made.deleteLater()


@pytest.fixture
def checked(session):
    session.worker.say(
        Opened(OUTLINE),
        spot(),
        drill(),
        CUTS_DONE,
        MovesPlanned(()),
        Whole(Verdict.TIGHT, SecondOpinion.AGREES, (), ()),
        ALL_DONE,
    )
    return session  # fmt: skip


def holds(session) -> list[Holds]:
    return [cut.holds for cut in session.snapshot.cuts]


def test_that_opening_asks_everything_of_the_text_as_it_is(session) -> None:
    (ask,) = session.worker.asked
    assert ask.text == sample("sampler_block_b").read_text()
    assert ask.how_far == "all"
    assert ask.values == ()


def test_that_names_are_there_before_results_and_nothing_unknown_is_clear(session) -> None:
    session.worker.say(Opened(OUTLINE))
    assert holds(session) == [Holds.COMPUTING, Holds.COMPUTING]
    assert [cut.verdict for cut in session.snapshot.cuts] == [Verdict.NOT_CHECKED] * 2
    session.worker.say(drill())
    assert session.snapshot.verdict is Verdict.NOT_CHECKED
    session.worker.say(spot(), CUTS_DONE)
    assert session.snapshot.is_fresh
    assert session.snapshot.verdict is Verdict.NOT_CHECKED, "the second opinion and the swings are not there yet"


def test_that_the_tightest_is_looked_at_until_something_is_picked(checked) -> None:
    assert checked.focus == SPOT
    checked.select(DRILL)
    checked.document.edit("riser", "riser/h", 30)
    checked.worker.say(Opened(OUTLINE), spot(), drill(), CUTS_DONE)
    assert checked.focus == DRILL


def test_that_an_edit_makes_what_was_there_old_and_new_results_fresh(checked, wait) -> None:
    checked.document.edit("riser", "riser/h", 30)
    assert len(checked.worker.asked) == 2
    wait(lambda: holds(checked) == [Holds.WAS, Holds.WAS], "old results look old")
    assert checked.snapshot.second_opinion is None
    checked.worker.say(Opened(OUTLINE), spot(1.70))
    assert holds(checked) == [Holds.FRESH, Holds.WAS]
    assert checked.snapshot.cut(SPOT).result.worst.spare == pytest.approx(1.70)


def test_that_results_that_come_at_once_are_never_old(checked) -> None:
    seen = []
    checked.snapshot_changed.connect(lambda: seen.append(holds(checked)))
    checked.turn({"T4/stick_out": 19.0})
    checked.worker.say(spot(1.60), drill(), CUTS_DONE)
    assert seen
    assert all(held == [Holds.FRESH, Holds.FRESH] for held in seen)


def test_that_swings_are_old_while_a_dial_is_held(checked) -> None:
    checked.worker.say(MovesPlanned((SWING,)))
    checked.worker.say(MoveDone(SWING, None))
    assert checked.snapshot.move(SWING).holds is Holds.FRESH
    checked.turn({"T4/stick_out": 19.0})
    checked.worker.say(spot(1.60), drill(), CUTS_DONE)
    assert checked.snapshot.move(SWING).holds is not Holds.FRESH
    assert checked.snapshot.verdict is Verdict.NOT_CHECKED


def test_that_only_the_newest_value_of_a_held_dial_is_asked(checked) -> None:
    for value in (18.1, 18.2, 18.3, 18.4):
        checked.turn({"T4/stick_out": value})
    assert [dict(ask.values) for ask in checked.worker.asked[1:]] == [{"T4/stick_out": 18.1}]
    checked.worker.say(spot(), drill(), CUTS_DONE)
    assert [dict(ask.values) for ask in checked.worker.asked[1:]] == [{"T4/stick_out": 18.1}, {"T4/stick_out": 18.4}]
    assert all(ask.how_far == "cuts" for ask in checked.worker.asked[1:])


def test_that_a_held_dial_does_not_wait_for_a_value_that_takes_long(checked, wait) -> None:
    checked.turn({"T4/stick_out": 18.1})
    checked.turn({"T4/stick_out": 18.4})
    wait(lambda: len(checked.worker.asked) == 3, "the newest is asked", seconds=LONG_MS / 1000 * 50)
    assert dict(checked.worker.asked[-1].values) == {"T4/stick_out": 18.4}


def test_that_a_released_dial_is_one_step_and_keeps_the_cuts_that_are_there(checked) -> None:
    before = checked.document.text
    checked.turn({"T4/stick_out": 19.0})
    checked.worker.say(spot(1.60), drill(), CUTS_DONE)
    checked.release("T4 out", {"T4/stick_out": 19.0})
    assert holds(checked) == [Holds.FRESH, Holds.FRESH]
    assert "stick_out: 19" in checked.document.text
    last = checked.worker.asked[-1]
    assert (last.values, last.how_far, last.text) == ((), "all", checked.document.text)
    checked.document.undo()
    assert checked.document.text == before


def test_that_a_dial_released_elsewhere_keeps_nothing(checked, wait) -> None:
    checked.turn({"T4/stick_out": 19.0})
    checked.worker.say(spot(1.60), drill(), CUTS_DONE)
    checked.release("T4 out", {"T4/stick_out": 20.0})
    wait(lambda: holds(checked) == [Holds.WAS, Holds.WAS], "old results look old")


def test_that_a_dial_let_go_asks_the_text_again(checked) -> None:
    before = checked.document.text
    checked.turn({"T4/stick_out": 19.0})
    checked.let_go()
    assert checked.worker.asked[-1].values == ()
    assert checked.document.text == before
    assert not checked.held


def test_that_a_refused_edit_is_told_and_the_text_asked_again(checked) -> None:
    told = []
    checked.refused.connect(told.append)
    checked.turn({"T4/stick_out": 19.0})
    checked.release("T4 out", {"no such/number": 19.0})
    assert "nothing is called" in told[0]
    assert checked.worker.asked[-1].values == ()


def test_that_faults_leave_the_last_good_results_old(checked, wait) -> None:
    checked.document.replace("broken", checked.document.text.replace("stick_out: 18", "stick_out: -3"))
    fault = Fault("scene.yaml", 58, 31, "T4/stick_out", "-3 mm; expected a length above 0")
    checked.worker.say(Faulty((fault,)))
    assert checked.snapshot.faults == (fault,)
    wait(lambda: holds(checked) == [Holds.WAS, Holds.WAS], "old results look old")
    checked.document.undo()
    checked.worker.say(Opened(OUTLINE), spot(), drill(), CUTS_DONE)
    assert checked.snapshot.faults == ()
    assert holds(checked) == [Holds.FRESH, Holds.FRESH]


def test_that_what_was_stopped_is_not_checked(session) -> None:
    session.worker.say(Opened(OUTLINE), spot(), Stage("V6 drain drill"))
    session.stop()
    assert session.worker.n_stops == 1
    assert holds(session) == [Holds.FRESH, Holds.STOPPED]
    assert session.snapshot.cut(DRILL).verdict is Verdict.NOT_CHECKED
    assert [(n.what, n.why) for n in session.snapshot.unchecked()] == [("V6 drain drill", "stopped by you")]
    session.worker.stopped.emit()
    assert not session.snapshot.doing
    session.recompute()
    assert len(session.worker.asked) == 2
    assert not session.snapshot.is_stopped


def test_that_old_results_do_not_survive_a_stop_as_known(checked, wait) -> None:
    checked.document.edit("riser", "riser/h", 30)
    wait(lambda: holds(checked) == [Holds.WAS, Holds.WAS], "old results look old")
    checked.stop()
    assert [cut.verdict for cut in checked.snapshot.cuts] == [Verdict.NOT_CHECKED] * 2


def test_that_a_dead_engine_leaves_nothing_checked_that_was_not(session) -> None:
    session.worker.say(Opened(OUTLINE), spot())
    session.worker.is_running = False
    session.worker.died.emit("the engine's process was ended by the system")
    assert session.snapshot.failure
    assert [cut.verdict for cut in session.snapshot.cuts] == [Verdict.TIGHT, Verdict.NOT_CHECKED]
    assert [item.why for item in session.snapshot.unchecked()] == [ENGINE_GONE]
    assert len(session.worker.asked) == 1


def test_that_a_replaced_engine_is_asked_again(session) -> None:
    session.worker.say(Opened(OUTLINE), spot())
    session.worker.died.emit("the engine's process was ended by the system")
    assert len(session.worker.asked) == 2


def test_that_a_selection_survives_while_its_names_do(checked) -> None:
    checked.select(DRILL)
    checked.document.edit("riser", "riser/h", 30)
    first = OUTLINE.orientations[0]
    renamed = replace(OUTLINE, orientations=(replace(first, cuts=first.cuts[:1]),))
    checked.worker.say(Opened(renamed), spot(), CUTS_DONE)
    assert checked.focus == SPOT
    assert [cut.key for cut in checked.snapshot.cuts] == [SPOT]


def test_that_looking_at_another_cut_asks_for_it_once(checked) -> None:
    n = len(checked.worker.looks)
    checked.select(DRILL)
    checked.select(DRILL)
    assert [look.focus for look in checked.worker.looks[n:]] == [DRILL]
