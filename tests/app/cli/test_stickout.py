"""`tightside stickout` from its arguments to its exit status, its text and its JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from app.cli.main import main
from tests.app.cli.checked_samples import sample_file
from tests.app.cli.small_scenes import write_scene

DEMO = str(sample_file("sampler_block_b"))
SPOT = "V6/drain spot"


def said(capsys: pytest.CaptureFixture[str], *arguments: str, status: int) -> dict:
    assert main(["stickout", *arguments, "--json"]) == status
    return json.loads(capsys.readouterr().out)


def by_holder(item: dict) -> dict[str, dict]:
    return {answer["holder"]: answer for answer in item["answers"]}


def test_that_the_spot_drill_needs_what_the_demo_says(capsys: pytest.CaptureFixture[str]) -> None:
    """The demo's inverse answers: on a grid of 0.5 H16 27.5, H11 21.0 (20.98), H11m 9.0, HS6 10.0, within 0.02.

    In H11 it hits below 5.15 and can hit to 6.36.
    """
    (cut,) = said(capsys, DEMO, "--cut", SPOT, status=0)["cuts"]
    assert (cut["orientation"], cut["cut"], cut["tool"]) == ("V6", "drain spot", "T4")
    answers = by_holder(cut)
    for holder, grid in (("H16", 27.5), ("H11", 21.0), ("H11m", 9.0), ("HS6", 10.0)):
        clear = answers[holder]["least"]["clear"]
        assert grid - 0.5 < clear <= grid, holder
        assert clear == round(clear, 2)
    h11 = answers["H11"]
    assert h11["now"] == 18.0
    assert answers["H16"]["now"] is None
    assert h11["least"]["clear"] == pytest.approx(20.98, abs=0.02)
    assert h11["least"]["not_hits"] == pytest.approx(5.15, abs=0.02)
    assert h11["least"]["cannot_hit"] == pytest.approx(6.36, abs=0.02)
    assert [r["verdict"] for r in h11["ranges"]] == ["hits", "can hit", "tight", "clear"]
    assert h11["ranges"][0]["from"] == 4.0  # the flute
    assert h11["ranges"][-1]["to"] == 54.0  # 66 less twice the shank of 6
    assert h11["limited_by"] in (["nut", "clamp screw L"], ["nut", "clamp screw R"])
    assert h11["grip_left"] == pytest.approx(66.0 - h11["least"]["clear"])
    assert h11["verdict"] == "clear"


def test_that_holders_stand_in_the_order_of_their_bending(capsys: pytest.CaptureFixture[str]) -> None:
    data = said(capsys, DEMO, status=10)
    for item in (*data["cuts"], *data["tools"]):
        bending = [a["bending"] for a in item["answers"]]
        known = [b for b in bending if b is not None]
        assert bending == sorted(known) + [None] * (len(bending) - len(known))
    assert data["cuts"][6]["answers"][0]["holder"] == "HS6"


def test_that_every_cut_and_every_tool_is_answered_for_every_holder(capsys: pytest.CaptureFixture[str]) -> None:
    data = said(capsys, DEMO, status=10)
    assert [(c["orientation"], c["cut"]) for c in data["cuts"]][-1] == ("V7", "low side port")
    assert len(data["cuts"]) == 9
    assert all(len(item["answers"]) == 4 for item in (*data["cuts"], *data["tools"]))
    tools = {t["tool"]: t for t in data["tools"]}
    assert tools["T6"]["cuts"] == [["V5", "bevel port"], ["V6", "drain drill"], ["V7", "low side port"]]
    alone = by_holder(data["cuts"][7])["H11"]["least"]["clear"]
    together = by_holder(tools["T6"])["H11"]
    assert (together["least"]["clear"], together["dictated_by"]) == (alone, ["V6", "drain drill"])
    assert list(tools["T6"]["answers"][0]) == [
        "holder", "now", "least", "ranges", "limited_by", "grip_left", "bending", "limit", "longest_by",
        "length_to_diameter", "rule_of_thumb", "verdict", "why", "dictated_by",
    ]  # fmt: skip
    # the tip stays in the profile however long T1 is: tight at best, and why
    profile = by_holder(data["cuts"][1])["H16"]
    assert (profile["least"]["clear"], profile["bending"], profile["verdict"]) == (None, None, "tight")
    assert profile["limited_by"] == ["cutter", "clamp screw L"]
    assert "tight at best" in profile["why"]


@pytest.mark.parametrize(
    ("numbers", "status", "word"),
    [
        ({"gap": 3.0}, 0, "30.00"),  # the flute
        ({"gap": -1.0}, 0, "52.0"),  # the tip at 10, the post 60 high, and 2 over it
        ({"gap": 3.0, "flute": 8.0}, 20, "can hit at best"),
        ({"gap": 3.0, "retract": 320.0}, 30, "travel"),
    ],
)
def test_that_the_exit_status_is_that_of_the_best_there_is(
    numbers: dict[str, float], status: int, word: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["stickout", str(write_scene(tmp_path, **numbers))]) == status
    text = capsys.readouterr().out
    assert "top hole, T1, now 40.00 in H" in text
    assert word in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--cut", "V6/drain spt"], "no cut 'V6/drain spt' in this scene; expected ORIENTATION/CUT; nearest: V6/drain"),
        (["--cut", "nothing"], "cuts of this scene: V1/pilot"),
        (["--holder", "H12"], "no holder 'H12' in this scene or in the library; nearest: H1"),
    ],
)
def test_that_an_unknown_name_is_a_fault_with_the_nearest(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["stickout", DEMO, *arguments]) == 2
    heard = capsys.readouterr()
    assert heard.out == ""
    assert words in heard.err


def test_that_a_named_holder_that_cannot_grip_is_an_answer_with_its_reason(
    capsys: pytest.CaptureFixture[str],
) -> None:
    data = said(capsys, DEMO, "--holder", "shrink_8_jis30", "--cut", SPOT, status=40)
    (answer,) = data["cuts"][0]["answers"]
    assert answer["why"] == "shrink_8_jis30 grips shanks of 8 mm; that of T4 is 6"
    assert (answer["verdict"], answer["ranges"], answer["least"]["clear"]) == (None, [], None)
    assert main(["stickout", DEMO, "--holder", "shrink_8_jis30", "--cut", SPOT]) == 40
    assert "shrink_8_jis30 grips shanks of 8 mm; that of T4 is 6" in capsys.readouterr().out


def test_that_the_library_adds_only_holders_that_grip_the_shank(capsys: pytest.CaptureFixture[str]) -> None:
    data = said(capsys, DEMO, "--holders", "--cut", SPOT, status=0)
    names = set(by_holder(data["cuts"][0]))
    assert {"H16", "H11", "H11m", "HS6", "collet_11_jis30", "shrink_6_jis30"} <= names
    assert not names & {"shrink_8_jis30", "side_lock_20_hsk63"}
    assert any("interface" in note for note in data["notes"])


def test_that_only_holders_of_the_known_interface_are_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = write_scene(tmp_path, gap=3.0)
    text = file.read_text(encoding="utf-8")
    known = text.replace("H: {profile", 'H: {interface: "7/24 taper 30,  flange by JIS B 6339", profile')
    assert known != text
    file.write_text(known, encoding="utf-8")
    data = said(capsys, str(file), "--holders", status=0)
    names = set(by_holder(data["cuts"][0]))
    assert {"H", "collet_16_jis30", "shrink_6_jis30"} <= names
    assert all(name == "H" or name.endswith("jis30") for name in names)
    assert not any("interface" in note for note in data["notes"])


def test_that_text_names_tools_with_several_cuts_only(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["stickout", DEMO]) == 10
    text = capsys.readouterr().out
    assert "T6 serves V5 bevel port, V6 drain drill, V7 low side port, now 34.00 in H11" in text
    assert "T1 serves" not in text
    assert "V6 drain drill: nut, clamp screw" in text
    assert max(len(line) for line in text.splitlines()) <= 100


def test_that_ctrl_c_keeps_what_is_done_and_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from kinematics.answers import stick_out

    whole = stick_out._Search.answer

    def stopping(search):
        if search.placed.orientation.name == "V2":
            raise KeyboardInterrupt
        return whole(search)

    monkeypatch.setattr(stick_out._Search, "answer", stopping)
    assert main(["stickout", DEMO, "--json"]) == 130
    heard = capsys.readouterr()
    assert "stopped after 2 of 9 cuts" in heard.err
    data = json.loads(heard.out)
    assert [c["cut"] for c in data["cuts"]] == ["pilot", "profile"]
    assert data["tools"] == []


def test_that_a_faulty_holder_of_the_library_is_told_and_the_others_are_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "holders").mkdir()
    file = tmp_path / "holders" / "bad.holder.yaml"
    file.write_text("format: 1\nunits: mm\nprofile: [[20, 30]]\nshanks: [6, 1]\n", encoding="utf-8")
    monkeypatch.setenv("TIGHTSIDE_LIBRARY", str(tmp_path))
    assert main(["stickout", DEMO, "--holders", "--cut", SPOT]) == 0
    heard = capsys.readouterr()
    assert heard.err.startswith(f"{file}:4:")
    assert "[6, 1] is the wrong way round" in heard.err
    assert "collet_11_jis30" in heard.out
