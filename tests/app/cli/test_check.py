"""`tightside check` from its arguments to its exit status, its text and its JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.cli import check as reading
from app.cli import main as front
from app.cli.main import main
from kinematics.errors import EngineError
from tests.app.cli.checked_samples import ROOT, sample_file
from tests.app.cli.small_scenes import write_scene

FAULTY = ROOT / "tests" / "data" / "faulty"


def sample(name: str) -> str:
    return str(sample_file(name))


@pytest.mark.parametrize(
    ("numbers", "status", "word"),
    [
        ({"gap": 3.0}, 0, "CLEAR"),
        ({"gap": 1.0}, 10, "TIGHT"),
        ({"gap": 1.0, "body_model": 1.5}, 20, "CAN HIT"),
        ({"gap": 3.0, "flute": 8.0}, 20, "CAN HIT"),
        ({"gap": -1.0}, 30, "HITS"),
        ({"gap": 3.0, "retract": 320.0}, 30, "CANNOT REACH"),
    ],
)
def test_that_the_exit_status_and_the_first_line_say_the_verdict(
    numbers: dict[str, float], status: int, word: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(write_scene(tmp_path, **numbers))]) == status
    first = capsys.readouterr().out.splitlines()[0]
    assert first.split("] ")[1].startswith(f"{word} ")


@pytest.mark.parametrize(("gap", "depth"), [(3.0, None), (1.0, None), (-1.0, 1.0)])
def test_that_the_numbers_of_a_drill_beside_a_post_are_those_of_the_drawing(
    gap: float, depth: float | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["check", str(write_scene(tmp_path, gap=gap)), "--json"])
    cut = json.loads(capsys.readouterr().out)["cuts"][0]
    assert cut["between"] == ["nut", "post"]
    assert cut["clearance"]["at_least"] <= gap <= cut["clearance"]["value"]
    assert cut["clearance"]["value"] - cut["clearance"]["at_least"] <= 0.01
    assert cut["spare"] == pytest.approx(gap, abs=0.01)
    assert cut["contact"] == (None if depth is None else "overlap")
    assert (cut["side"], cut["clock"], cut["part_side"]) == ("away", 12, "+Y")
    assert cut["depth"] == {"verdict": "clear", "needs": 10.0, "has": 30.0}
    # the gauge line stands 40 + 50 over the tip, the tip 10 over the table; the retract lifts it by 50
    assert cut["travel"]["z"] == {"reached": [100.0, 150.0], "left": [50.0, 250.0]}
    assert cut["travel"]["x"] == {"reached": [0.0, 0.0], "left": [200.0, 200.0]}


@pytest.mark.parametrize(("sample_name", "status"), [("a", 30), ("b", 10), ("c", 0), ("d", 10)])
def test_that_the_four_demo_set_ups_end_as_their_table_says(
    sample_name: str, status: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", sample(f"sampler_block_{sample_name}"), "--json"]) == status
    said = json.loads(capsys.readouterr().out)
    assert said["not_checked"] == []
    # from V1, where the table stands at home already, to V7 and home again: seven swings, two links
    ways = [(swing["from"], swing["to"]) for swing in said["swings"]]
    assert ways == [(f"V{i}", f"V{i + 1}") for i in range(1, 7)] + [("V7", "home")]
    links = [(link["orientation"], link["from"], link["to"]) for link in said["links"]]
    assert links == [("V1", "pilot", "profile"), ("V6", "drain spot", "drain drill")]
    assert {move["verdict"] for move in said["swings"] + said["links"]} == {"clear"}


def test_that_a_link_at_the_lift_is_as_far_from_the_post_as_the_drawing_says(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    more = "      - {name: again, tool: T1, state: plate, hole: {at: [5, 0, 0], depth: 5}}\n"
    scene = write_scene(tmp_path, gap=3.0, more=more)
    main(["check", str(scene), "--json"])
    (link,) = json.loads(capsys.readouterr().out)["links"]
    # the gauge line waits at 400, the tip 90 under it at 310; the drill of radius 3 passes the post, which is 17
    # behind it and ends at 60: sqrt(14^2 + 250^2); the plate's top is 290 under it
    assert link["between"] == ["cutter", "post"]
    expected = (14.0**2 + 250.0**2) ** 0.5
    assert link["clearance"]["at_least"] - 1e-3 <= expected <= link["clearance"]["value"] + 1e-3


def test_that_what_hits_is_not_hidden_behind_what_is_not_checked(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", sample("sampler_block_a")]) == 30
    assert "HITS V6 drain spot" in capsys.readouterr().out.splitlines()[0]


def test_that_a_missing_file_is_one_fault_and_exit_status_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "nowhere.scene.yaml"
    assert main(["check", str(file)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith(f"{file}:1:1: cannot be read")


@pytest.mark.parametrize("file", sorted(FAULTY.glob("*.scene.yaml")), ids=lambda file: file.name)
def test_that_a_faulty_scene_gives_faults_one_a_line_and_no_verdict(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(file), "--json"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    for line in said.err.splitlines():
        name, row, column = line.removeprefix(str(file.parent)).split(":")[:3]
        assert name
        assert int(row) >= 1
        assert int(column) >= 1


@pytest.mark.parametrize("arguments", [[], ["frobnicate"], ["check"], ["check", "a", "--frob"], ["check", "a", "--js"]])
def test_that_a_wrong_command_line_is_exit_status_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "usage: tightside" in said.err


@pytest.mark.parametrize("arguments", [["--help"], ["check", "--help"]])
def test_that_help_names_every_exit_status(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 0
    said = " ".join(capsys.readouterr().out.split())
    for words in ("0 clear", "10 tight", "20 can hit", "30 hits", "40 not checked", "2 scene", "70 int", "130 int"):
        assert words in said


def test_that_an_engine_that_fails_in_one_cut_leaves_the_others(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from app.jobs import check as job

    whole = job.check_cut

    def failing(prepared, orientation, cut, done, **options):
        if cut.name == "drain spot":
            raise EngineError("the swept solid has no volume")
        return whole(prepared, orientation, cut, done, **options)

    monkeypatch.setattr(job, "check_cut", failing)
    assert main(["check", sample("sampler_block_b"), "--json"]) == 40
    said = json.loads(capsys.readouterr().out)
    verdicts = {(cut["orientation"], cut["cut"]): cut["verdict"] for cut in said["cuts"]}
    assert verdicts["V6", "drain spot"] == "not checked"
    assert verdicts["V1", "profile"] == "tight"
    assert list(verdicts.values()).count("clear") == 7
    assert said["not_checked"][0] == {"what": "V6/drain spot", "why": "the swept solid has no volume"}
    assert main(["check", sample("sampler_block_b")]) == 40
    assert "NOT CHECKED V6 drain spot: the swept solid has no volume." in capsys.readouterr().out.splitlines()[0]


def test_that_a_pair_that_cannot_be_established_makes_its_cut_not_checked(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from kinematics.cut_pairs import CutPairs

    def failing(*_: object, **__: object) -> None:
        raise EngineError("the nearest points are 3 mm apart, the distance says 2")

    monkeypatch.setattr(CutPairs, "measure", failing)
    file = str(write_scene(tmp_path, gap=3.0))
    assert main(["check", file]) == 40
    said = capsys.readouterr().out
    assert said.startswith("[# ? :] NOT CHECKED top hole: ")
    assert "the nearest points are 3 mm apart, the distance says 2" in said
    assert main(["check", file, "--json"]) == 40
    data = json.loads(capsys.readouterr().out)
    assert data["cuts"][0]["clearance"] is None
    assert {"what": "top/hole: nut - post", "why": "the nearest points are 3 mm apart, the distance says 2"} in data[
        "not_checked"
    ]


def test_that_ctrl_c_keeps_what_is_done_and_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from app.jobs import check as job

    whole = job.check_cut

    def stopping(prepared, orientation, cut, done, **options):
        if orientation.name == "V2":
            raise KeyboardInterrupt
        return whole(prepared, orientation, cut, done, **options)

    monkeypatch.setattr(job, "check_cut", stopping)
    assert main(["check", sample("sampler_block_b"), "--json"]) == 130
    said = capsys.readouterr()
    assert "stopped after 2 of 9 cuts" in said.err
    data = json.loads(said.out)
    assert [cut["verdict"] for cut in data["cuts"]] == ["clear", "tight", *["not checked"] * 7]
    assert data["verdict"] == "not checked"
    assert {"what": "V7/low side port", "why": "stopped before it was checked"} in data["not_checked"]


def test_that_ctrl_c_while_reading_says_that_there_is_no_result(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from app.scenes import reader

    def stopping(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(reader, "read_scene", stopping)
    assert main(["check", sample("sampler_block_b")]) == 130
    assert "stopped before there was a result" in capsys.readouterr().err


def test_that_a_bug_is_one_line_and_exit_status_70(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        assert False, "a broken\ninvariant"  # noqa: B011, PT015 - stands for a bug anywhere below

    monkeypatch.delenv(front.DEBUG_VARIABLE, raising=False)
    monkeypatch.setattr(reading, "read", broken)
    assert main(["check", "x.scene.yaml"]) == 70
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "AssertionError at test_check.py:" in said
    assert "a broken invariant" in said
    monkeypatch.setenv(front.DEBUG_VARIABLE, "1")
    assert main(["check", "x.scene.yaml"]) == 70
    assert "Traceback" in capsys.readouterr().err
