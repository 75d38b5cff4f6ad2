"""What the engine's process answers when somebody looks elsewhere while it is at work; no process, no window."""

from itertools import takewhile

from app.window.answers import Ask, CutDone, Found, Look, Stage
from app.window.desk import Desk
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
