"""`tightside whatif` from its arguments to its exit status, its text and its JSON.

What must come out stands in the demo's README: computed twice, by two independent programs (support functions over a
refined sphere; swept hulls), wanted to 0.02 mm.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.cli.main import main
from app.jobs import whatif
from tests.app.cli.checked_samples import sample_file
from tests.app.cli.small_scenes import write_scene

DEMO = str(sample_file("sampler_block_b"))
SPOT = ("--cut", "V6/drain spot")


def said(capsys: pytest.CaptureFixture[str], *arguments: str, status: int, scene: str = DEMO) -> dict:
    assert main(["whatif", scene, *arguments, "--json"]) == status
    return json.loads(capsys.readouterr().out)


def values_of(data: dict, dial: int = 0) -> dict:
    return {value["value"]: value for value in data["dials"][dial]["values"]}


def text_of(capsys: pytest.CaptureFixture[str], *arguments: str, status: int, scene: str = DEMO) -> str:
    assert main(["whatif", scene, *arguments]) == status
    text = capsys.readouterr().out
    assert max(len(line) for line in text.splitlines()) <= 100
    return text


# ---- what must come out ----------------------------------------------------------------------------


def test_that_the_riser_is_waste(capsys: pytest.CaptureFixture[str]) -> None:
    """The worst spare stays 1.31 from 10 to 88; farthest Y -46 at 10, -76 at 40, -124 at 88; out of travel at 90."""
    data = said(capsys, "--vary", "riser/h=10,25,40,88,90", "--ranges", status=10)
    values = values_of(data)
    assert [v["spare"] for v in values.values()] == pytest.approx([1.31] * 5, abs=0.02)
    for height, y in ((10, -46.0), (40, -76.0), (88, -124.0)):
        value = values[height]
        assert (value["verdict"], value["orientation"], value["cut"]) == ("tight", "V1", "profile")
        assert value["between"][0] == "cutter"
        assert value["travel"]["axis"] == "y"
        assert value["travel"]["reached"] == pytest.approx(y, abs=0.02)
    out = values[90]
    assert (out["verdict"], out["cause"], out["travel"]["verdict"]) == ("hits", "travel", "hits")
    assert "Y -126.00 is outside -125..125 by 1.00 mm" in out["why"]
    tight, hits = data["dials"][0]["ranges"]
    assert (tight["from"], tight["verdict"], hits["to"], hits["verdict"]) == (10.0, "tight", 90.0, "hits")
    assert tight["to"] == hits["from"] == pytest.approx(89.0, abs=0.02)  # by hand: -36 - h is the limit of -125


def test_that_a_part_that_is_raised_has_more_room(capsys: pytest.CaptureFixture[str]) -> None:
    """Raising the part by 1 mm: worst spare 1.31 -> 2.31."""
    values = values_of(said(capsys, "--raise-part", "0,1", status=0))
    assert [values[0.0]["spare"], values[1.0]["spare"]] == pytest.approx([1.31, 2.31], abs=0.02)


def test_that_a_fixture_that_turns_under_the_part_comes_out_as_the_demo_says(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """V6 drain spot: spare 5.77 at 90, 4.73 at 180, 2.83 at 270 (stop pin); V2 4.45 at 270 (stop pin)."""
    values = values_of(said(capsys, "--turn-fixture", "0:270:90", *SPOT, status=0))
    assert [v["spare"] for v in values.values()] == pytest.approx([1.55, 5.77, 4.73, 2.83], abs=0.02)
    assert values[270.0]["between"] == ["nut", "stop pin"]
    values = values_of(said(capsys, "--turn-fixture", "270", "--cut", "V2/+Y pocket", status=0))
    assert values[270.0]["spare"] == pytest.approx(4.45, abs=0.02)
    assert values[270.0]["between"] == ["nut", "stop pin"]


def test_that_half_a_turn_of_the_fixture_is_set_up_d(capsys: pytest.CaptureFixture[str]) -> None:
    """The column of D, spare of each cut."""
    wanted = {
        "V1/profile": 1.31, "V2/+Y pocket": 8.81, "V3/+X pocket": 9.24, "V4/-Y pocket": 6.86,
        "V6/drain spot": 4.73, "V6/drain drill": 4.73, "V7/low side port": 6.48,
    }  # fmt: skip
    for cut, spare in wanted.items():
        status = 10 if cut == "V1/profile" else 0
        values = values_of(said(capsys, "--turn-fixture", "180", "--cut", cut, status=status))
        assert values[180.0]["spare"] == pytest.approx(spare, abs=0.02), cut


def test_that_other_screws_are_set_up_c(capsys: pytest.CaptureFixture[str]) -> None:
    """The column of C: tight 1.31 becomes clear 2.31; V2 4.86, V6 drain spot 3.29, drain drill 3.94."""
    values = values_of(said(capsys, "--screws", "DIN 7984", status=0))
    assert (values["as it is"]["verdict"], values["DIN 7984"]["verdict"]) == ("tight", "clear")
    assert values["DIN 7984"]["spare"] == pytest.approx(2.31, abs=0.02)
    for cut, spare in (("V2/+Y pocket", 4.86), ("V6/drain spot", 3.29), ("V6/drain drill", 3.94)):
        values = values_of(said(capsys, "--screws", "DIN 7984", "--cut", cut, status=0))
        assert values["DIN 7984"]["spare"] == pytest.approx(spare, abs=0.02), cut


def test_that_other_holders_are_set_up_a(capsys: pytest.CaptureFixture[str]) -> None:
    """The column of A: in H16 the spot drill overlaps, -2.95."""
    data = said(capsys, "--holder", "T4", *SPOT, "--best", status=0)
    values = values_of(data)
    assert list(values) == ["H16", "H11", "H11m", "HS6"]
    assert values["H16"]["spare"] == pytest.approx(-2.95, abs=0.02)
    assert values["H16"]["verdict"] == "hits"
    assert values["H11"]["spare"] == pytest.approx(1.55, abs=0.02)
    assert (data["dials"][0]["now"], data["dials"][0]["best"]) == ("H11", "HS6")


def test_that_a_tool_re_aimed_past_90_comes_out_as_the_demo_says(capsys: pytest.CaptureFixture[str]) -> None:
    """H11 at stick-out 18 is clear up to tilt 103.25, has spare > 0 up to 110.5, and touches at about 113.

    That was looked for on a grid of a quarter of a degree, so an end lies between it and the next one.
    """
    data = said(capsys, "--re-aim", "V6/tilt=90:120:10", *SPOT, "--ranges", status=0)
    ranges = data["dials"][0]["ranges"]
    assert [r["verdict"] for r in ranges] == ["clear", "tight", "can hit", "hits"]
    clear, above_zero, free = (r["to"] for r in ranges[:3])
    assert 103.25 <= clear < 103.5
    assert 110.5 <= above_zero < 110.75
    assert free == pytest.approx(113.0, abs=0.25)
    # at each end a check says so: both sides, a fiftieth of a degree apart
    around = ",".join(f"{end + by:.2f}" for end in (clear, above_zero) for by in (-0.01, 0.01))
    values = values_of(said(capsys, "--re-aim", f"V6/tilt={around}", *SPOT, status=0))
    assert [v["verdict"] for v in values.values()] == ["clear", "tight", "tight", "can hit"]


def test_that_the_ranges_of_a_stick_out_are_those_of_stickout(capsys: pytest.CaptureFixture[str]) -> None:
    """T4 in H11 hits below 5.15, can hit to 6.36 and is clear from 20.98 on; `stickout` finds them by another way."""
    data = said(capsys, "--vary", "T4/stick_out=4:54:50", *SPOT, "--ranges", status=0)
    ranges = data["dials"][0]["ranges"]
    assert [r["verdict"] for r in ranges] == ["hits", "can hit", "tight", "clear"]
    assert [r["to"] for r in ranges[:3]] == pytest.approx([5.15, 6.36, 20.98], abs=0.02)


# ---- what is said ----------------------------------------------------------------------------------


def test_that_the_json_has_the_keys_of_the_contract(capsys: pytest.CaptureFixture[str]) -> None:
    data = said(capsys, "--vary", "riser/h=30:40:10", status=10)
    assert list(data) == ["dials", "left_out", "cancelled"]
    assert (data["left_out"], data["cancelled"]) == (["links and swings"], None)
    (dial,) = data["dials"]
    assert list(dial)[:2] == ["name", "values"]
    assert (dial["name"], dial["unit"], dial["now"], dial["ranges"]) == ("riser/h", "mm", 40.0, None)
    assert list(dial["values"][0])[:7] == ["value", "verdict", "spare", "orientation", "cut", "between", "travel"]
    assert list(dial["values"][0]["travel"])[:2] == ["verdict", "least_left"]
    assert dial["values"][0]["travel"]["least_left"] == 59.0


def test_that_the_best_value_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    text = text_of(capsys, "--raise-part", "-1:2:1", "--best", "--ranges", status=0)
    assert "part raised, mm, now 0" in text
    assert "best 1 [|   |] clear" in text
    assert "Best: part raised 1, clear, worst spare 2.31 (nut, stock); one more is as good" in text
    assert "proven for all values between" in text
    assert "LEFT OUT: links and swings" in text
    assert "This report is an aid" in text


def test_that_inches_are_asked_and_told_as_inches_and_written_as_mm(capsys: pytest.CaptureFixture[str]) -> None:
    scene = str(sample_file("clamp_block_inch"))
    arguments = ("--raise-part", "0:0.25:0.25", "--cut", "top/clamp slot")
    assert "part raised, inch, now 0" in text_of(capsys, *arguments, status=0, scene=scene)
    data = said(capsys, *arguments, status=0, scene=scene)
    assert list(values_of(data)) == [0.0, 6.35]
    assert data["dials"][0]["unit"] == "mm"


def test_that_swings_are_counted_where_they_are_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    data = said(capsys, "--vary", "riser/h=40", "--swings", "--cut", "V6/drain drill", status=0)
    assert data["left_out"] == []
    assert data["dials"][0]["values"][0]["swing"]["verdict"] == "clear"
    assert "links and swings too" in text_of(capsys, "--vary", "riser/h=40", "--swings", status=10)


def test_that_dials_are_turned_one_at_a_time(capsys: pytest.CaptureFixture[str]) -> None:
    data = said(
        capsys, "--vary", "riser/h=20", "--shift-part", "x=-1,1", "--screws", "clamp screw L=M5", "--order",
        "V1,V2,V3,V4,V5,V7,V6", "--tool", "T1", "--tool", "T2", status=10,
    )  # fmt: skip
    assert [d["name"] for d in data["dials"]] == ["riser/h", "part shifted x", "screws clamp screw L", "order"]
    assert [len(d["values"]) for d in data["dials"]] == [1, 2, 2, 2]


@pytest.mark.parametrize(
    ("numbers", "at", "status"),
    [({"gap": 3.0}, "0", 0), ({"gap": 3.0}, "-1.5", 10), ({"gap": 3.0}, "-4", 30), ({"gap": 3.0}, "-4,0", 0),
     ({"gap": 3.0, "body_model": 1.5}, "-2", 20)],
)  # fmt: skip
def test_that_the_exit_status_is_that_of_the_best_value(
    numbers: dict[str, float], at: str, status: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The post stands `gap` from the nut; the part and the nut with it are shifted away from it by so much."""
    scene = str(write_scene(tmp_path, **numbers))
    away = ",".join(f"{-float(v):g}" for v in at.split(","))
    said(capsys, "--shift-part", f"y={away}", status=status, scene=scene)


def test_that_a_value_without_a_scene_is_not_checked(capsys: pytest.CaptureFixture[str]) -> None:
    text = text_of(capsys, "--vary", "riser/h=-5", status=40)
    assert "[# ? :] not checked" in text
    assert "at -5: riser/h: -5 mm is out of reason".replace("at -5", "at \N{MINUS SIGN}5") in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--vary", "risr/h=1:2:1"], "--vary risr/h=1:2:1: nothing is called 'risr/h'; nearest: riser/h"),
        (["--vary", "riser/h"], "expected PATH=VALUES, as riser/h=10:80:10"),
        (
            ["--vary", "riser/h=80:10:10"],
            "the range '80:10:10' is empty: its step does not lead to its end; nearest: 80",
        ),
        (["--vary", "riser/h=10:10"], "the range '10:10' is empty; expected two ends, or one value: 10"),
        (["--vary", "riser/h=10:80:0"], "the range '10:80:0' is empty"),
        (["--vary", "riser/h=10:x"], "'x' is not a number; expected FROM:TO:STEP or A,B,C"),
        (["--vary", "riser/h=0:1e7:1"], "10000001 values; expected at most 2000"),
        (["--vary", "T4/holder=H12"], "no holder 'H12' in this scene or in the library; nearest: H1"),
        (["--turn-fixture", "-90:90:30:2"], "'-90:90:30:2' is no range; expected FROM:TO:STEP"),
        (["--turn-fixture", "dovetail=0:90:10"], "no group 'dovetail' in this scene; nearest: dovetail fixture"),
        (["--screws", "DIN 7985"], "--screws DIN 7985: 'DIN 7985' is no screw; expected a standard, a size, or both"),
        (["--screws", "M55"], "'M55' is no screw; expected a standard, a size, or both; nearest: M5"),
        (["--screws", "clamp=DIN 7984"], "no screw 'clamp' in this scene"),
        (["--holder", "T44"], "--holder T44: no tool 'T44' in this scene; nearest: T4"),
        (["--re-aim", "V6/tlt=1:2"], "no angle 'V6/tlt'; nearest: V6/tilt"),
        (["--shift-part", "1:2"], "expected x, y or z and values, as x=-2:2:0.5"),
        (["--order", "V1,V2"], "expected each of V1, V2, V3, V4, V5, V6, V7 once"),
        (["--other-solution"], "no other position of the table within its travel aims the tool alike"),
        (["--vary", "riser/h=1:2", "--cut", "V6/spot"], "no cut 'V6/spot' in this scene; expected ORIENTATION/CUT"),
        (["--vary", "riser/h=1:2", "--tool", "T3"], "no tool 'T3' makes a cut in this scene; tools of this scene: T1"),
        ([], "nothing to turn; expected a dial, as --vary riser/h=10:80:10"),
    ],
)
def test_that_nonsense_is_told_with_the_nearest_right_thing(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["whatif", DEMO, *arguments]) == 2
    heard = capsys.readouterr()
    assert heard.out == ""
    assert words in heard.err
    assert "Traceback" not in heard.err


def test_that_ctrl_c_keeps_what_is_done_and_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    whole = whatif.dial_values

    def stopping(*arguments, **options) -> Iterator[whatif.DialValue]:
        for n, value in enumerate(whole(*arguments, **options)):
            if n == 2:
                raise KeyboardInterrupt
            yield value

    monkeypatch.setattr(whatif, "dial_values", stopping)
    arguments = ["whatif", DEMO, "--vary", "riser/h=10:80:10", "--ranges"]
    assert main([*arguments, "--json"]) == 130
    heard = capsys.readouterr()
    assert "cancelled after 2 of 8 values; what was done is reported" in heard.err
    data = json.loads(heard.out)
    assert data["cancelled"] == "after 2 of 8 values"
    assert list(values_of(data)) == [10.0, 20.0]
    assert data["dials"][0]["ranges"] == []
    assert main(arguments) == 130
    text = capsys.readouterr().out
    assert "CANCELLED after 2 of 8 values" in text
    assert "No ranges: stopped before they were known" in text
