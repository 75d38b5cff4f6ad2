"""The report for people: its width, what comes first, what must not be missing, and terminals of all kinds."""

from __future__ import annotations

import io
import re
import sys
from pathlib import Path

import pytest

from app.cli.main import main
from tests.app.cli.checked_samples import SAMPLES, text_of
from tests.app.cli.small_scenes import write_scene

MARKS = {"HITS": "[##x##]", "CAN HIT": "[## ##]", "NOT CHECKED": "[# ? :]", "TIGHT": "[# - #]", "CLEAR": "[|   |]"}


@pytest.mark.parametrize("sample", SAMPLES)
def test_that_no_line_is_wider_than_100_columns_and_every_verdict_has_its_mark(sample: str) -> None:
    text = text_of(sample)
    assert max(map(len, text.splitlines())) <= 100
    assert "\x1b" not in text
    plates = re.findall(r"(\[.{5}\]) (HITS|CAN HIT|NOT CHECKED|TIGHT|CLEAR)", text)
    assert plates
    assert all(MARKS[word] == mark for mark, word in plates)


@pytest.mark.parametrize("sample", SAMPLES)
def test_that_every_report_says_what_it_does_not_know(sample: str) -> None:
    text = text_of(sample)
    for title in ("NOT CHECKED", "NOT MODELLED", "ASSUMED", "LEFT OUT BY RULE", "Guards shut", "machine builder's"):
        assert title in text
    # what is not checked is listed before what is only not modelled, and the verdict is in the first line
    assert text.index("NOT CHECKED") < text.index("NOT MODELLED")
    assert text.startswith(tuple(f"{mark} " for mark in MARKS.values()))


def test_that_the_tightest_cut_comes_first_and_is_told_in_full() -> None:
    text = text_of("sampler_block_b")
    lines = text.splitlines()
    table = lines.index("CUTS, tightest first") + 2
    assert lines[table].startswith("V1 profile")
    # the numbers of the demo's table, computed by two independent programs: clearance 2.50, spare 1.31; 2.24, 1.55
    assert "TIGHT V1 profile: 1.31 spare, 2.00 wanted. Cutter of T1 over clamp screws L and R" in text
    assert re.search(r"V6 drain spot +T4 in H11 +\[# - #\] TIGHT +1\.55 +2\.23 +nut, clamp screws L and R", text)
    block = text[text.index("V6 drain spot  [# - #]") :]
    for words in (
        "behind the tool, 11 o'clock (part -Z)",
        "hidden from the operator",
        "body model 0.30",
        "in W",
        "in P",
    ):
        assert words in block


def test_that_a_name_like_markup_stays_what_it_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = write_scene(tmp_path, gap=1.0)
    scene.write_text(
        scene.read_text(encoding="utf-8").replace("Drill beside a post", "[bold] :warning: post"), encoding="utf-8"
    )
    main(["check", str(scene)])
    assert "[bold] :warning: post; plain; mm and degrees" in capsys.readouterr().out


class _Stream(io.TextIOWrapper):
    """A stream of another encoding, or a terminal."""

    def __init__(self, encoding: str, *, is_terminal: bool = False) -> None:
        super().__init__(io.BytesIO(), encoding=encoding)
        self.is_terminal = is_terminal

    def isatty(self) -> bool:
        return self.is_terminal

    def said(self) -> str:
        self.flush()
        return self.buffer.getvalue().decode(self.encoding)  # type: ignore[attr-defined]


def _said_to(stream: _Stream, scene: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    with monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", stream)
        main(["check", str(scene)])
        return stream.said()


def test_that_a_stream_without_unicode_gets_plain_letters(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scene = write_scene(tmp_path, gap=-1.0)
    scene.write_text(
        scene.read_text(encoding="utf-8").replace("beside a post", "neben dem Pfosten für Größe"), encoding="utf-8"
    )
    assert "\u22121.01" in _said_to(_Stream("utf-8"), scene, monkeypatch)
    plain = _said_to(_Stream("ascii"), scene, monkeypatch)
    assert plain.isascii()
    assert "-1.01" in plain


def test_that_colour_is_for_terminals_and_can_be_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scene = write_scene(tmp_path, gap=1.0)
    for name in ("NO_COLOR", "FORCE_COLOR", "COLORTERM", "TTY_COMPATIBLE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    coloured = re.compile(r"\x1b\[[0-9;]*(38|48);")
    assert coloured.search(_said_to(_Stream("utf-8", is_terminal=True), scene, monkeypatch))
    assert not coloured.search(_said_to(_Stream("utf-8"), scene, monkeypatch))
    monkeypatch.setenv("NO_COLOR", "1")
    refused = _said_to(_Stream("utf-8", is_terminal=True), scene, monkeypatch)
    assert not coloured.search(refused)
    assert "TIGHT" in refused


def test_that_long_work_says_what_it_is_at(monkeypatch: pytest.MonkeyPatch) -> None:
    from threading import Event

    from app.cli import progress

    monkeypatch.setattr(progress, "QUIET_SECONDS", 0.01)
    written = Event()

    class Listening(io.StringIO):
        def flush(self) -> None:
            written.set()

    stream = Listening()
    monkeypatch.setattr(sys, "stderr", stream)
    with progress.Progress() as said:
        said.at("checking V1 pilot, 1 of 9 cuts")
        assert written.wait(5.0)
    assert stream.getvalue().startswith("checking V1 pilot, 1 of 9 cuts ... ")
