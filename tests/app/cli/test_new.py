"""`tightside new`, by flags and by questions: what it writes can be checked at once, and nothing is written over."""

from __future__ import annotations

import io
import json
import os
from pathlib import Path

import pytest

from app.cli.main import main
from tests.app.jobs.new_setup.boxes import write_box

PARTS = os.environ.get("TIGHTSIDE_PARTS")
needs_parts = pytest.mark.skipif(not PARTS, reason="TIGHTSIDE_PARTS does not name the folder of real part files")
TOOL = "2 end mill d6 flute 13 out 20 holder H11"
MADE = ["--machine", "compact_ac", "--holding", "dovetail", "--holder", "H11=collet_11_jis30", "--tool", TOOL]


@pytest.fixture
def box(tmp_path: Path) -> Path:
    folder = tmp_path / "parts"
    folder.mkdir()
    return write_box(folder / "part.stl", 36, 30, 41.5)


def check(scene: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict]:
    capsys.readouterr()
    status = main(["check", str(scene), "--json", "--no-second-opinion"])
    return status, json.loads(capsys.readouterr().out)


def test_that_a_scene_by_flags_is_checked_at_once(
    box: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scene = tmp_path / "op2.scene.yaml"
    part = ["--part", str(box), "--part-units", "mm", "--bar", "40x34x52", "--top", "2"]
    assert (
        main(["new", str(scene), *part, *MADE, "--orientation", "V1 +Z", "--orientation", "V2 +Y at 0 15 -30 depth 8"])
        == 0
    )
    assert (tmp_path / "part.stl").read_bytes() == box.read_bytes()
    status, said = check(scene, capsys)
    assert status in (0, 10, 20, 30)
    assert said["not_checked"] == []
    assert [(c["orientation"], c["angles"]["tilt"]) for c in said["cuts"]] == [("V1", 0.0), ("V2", 90.0)]
    # the tip touches the part, 2 under the bar: the nut, 20 over the tip, stands 18 over the bar
    first = said["cuts"][0]
    assert first["between"] == ["nut", "stock"]
    assert first["clearance"]["value"] == pytest.approx(18.0, abs=0.01)
    assert any(note.endswith("(default)") for note in said["assumed"])


def test_that_one_orientation_is_there_without_being_told(
    box: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scene = tmp_path / "op2.scene.yaml"
    assert main(["new", str(scene), "--part", str(box), "--part-units", "mm", *MADE]) == 0
    assert [c["orientation"] for c in check(scene, capsys)[1]["cuts"]] == ["V1"]


def test_that_tools_may_come_from_a_file(box: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tools = tmp_path / "tools.txt"
    tools.write_text(f"# carousel\n{TOOL}\n\n3 drill d5 flute 26 out 34 holder H11\n", encoding="utf-8")
    scene = tmp_path / "op2.scene.yaml"
    flags = [*MADE[:-2], "--tools", str(tools), "--orientation", "+Z T3"]
    assert main(["new", str(scene), "--part", str(box), "--part-units", "mm", *flags]) == 0
    assert check(scene, capsys)[1]["cuts"][0]["tool"] == "T3"


def test_that_all_wrong_flags_are_told_with_their_place_and_nothing_is_written(
    box: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scene = tmp_path / "op2.scene.yaml"
    bad = [
        "--machine",
        "compact_a",
        "--bar",
        "40x34",
        "--holding",
        "vyse",
        "--tool",
        "2 end mil d6 flute 13 out 20 holder X",
    ]
    assert main(["new", str(scene), "--part", str(box), *bad]) == 2
    err = capsys.readouterr().err
    assert "--part: part.stl has no unit. Is it 36.0 x 30.0 x 41.5 mm" in err
    assert "--machine: no machine 'compact_a' in the library; nearest: compact_ac" in err
    assert "--bar: '40x34' has 2 sides; expected three" in err
    assert "--holding: no holding 'vyse'; nearest: vise" in err
    lines = err.splitlines()
    at = next(i for i, line in enumerate(lines) if "no kind 'end mil'; nearest: end mill" in line)
    assert lines[at + 1].index("end mil") == lines[at + 2].index("^^^^^^^")
    assert not scene.exists() and not (tmp_path / "part.stl").exists()


def test_that_what_is_missing_is_named(box: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", str(tmp_path / "a.scene.yaml"), "--part", str(box), "--part-units", "mm"]) == 2
    assert "the machine, how it is held, a tool, an orientation is missing" in capsys.readouterr().err


def test_that_a_file_that_is_there_is_never_written_over(
    box: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scene = tmp_path / "op2.scene.yaml"
    scene.write_text("mine", encoding="utf-8")
    flags = ["--part", str(box), "--part-units", "mm", *MADE]
    assert main(["new", str(scene), *flags]) == 2
    assert scene.read_text(encoding="utf-8") == "mine"
    other = write_box(tmp_path / "part.stl", 1, 2, 3)
    before = other.read_bytes()
    assert main(["new", str(tmp_path / "other.scene.yaml"), *flags]) == 2
    assert "another file of that name is beside the scene" in capsys.readouterr().err
    assert other.read_bytes() == before


def answered(monkeypatch: pytest.MonkeyPatch, *answers: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{answer}\n" for answer in answers)))


def test_that_questions_lead_to_the_same_scene(
    box: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    flags, questions = tmp_path / "flags", tmp_path / "questions"
    for folder in (flags, questions):
        folder.mkdir()
    library_tool = "2 end mill d6 flute 13 out 20 holder collet_11_jis30"
    given = [
        "--part",
        str(box),
        "--part-units",
        "mm",
        "--machine",
        "compact_ac",
        "--bar",
        "40x34x52",
        "--holding",
        "vise",
    ]
    given += ["--screws", "ISO 4762 M6", "--tool", library_tool, "--orientation", "+Z", "--orientation", "+Y depth 2"]
    assert main(["new", str(flags / "a.scene.yaml"), *given]) == 0
    answered(
        monkeypatch, str(box), "furlong", "mm", "", "compact_x", "compact_ac", "40x34x52", "vise", "", "0",
        "2 end mill d6", library_tool, "", "+Z", "-Z", "+Y depth 2", "",
    )  # fmt: skip
    assert main(["new", str(questions / "a.scene.yaml"), "--ask"]) == 0
    texts = [(folder / "a.scene.yaml").read_text(encoding="utf-8") for folder in (flags, questions)]
    assert texts[0] == texts[1]
    err = capsys.readouterr().err
    assert "no unit 'furlong'" in err
    assert "no machine 'compact_x'" in err
    # both positions of the table, with what the one within the limits leaves
    assert "1  tilt 90, rotary 0: " in err
    assert "out of its limits" in err


def test_that_answers_that_end_too_soon_leave_nothing_behind(
    box: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    scene = tmp_path / "a.scene.yaml"
    answered(monkeypatch, str(box), "mm", "", "compact_ac", "", "vise", "", "0")
    assert main(["new", str(scene), "--ask"]) == 2
    assert "nothing was written" in capsys.readouterr().err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["parts"]


@needs_parts
@pytest.mark.parametrize(("name", "unit"), [("featuretype.STEP", None), ("featuretype.STL", "inch")])
def test_that_a_real_part_has_its_first_number(
    name: str, unit: str | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scene = tmp_path / "first.scene.yaml"
    part = ["--part", str(Path(PARTS or "") / name), *(["--part-units", unit] if unit else [])]
    assert main(["new", str(scene), *part, *MADE, "--orientation", "V1 +Z state part", "--orientation", "V2 +Y"]) == 0
    assert "bar 131 x 68 x 44" in capsys.readouterr().out  # 127 x 63.5 x 34.925 and 2 on each side, 1 over, 8 under
    _, said = check(scene, capsys)
    assert [c["clearance"] is not None for c in said["cuts"]] == [True, True]
    assert said["not_checked"] == []
