"""The bench sheet from the window: made from the saved file, never from what is not saved."""

from __future__ import annotations

import pypdfium2
import pytest

from app.window.main_window import MainWindow
from app.window.theme import LIGHT, theme_of
from tests.gui.conftest import sample, settle


@pytest.fixture
def window(application, settings, tmp_path):  # noqa: ARG001 - there is an application
    scene = tmp_path / "block.scene.yaml"
    scene.write_bytes(sample("sampler_block_b").read_bytes())
    made = MainWindow(settings, theme_of(LIGHT))
    made.show()
    made.files.open(scene)
    yield made
    made.session.document.stack.setClean()
    made.close()
    settle()


def text_of(pdf) -> str:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return "\n".join(page.get_textpage().get_text_range() for page in document)
    finally:
        document.close()


def test_that_a_sheet_is_saved_first_and_then_made_of_what_was_saved(window, wait, tmp_path):
    file = tmp_path / "block.pdf"
    window.sheets.ask_name = lambda proposed: file if proposed == file else None
    window.session.document.edit("T4 out", "T4/stick_out", 21.0)
    window.trigger("file.sheet")
    assert "made from the saved file" in window.headline.offer.words
    assert not file.exists()
    window.headline.offer_key(0).click()
    assert not window.session.document.is_modified
    wait(lambda: window.headline.offer is not None and window.headline.offer.key == "sheet made", "it", seconds=180)
    text = text_of(file)
    assert "SAMPLER BLOCK, OP 2, SET-UP B" in text
    assert "21.0" in text


def test_that_a_sheet_that_cannot_be_written_says_why(window, wait, tmp_path):
    (tmp_path / "taken.pdf").mkdir()
    window.sheets.ask_name = lambda _: tmp_path / "taken.pdf"
    window.trigger("file.sheet")
    wait(lambda: window.headline.offer is not None and window.headline.offer.key == "sheet failed", "it", seconds=180)
    assert "taken.pdf" in window.headline.offer.words
    window.headline.offer_key(0).click()
    assert window.headline.offer is None


def test_that_a_sheet_can_be_stopped(window, tmp_path):
    file = tmp_path / "never.pdf"
    window.sheets.ask_name = lambda _: file
    window.trigger("file.sheet")
    assert window.headline.offer.key == "sheet making"
    window.headline.offer_key(0).click()
    assert window.headline.offer is None
    assert not file.exists()
