"""The README is true: its commands give the output that stands there, and its example is a scene without a fault."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.cli.exit_status import ExitStatus
from app.cli.main import main
from app.scenes.reader import read_scene_text

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
LEFT_OUT = "..."


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, flags=re.DOTALL)


def runs() -> Iterator[tuple[str, list[str]]]:
    """Commands and the lines under them; start.py says which command it runs, on a line with a > in front."""
    for block in blocks("console"):
        for part in re.split(r"^[$>] ", block, flags=re.MULTILINE)[1:]:
            command, *lines = part.rstrip("\n").split("\n")
            yield command, lines


def masked(line: str) -> str:
    return re.sub(r"tightside \d+\.\d+\.\d+, inputs [0-9a-f]{8}", "tightside VERSION, inputs SUM", line)


def is_said(shown: list[str], printed: list[str]) -> bool:
    """Whether the shown lines are the printed ones, with ... for any number of lines."""
    pattern = "".join(r"(?:.*\n)*?" if line == LEFT_OUT else re.escape(masked(line)) + r"\n" for line in shown)
    return re.fullmatch(pattern, "".join(masked(line) + "\n" for line in printed)) is not None


def test_that_the_commands_are_the_two_of_start_py_and_the_one_that_it_runs() -> None:
    commands = [command for command, _ in runs()]
    assert commands[0] == "python3 start.py"
    assert commands[1].startswith(".venv/bin/tightside check sample_scenes/")
    assert commands[2] == "python3 start.py test"


@pytest.mark.parametrize("number", [1, 3], ids=["check", "stickout"])
def test_that_the_output_of_the_demo_is_what_the_readme_shows(
    number: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    command, shown = list(runs())[number]
    main(shlex.split(command)[1:])
    printed = capsys.readouterr().out.rstrip("\n").split("\n")
    assert is_said(shown, printed), "the README should show:\n" + "\n".join(printed)


def test_that_the_example_scene_has_no_fault() -> None:
    (example,) = blocks("yaml")
    scene_file = read_scene_text(example, ROOT / "example.scene.yaml")
    assert scene_file.scene.cuts()


def test_that_the_table_of_exit_statuses_is_complete() -> None:
    table = {int(number) for number in re.findall(r"^\| (\d+) \|", README, flags=re.MULTILINE)}
    assert table == set(ExitStatus)


def test_that_no_sample_of_the_check_reads_as_said_when_a_number_differs() -> None:
    printed = ["[# - #] TIGHT V1: 1.31 spare", "tightside 1.2.3, inputs 01234567", "last"]
    assert is_said(["[# - #] TIGHT V1: 1.31 spare", "...", "last"], printed)
    assert is_said([printed[0], "tightside 0.1.0, inputs abcdefab", "last"], printed)
    assert not is_said(["[# - #] TIGHT V1: 1.32 spare", "...", "last"], printed)
