"""`tightside changes` from its arguments to its exit status, its text and its JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.cli.main import main
from app.jobs.words import MINUS
from tests.app.cli.checked_samples import sample_file
from tests.app.cli.small_scenes import write_scene

FAST = "--no-second-opinion"


@pytest.fixture
def two(tmp_path: Path) -> tuple[str, str]:
    """The drill 3.0 and 1.0 beside its post."""
    files = []
    for name, gap in (("a", 3.0), ("b", 1.0)):
        (tmp_path / name).mkdir()
        files.append(str(write_scene(tmp_path / name, gap=gap)))
    return files[0], files[1]


def said(capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    found: dict[str, object] = json.loads(capsys.readouterr().out)
    return found


def test_that_the_exit_status_is_that_of_the_second_scene(two: tuple[str, str]) -> None:
    a, b = two
    assert main(["changes", a, b, FAST]) == 10
    assert main(["changes", b, a, FAST]) == 0


def test_that_the_text_names_what_got_tighter_and_the_value_that_did_it(
    two: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    main(["changes", *two, FAST])
    lines = capsys.readouterr().out.splitlines()
    assert "TIGHTER: 1" in lines
    row = lines[lines.index("TIGHTER: 1") + 2]
    assert " ".join(row.split()) == f"top hole 3.00 1.00 {MINUS}2.00 [| |] CLEAR [# - #] TIGHT nut, post"
    assert lines[-1].split() == ["post/at/y", "22.0", "20.0"]
    assert max(map(len, lines)) <= 100


def test_that_the_json_has_the_numbers_of_check(two: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    checks = []
    for file in two:
        main(["check", file, "--json", FAST])
        checks.append(said(capsys))
    main(["changes", *two, "--json", FAST])
    changes = said(capsys)
    (cut,) = changes["cuts"]  # type: ignore[misc]  # JSON
    for side, check in zip(("before", "after"), checks, strict=True):
        assert changes[side]["input_sha256"] == check["input_sha256"]  # type: ignore[index]
        (whole,) = check["cuts"]  # type: ignore[misc]
        assert cut[side] == {key: whole[key] for key in cut[side]}
    assert (cut["orientation"], cut["cut"], cut["change"]) == ("top", "hole", "tighter")
    assert cut["spare_change"] == pytest.approx(-2.0, abs=0.01)
    assert changes["inputs"] == [
        {"file": "scene", "name": None, "path": "post/at/y", "change": "value", "before": 22.0, "after": 20.0}
    ]
    assert changes["same_inputs"] is False


def test_that_a_sheet_of_this_version_and_one_of_another_are_told_apart(
    two: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    main(["changes", *two, "--json", FAST])
    changes = said(capsys)
    old, new = (changes[side]["input_sha256"] for side in ("before", "after"))  # type: ignore[index]
    assert main(["changes", new[:4], new[4:8], two[1], FAST]) == 10
    assert "was made from this version" in capsys.readouterr().out
    assert main(["changes", f"{old[:4]} {old[4:8]}", two[1], FAST]) == 10
    assert capsys.readouterr().out.startswith("THIS SHEET WAS MADE FROM ANOTHER VERSION")
    main(["changes", old[:8], two[1], "--json", FAST])
    assert said(capsys)["same_inputs"] is False


def test_that_what_is_neither_file_nor_checksum_is_a_fault(
    two: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["changes", "nowhere.scene.yaml", two[1]]) == 2
    assert "nowhere.scene.yaml: no scene file, and no checksum of a sheet" in capsys.readouterr().err


def test_that_the_demo_with_full_size_nuts_got_tighter_where_its_table_says(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # The table of the demo (computed by two other programs): spare in B, then in A
    expected = {
        ("V2", "+Y pocket"): (2.87, -1.63), ("V3", "+X pocket"): (11.20, 7.14), ("V4", "-Y pocket"): (10.05, 8.31),
        ("V6", "drain spot"): (1.55, -2.95), ("V6", "drain drill"): (2.81, 0.23), ("V7", "low side port"): (6.48, 4.73),
    }  # fmt: skip
    files = [str(sample_file(f"sampler_block_{name}")) for name in "ba"]
    assert main(["changes", *files, "--json", FAST]) == 30
    changes = said(capsys)
    tighter = {(c["orientation"], c["cut"]): c for c in changes["cuts"] if c["change"] == "tighter"}  # type: ignore[attr-defined]
    assert tighter.keys() == expected.keys()
    for key, (before, after) in expected.items():
        assert tighter[key]["before"]["spare"] == pytest.approx(before, abs=0.02)
        assert tighter[key]["after"]["spare"] == pytest.approx(after, abs=0.02)
    assert {i["path"] for i in changes["inputs"]} >= {"T2/holder", "T4/holder", "T6/holder"}  # type: ignore[attr-defined]
