"""`tightside check --part-off` from its arguments to its exit status, its text and its JSON."""

from __future__ import annotations

import json

import pytest

from app.cli.main import main
from tests.app.cli.checked_samples import json_of, sample_file
from tests.app.cli.test_contract import TOP

DEMO = str(sample_file("sampler_block_b"))


def ways(data: dict, orientation: str, cut: str) -> dict[str, dict]:
    (found,) = (a for a in data["part_off"] if (a["orientation"], a["cut"]) == (orientation, cut))
    assert found["why"] is None
    return {way["way"]: way for way in found["ways"]}


def said(capsys: pytest.CaptureFixture[str], *arguments: str, status: int = 10) -> dict:
    assert main(["check", DEMO, "--part-off", "--json", *arguments]) == status
    return json.loads(capsys.readouterr().out)


def test_that_the_demo_may_be_off_as_far_as_its_normals_say(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand of the demo's numbers: spare 1.55 along (0.474, 0.881) in W: 1.55 / 0.881 to you, 1.55 / 0.474 sideways.

    Three digits of the normal leave 0.02 to the one and 0.06 to the other. V1 profile: 1.31 straight up.
    """
    data = said(capsys)
    spot = ways(data, "V6", "drain spot")
    assert spot["to you"]["most"] == pytest.approx(1.55 / 0.881, abs=0.02)
    assert spot["left"]["most"] == pytest.approx(1.55 / 0.474, abs=0.07)
    assert spot["right"]["most"] == spot["left"]["most"]
    assert spot["away from you"]["free"] and spot["away from you"]["most"] is None
    assert spot["left"]["between"] == ["nut", "clamp screw R"]
    assert spot["right"]["between"] == ["nut", "clamp screw L"]
    profile = ways(data, "V1", "profile")
    assert profile["up"]["most"] == pytest.approx(70.5 - 68.0 - 0.5 - 0.3 - 0.2 - 0.15 - 0.0354, abs=0.02)
    assert all(profile[way]["free"] for way in ("to you", "away from you", "left", "right", "down"))


def test_that_one_key_is_added_and_nothing_else_changes(capsys: pytest.CaptureFixture[str]) -> None:
    data = said(capsys)
    assert list(data) == [*TOP.split(), "part_off"]
    alone = json.loads(json_of("sampler_block_b"))
    assert {key: data[key] for key in alone} == alone
    assert [(a["orientation"], a["cut"]) for a in data["part_off"]] == [
        (c["orientation"], c["cut"]) for c in data["cuts"]
    ]
    for answer in data["part_off"]:
        assert list(answer) == ["orientation", "cut", "ways", "why"]
        for way in answer["ways"]:
            assert list(way) == ["way", "unit", "most", "free", "looked", "exact", "between"]
        assert [w["way"] for w in answer["ways"]] == [
            "to you", "away from you", "left", "right", "up", "down", "counter-clockwise", "clockwise",
        ]  # fmt: skip


def test_that_exact_answers_are_told_on_request(capsys: pytest.CaptureFixture[str]) -> None:
    first, exact = said(capsys), said(capsys, "--exact")
    for name in (("V1", "profile"), ("V6", "drain spot"), ("V2", "+Y pocket")):
        before, after = ways(first, *name), ways(exact, *name)
        assert all(way["exact"] for way in after.values())
        # screws, nuts and blocks are convex: their distance is no less than its tangent, so first order is short
        for way, off in before.items():
            assert after[way]["free"] or off["most"] <= after[way]["most"] + 0.005, (name, way)


def test_that_the_text_says_it_in_the_operators_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", DEMO, "--part-off"]) == 10
    text = capsys.readouterr().out
    assert "HOW FAR THE PART MAY BE OFF" in text
    assert "V1 profile: Part may be off: 1.3 up, free to you, away from you, left, right or down." in text
    assert max(len(line) for line in text.splitlines()) <= 100
    assert "To first" in text


def test_that_exact_alone_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", DEMO, "--exact"]) == 2
    assert "--exact: belongs to --part-off" in capsys.readouterr().err


def test_that_nothing_is_told_of_a_part_that_hits(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(sample_file("sampler_block_a")), "--part-off"]) == 30
    assert "V2 +Y pocket: Part may not be off at all: the spare is used up." in capsys.readouterr().out
