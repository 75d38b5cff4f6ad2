"""The ten-minute story with a real part: few clicks, and what is saved checks as the window shows it."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

from app.cli.main import main
from app.jobs.words import MINUS
from tests.gui.ten_minutes import MOST, Walk

PARTS = os.environ.get("TIGHTSIDE_PARTS")


@pytest.mark.slow
@pytest.mark.skipif(not PARTS, reason="the folder of real parts is not named by TIGHTSIDE_PARTS")
def test_that_a_step_file_becomes_a_saved_set_up_that_checks_as_shown(opener, wait, tmp_path, capsys) -> None:
    part = Path(shutil.copy(Path(str(PARTS)) / "featuretype.STEP", tmp_path))
    window = opener()
    walk = Walk(window, wait)
    saved = walk.go(part)
    assert saved == tmp_path / "featuretype.scene.yaml"
    assert len(walk.clicks) + len(walk.typed) <= MOST
    assert saved.read_text(encoding="utf-8") == window.session.document.text
    capsys.readouterr()
    main(["check", str(saved), "--json"])
    told = json.loads(capsys.readouterr().out)
    snapshot = window.session.snapshot
    assert told["verdict"] == str(snapshot.verdict)
    assert [(c["orientation"], c["cut"]) for c in told["cuts"]] == [("V1", "touch"), ("V2", "hole")]
    shown = {card.card.shown.key: card.texts for card in window.board.cards}
    for cut in told["cuts"]:
        texts = shown[cut["orientation"], cut["cut"]]
        assert str(texts.verdict) == cut["verdict"]
        assert float(texts.number.replace(MINUS, "-")) == pytest.approx(cut["spare"], abs=0.0101)
        assert texts.pair.startswith(cut["between"][0])
    assert {(s["from"], s["to"]): s["verdict"] for s in told["swings"]} == {
        swing.key[1:]: str(swing.verdict) for swing in snapshot.swings
    }
