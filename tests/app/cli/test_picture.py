"""`tightside picture` as it is called."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.cli.main import main
from app.view3d import pictures
from tests.app.cli.small_scenes import write_scene

PNG = b"\x89PNG\r\n\x1a\n"


def test_that_a_picture_is_written_and_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "x.png"
    status = main(
        ["picture", str(write_scene(tmp_path, gap=1.5)), "--cut", "top/hole", "--size", "400x300", "-o", str(out)]
    )
    said = " ".join(capsys.readouterr().out.split())
    assert status == 0  # whatever the verdict: the picture was made
    data = out.read_bytes()
    assert data[:8] == PNG
    assert (int.from_bytes(data[16:20]), int.from_bytes(data[20:24])) == (400, 300)
    assert said.startswith("[# - #] TIGHT top hole: 1.50 spare, 2.00 wanted. Nut of T1 beside post, behind the tool")
    assert "400 x 300, light; seen across the gap, from the " in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--cut", "top/holl"], "top/holl: no cut is called so; expected ORIENTATION/CUT; nearest: top/hole"),
        (["--size", "12x9"], "--size 12x9: expected WIDTHxHEIGHT, 60 to 4096 pixels each, as 1200x900"),
        (["--size", "wide"], "--size wide: expected WIDTHxHEIGHT"),
        (["--size", "9000x900"], "--size 9000x900: expected WIDTHxHEIGHT"),
    ],
)
def test_that_a_fault_is_said_before_anything_is_drawn(
    arguments: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pictures, "DRAWING", ("-c", "raise SystemExit(9)"))
    out = tmp_path / "x.png"
    assert main(["picture", str(write_scene(tmp_path, gap=1.5)), "-o", str(out), *arguments]) == 2
    assert said in capsys.readouterr().err
    assert not out.exists()


def test_that_another_kind_of_file_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["picture", str(write_scene(tmp_path, gap=1.5)), "-o", "x.jpg"]) == 2
    assert "x.jpg: expected a file name that ends in .png" in capsys.readouterr().err


def test_that_a_machine_without_graphics_is_told_and_gets_no_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pictures, "DRAWING", ("-c", "import os; os.abort()"))
    out = tmp_path / "x.png"
    assert main(["picture", str(write_scene(tmp_path, gap=1.5)), "-o", str(out)]) == 2
    assert "tightside: no picture can be drawn here: " in capsys.readouterr().err
    assert not out.exists()


def test_that_a_folder_that_is_not_there_is_a_fault(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "no" / "x.png"
    assert main(["picture", str(write_scene(tmp_path, gap=1.5)), "--size", "80x60", "-o", str(out)]) == 2
    assert "cannot be written" in capsys.readouterr().err
