"""What would make it clear, and a cut by pointing at the part: through the real window, card and engine."""

from __future__ import annotations

import pytest
from PySide6.QtWidgets import QApplication

from app.scenes.edits import value_at
from app.scenes.reader import read_scene_text
from app.window import units
from app.window.main_window import MainWindow
from app.window.panels.measure import NEW
from app.window.theme import LIGHT, theme_of
from app.window.units import Unit
from kinematics.measured.found import FoundHole, FoundPocket
from kinematics.verdict import Verdict
from tests.gui.conftest import sample, settle
from tests.truth.step_plate import circle, rectangle, step_plate

DEMO = sample("sampler_block_b")

# A plate 80 x 50 x 20 held on the platter: a hole d7 x 11 and a pocket 30 x 16 x 6 with corners of 4 in its top.
PLATE = """format: 1
units: {units}
title: "plate"
machine: compact_ac
workpiece:
  zero: {{rides_on: platter, at: [0, 0, {top}]}}
  states:
    milled:
      - {{name: plate, mesh: {{file: plate.step}}, at: [{x}, {y}, {z}]}}
tools:
  - {{id: T1, kind: end mill, d: {d}, flute: {flute}, shank: {d}, stick_out: {out}, holder: collet_11_jis30}}
orientations:
  - name: V1
    tilt: 0
    rotary: 0
    cuts:
      - {{name: touch, tool: T1, state: milled, hole: {{at: [0, 0, 0], depth: 0}}}}
"""


def plate_scene(folder, units="mm"):
    """The scene beside its part; part zero is the middle of the top, turned by nothing."""
    openings = [(circle((20.0, 25.0), 3.5), 11.0), (rectangle((55.0, 25.0), (30.0, 16.0), 4.0), 6.0)]
    (folder / "plate.step").write_text(step_plate((80.0, 50.0, 20.0), openings))
    per = 25.4 if units == "inch" else 1.0
    numbers = {"top": 60.0, "x": -40.0, "y": -25.0, "z": -20.0, "d": 6.0, "flute": 13.0, "out": 30.0}
    shown = {key: round(value / per, 6) for key, value in numbers.items()}
    path = folder / "plate.scene.yaml"
    path.write_text(PLATE.format(units=units, **shown), encoding="utf-8")
    return path


@pytest.fixture
def window(application, settings):  # noqa: ARG001 - there is an application
    made = MainWindow(settings, theme_of(LIGHT))
    made.resize(1280, 800)
    made.show()
    yield made
    made.session.document.stack.setClean()
    made.close()
    settle()


def opened(window, wait, path):
    window.files.open(path)
    session = window.session
    wait(
        lambda: session.snapshot.outline is not None and session.snapshot.n_fresh == len(session.snapshot.cuts), "cuts"
    )


def test_that_a_change_is_taken_by_one_click_and_undone_by_one_key(window, wait):
    opened(window, wait, DEMO)
    text = window.session.document.text
    window.session.select(("V6", "drain spot"))
    window.trigger("edit.ways")
    card = window.ways.card
    wait(lambda: card.changes and card.positions, "changes and positions")
    wait(lambda: card.is_done, "everything was tried", seconds=180)
    assert card.changes[0].words == "T4 in H11, 21.0 out"
    assert [p.is_now for p in card.positions] == [True, False]
    assert card.positions[1].outside == ("tilt",)  # -105 is beyond the table's limits
    card._buttons[0].click()
    assert value_at(window.session.document.text, "T4/stick_out") == 21.0
    assert window.session.document.stack.count() == 1
    assert window.overlay is None
    wait(lambda: window.session.snapshot.cut(("V6", "drain spot")).verdict is Verdict.CLEAR, "it is clear")
    window.trigger("edit.undo")
    assert window.session.document.text == text


def test_that_the_headline_advises_what_helps_in_the_unit_that_is_shown(window, wait):
    opened(window, wait, DEMO)
    wait(lambda: window.session.snapshot.advice is not None, "an advice", seconds=180)
    QApplication.processEvents()
    assert window.headline.sentence.whole.endswith("M6 DIN 7984 heads make it 2.31.")
    window.trigger("window.unit")
    inches = units.proven(window.session.snapshot.advice.here.spare, Unit.INCH)
    assert inches.startswith("0.091")  # 2.3145 mm, rounded down
    wait(lambda: window.headline.sentence.whole.endswith(f"make it {inches}."), "inches")


@pytest.mark.parametrize("of_file", ["mm", "inch"])
def test_that_a_hole_that_is_clicked_becomes_a_cut_with_its_measured_numbers(window, wait, tmp_path, of_file):
    scene = plate_scene(tmp_path, of_file)
    opened(window, wait, scene)
    text = window.session.document.text
    window.add_by("measured")
    card = window.measuring.card
    wait(lambda: not card.picker.is_empty, "the part")
    card.picker.turn_deg, card.picker.lean_deg = 0.0, 90.0  # from above
    x, y, _ = card.picker.on_screen([(-20.0, 0.0, -11.0)])[0]  # the bottom of the hole
    assert card.picker.point_at(x, y)
    wait(lambda: card.measured is not None, "a measure")
    found = card.measured.found
    assert isinstance(found, FoundHole)
    assert found.at == pytest.approx((-20.0, 0.0, 0.0), abs=0.02)
    assert (found.diameter, found.depth) == pytest.approx((7.0, 11.0), abs=0.02)
    assert "Is that right?" in card.words.text()
    assert card.orientation.itemText(0) == "V1"
    card.name.setText("bore")
    card.add.click()
    cut = next(c for _, c in read_scene_text(window.session.document.text, scene).scene.cuts() if c.name == "bore")
    assert cut.feature.at == pytest.approx((-20.0, 0.0, 0.0), abs=0.02)
    assert cut.feature.depth == pytest.approx(11.0, abs=0.02)
    assert window.session.document.stack.count() == 1
    window.session.document.undo()
    assert window.session.document.text == text


def test_that_a_pocket_can_be_cut_from_a_new_orientation(window, wait, tmp_path):
    scene = plate_scene(tmp_path)
    opened(window, wait, scene)
    window.session.document.edit("Tilt V1", "V1/tilt", 30.0)  # now no orientation looks at the top
    session = window.session
    wait(lambda: session.snapshot.n_fresh == len(session.snapshot.cuts) and not session.snapshot.is_stale, "cuts")
    window.add_by("measured")
    card = window.measuring.card
    wait(lambda: not card.picker.is_empty, "the part")
    card.picker.turn_deg, card.picker.lean_deg = 0.0, 90.0
    x, y, _ = card.picker.on_screen([(15.0, 0.0, -6.0)])[0]
    assert card.picker.point_at(x, y)
    wait(lambda: card.measured is not None, "a measure")
    found = card.measured.found
    assert isinstance(found, FoundPocket)
    assert found.size == pytest.approx((30.0, 16.0), abs=0.02)
    assert card.orientation.itemText(0).startswith(NEW)
    card.add.click()
    scene_now = read_scene_text(window.session.document.text, scene).scene
    added = next((o, c) for o, c in scene_now.cuts() if c.name != "touch")
    assert dict(added[0].angles_deg)["tilt"] == pytest.approx(0.0, abs=1e-6)
    assert added[1].feature.size == pytest.approx((30.0, 16.0), abs=0.02)
    assert added[1].feature.at == pytest.approx((15.0, 0.0, 0.0), abs=0.02)


def test_that_a_part_without_a_mesh_says_so(window, wait):
    opened(window, wait, DEMO)
    window.add_by("measured")
    card = window.measuring.card
    wait(lambda: "only a part file can be measured" in card.words.text(), "the reason")
    assert not card.add.isEnabled()
