"""`tightside check --html`: the page is written beside what is printed, with and without pictures."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.cli.main import main
from app.view3d import page_pictures
from app.view3d.picture_order import NoPicture
from tests.app.cli.checked_samples import sample_file
from tests.app.cli.small_scenes import write_scene
from tests.app.jobs.page_reading import read_page


def test_that_the_page_is_made_where_nothing_can_be_drawn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(
        page_pictures, "draw_pictures", lambda orders: tuple(NoPicture("no picture: x") for _ in orders)
    )
    page = tmp_path / "tablet.html"
    assert main(["check", str(write_scene(tmp_path, gap=1.0)), "--json", "--html", str(page)]) == 10
    cut = json.loads(capsys.readouterr().out)["cuts"][0]
    read = read_page(page.read_text(encoding="utf-8"))
    assert not read.faults
    assert "No picture: x" in read.text
    assert cut["clearance"]["at_least"] == pytest.approx(1.0, abs=2e-4)  # as the drawing says
    assert "gap 1.0 mm" in read.text


@pytest.mark.slow
def test_that_the_demo_has_its_pictures_in_light_and_dark(tmp_path: Path) -> None:
    page = tmp_path / "tablet.html"
    assert main(["check", str(sample_file("sampler_block_b")), "--html", str(page)]) == 10
    read = read_page(page.read_text(encoding="utf-8"))
    # the set-up and two places, each across the gap and through the door
    assert len([tag for tag, _ in read.tags if tag == "img"]) == 5
    assert len([tag for tag, _ in read.tags if tag == "source"]) == 5
    assert page.stat().st_size < 3_000_000


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--html", "page.pdf"], "--html page.pdf: expected a file name that ends in .html"),
        (["--html", "nowhere/page.html"], "expected a folder that exists"),
        (["--html", "page.html", "--no-second-opinion"], "expected it without --no-second-opinion"),
    ],
)
def test_that_a_page_that_cannot_be_made_is_refused_before_anything_is_checked(
    arguments: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["check", "not_even_there.scene.yaml", *arguments]) == 2
    assert said in capsys.readouterr().err
