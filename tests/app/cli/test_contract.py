"""The JSON of `check --json` is a contract: which keys there are, in which order, of which kind."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from app.cli.main import main
from tests.app.cli.checked_samples import SAMPLES, json_of
from tests.app.cli.small_scenes import write_scene

# The contract, written out by hand from the design of the project; the order of keys counts.
TOP = """
    format program scene input_sha256 verdict second_opinion cuts links swings work_offsets not_checked not_modelled
    assumed left_out
"""
SWING = """
    from to verdict proven_enough normal_w side clock part_side clearance contact spare keep_off setup_error between
    tool points_w at_angles lift_gauge_z least_lift_gauge_z
"""
OFFSET = "orientation workpiece w control angles_control"
CUT = """
    orientation cut workpiece tool holder angles verdict clearance contact spare keep_off setup_error between ties
    points_w points_p normal_w side clock hidden_from_operator part_side above_platter at_tip_p next depth travel
"""

VERDICT = {"enum": ["clear", "tight", "not checked", "can hit", "hits"]}
NAME = {"type": "string", "minLength": 1}
NUMBER = {"type": "number"}
MAYBE_NUMBER = {"type": ["number", "null"]}
MAYBE_NAME = {"type": ["string", "null"]}
NAMES = {"type": "array", "items": NAME}
POINT = {"type": "array", "items": NUMBER, "minItems": 3, "maxItems": 3}
POINTS = {"type": ["array", "null"], "items": POINT, "minItems": 2, "maxItems": 2}
PAIR = {"type": "array", "items": NAME, "minItems": 2, "maxItems": 2}
SPAN = {"type": "array", "items": NUMBER, "minItems": 2, "maxItems": 2}


def an_object(keys: dict[str, Any], *, maybe: bool = False) -> dict[str, Any]:
    kind = ["object", "null"] if maybe else "object"
    return {"type": kind, "properties": keys, "required": list(keys), "additionalProperties": False}


TERMS = an_object(dict.fromkeys(("location", "body_model", "diameters", "stick_out", "tilt"), NUMBER))
AXIS = an_object({"reached": SPAN, "left": SPAN})
CUT_KINDS = {
    "orientation": NAME,
    "cut": NAME,
    "workpiece": MAYBE_NAME,
    "tool": NAME,
    "holder": NAME,
    "angles": {"type": "object", "additionalProperties": NUMBER},
    "verdict": VERDICT,
    "clearance": an_object({"at_least": NUMBER, "value": NUMBER}, maybe=True),
    "contact": {"enum": [None, "overlap", "inside"]},
    "spare": MAYBE_NUMBER,
    "keep_off": MAYBE_NUMBER,
    "setup_error": an_object({"total": NUMBER, "rss": NUMBER, "terms": TERMS}, maybe=True),
    "between": {**PAIR, "type": ["array", "null"]},
    "ties": {"type": "array", "items": PAIR},
    "points_w": POINTS,
    "points_p": POINTS,
    "normal_w": {**POINT, "type": ["array", "null"]},
    "side": MAYBE_NAME,
    "clock": {"type": ["integer", "null"], "minimum": 1, "maximum": 12},
    "hidden_from_operator": {"type": ["boolean", "null"]},
    "part_side": {"enum": [None, "+X", "-X", "+Y", "-Y", "+Z", "-Z"]},
    "above_platter": MAYBE_NUMBER,
    "at_tip_p": {**POINT, "type": ["array", "null"]},
    "next": {
        "type": "array",
        "items": an_object({"between": PAIR, "at_least": MAYBE_NUMBER, "value": MAYBE_NUMBER, "spare": MAYBE_NUMBER}),
    },
    "depth": an_object({"verdict": VERDICT, "needs": NUMBER, "has": NUMBER}, maybe=True),
    "travel": an_object({"verdict": VERDICT, "x": AXIS, "y": AXIS, "z": AXIS, "least_left": NUMBER}, maybe=True),
}
SWING_KINDS = {
    "from": NAME,
    "to": NAME,
    "verdict": VERDICT,
    "proven_enough": {"type": "boolean"},
    **{key: CUT_KINDS[key] for key in ("normal_w", "side", "clock", "part_side", "clearance", "contact", "spare")},
    **{key: CUT_KINDS[key] for key in ("keep_off", "setup_error", "between", "points_w")},
    "tool": MAYBE_NAME,
    "at_angles": {"type": ["object", "null"], "additionalProperties": NUMBER},
    "lift_gauge_z": MAYBE_NUMBER,
    "least_lift_gauge_z": MAYBE_NUMBER,
}
OFFSET_KINDS = {
    "orientation": NAME,
    "workpiece": MAYBE_NAME,
    "w": POINT,
    "control": {**POINT, "type": ["array", "null"]},
    "angles_control": {"type": "object", "additionalProperties": NUMBER},
}
CHECK_KINDS = {
    "format": {"const": 1},
    "program": {"type": "string", "pattern": r"^tightside \d+\.\d+\.\d+$"},
    "scene": NAME,
    "input_sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
    "verdict": VERDICT,
    "second_opinion": {"enum": ["agrees", "disagrees", "off"]},
    "cuts": {"type": "array", "items": an_object(CUT_KINDS)},
    "links": {"type": "array", "items": an_object({"orientation": NAME, **SWING_KINDS})},
    "swings": {"type": "array", "items": an_object(SWING_KINDS)},
    "work_offsets": {"type": "array", "items": an_object(OFFSET_KINDS)},
    "not_checked": {"type": "array", "items": an_object({"what": NAME, "why": NAME})},
    "not_modelled": NAMES,
    "assumed": NAMES,
    "left_out": {"type": "array", "items": an_object({"what": NAME, "why": NAME})},
}


@pytest.mark.parametrize("sample", SAMPLES)
def test_that_the_json_of_every_sample_keeps_the_contract(sample: str) -> None:
    said = json_of(sample)
    assert said.isascii()
    data = json.loads(said)
    Draft202012Validator(an_object(CHECK_KINDS)).validate(data)
    assert list(data) == TOP.split()
    assert [list(cut) for cut in data["cuts"]] == [CUT.split()] * len(data["cuts"])
    assert [list(swing) for swing in data["swings"]] == [SWING.split()] * len(data["swings"])
    assert [list(link) for link in data["links"]] == [["orientation", *SWING.split()]] * len(data["links"])
    assert [list(offset) for offset in data["work_offsets"]] == [OFFSET.split()] * len(data["work_offsets"])
    for cut in data["cuts"]:
        interval, terms = cut["clearance"], cut["setup_error"]
        assert interval["at_least"] <= interval["value"]
        assert sum(terms["terms"].values()) == pytest.approx(terms["total"], abs=5e-4)
        assert len(cut["next"]) <= 5
        first, second = (tuple(p) for p in cut["points_w"])
        if interval["at_least"] > 0:
            # the ends of the gap are as far apart as it says, and the normal points from the tool to the body
            apart = [b - a for a, b in zip(first, second, strict=True)]
            length = sum(v * v for v in apart) ** 0.5
            assert interval["at_least"] - 1e-3 <= length <= interval["value"] + 1e-3
            assert sum(a * n for a, n in zip(apart, cut["normal_w"], strict=True)) == pytest.approx(length, abs=1e-3)


@pytest.mark.parametrize("sample", SAMPLES)
def test_that_the_two_ends_of_a_clearance_are_as_close_as_the_readme_says(sample: str) -> None:
    """0.01 mm apart in a cut, for STEP by the chord tolerance more; the JSON rounds each end by up to 0.0001."""
    chord = 0.01 if sample == "lamp_bracket" else 0.0
    for cut in json.loads(json_of(sample))["cuts"]:
        for interval in (cut["clearance"], *cut["next"]):
            assert interval["value"] - interval["at_least"] <= 0.01 + chord + 0.0002, cut["cut"]


def test_that_what_is_not_there_is_null_and_never_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from app.jobs import check as job
    from kinematics.errors import EngineError

    def failing(*_: object, **__: object) -> None:
        raise EngineError("no number")

    monkeypatch.setattr(job, "check_cut", failing)
    main(["check", str(write_scene(tmp_path, gap=3.0)), "--json"])
    data = json.loads(capsys.readouterr().out)
    Draft202012Validator(an_object(CHECK_KINDS)).validate(data)
    cut = data["cuts"][0]
    assert list(cut) == CUT.split()
    known = {key for key, value in cut.items() if value not in (None, [])}
    assert known == {"orientation", "cut", "tool", "holder", "verdict", "angles"}
    assert cut["verdict"] == data["verdict"] == "not checked"
