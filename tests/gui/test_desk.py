"""What the engine's process answers when somebody looks elsewhere while it is at work; no process, no window."""

from itertools import takewhile

from app.window.answers import Ask, CutDone, Faulty, Found, Look, Stage
from app.window.desk import Desk
from app.window.part_answers import ALTERNATIVES
from tests.gui.conftest import sample

DEMO = sample("sampler_block_b")
PICKED = ("V6", "drain drill")


def test_that_a_cut_that_is_picked_before_it_was_checked_is_the_one_that_is_shown():
    desk = Desk()
    results = desk.check(Ask(1, DEMO.read_text(encoding="utf-8"), str(DEMO)))
    for body in results:
        if isinstance(body, CutDone):
            break
    assert list(desk.look(Look(1, PICKED))) == []  # V1 pilot was checked, and nothing else
    about = {"uses_up": set(), "side_on": set(), "offers": set()}
    for body in results:
        if isinstance(body, Found) and body.panel in about:
            about[body.panel].add(body.about)
        if body == Stage("pictures"):
            break
    assert about == {"uses_up": {PICKED}, "side_on": {PICKED}, "offers": {PICKED}}


def test_that_a_cut_that_does_not_exist_changes_nothing():
    desk = Desk()
    results = desk.check(Ask(1, DEMO.read_text(encoding="utf-8"), str(DEMO)))
    for body in results:
        if isinstance(body, CutDone):
            break
    assert list(desk.look(Look(1, ("V9", "no such cut")))) == []
    until = takewhile(lambda body: body != Stage("pictures"), results)
    shown = [b.about for b in until if isinstance(b, Found) and b.panel == "uses_up"]
    assert shown == [("V1", "profile")] * len(shown)
    assert shown


def test_that_what_is_asked_beside_a_set_up_at_fault_is_answered_and_breaks_nothing():
    desk = Desk()
    text = DEMO.read_text(encoding="utf-8").replace("flute: 22", "flute: -22")
    (faulty,) = [body for body in desk.check(Ask(1, text, str(DEMO))) if isinstance(body, Faulty)]
    assert faulty.faults
    (told,) = desk.look(Look(1, PICKED, panel=ALTERNATIVES, about="V6"))
    assert (told.value.is_done, told.value.why_none) == (True, "there is no set-up to change")
