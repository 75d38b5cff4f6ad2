"""The second opinion of `tightside check`: on unless refused, in text and JSON, and its verdict where it disagrees."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from app.cli.main import main
from app.jobs.check import check_scene, whole_check
from app.jobs.words import second_opinion
from app.scenes.reader import read_scene
from kinematics.cut_pairs import CutPairs, Measured, Pair
from kinematics.report import Interval, SecondOpinion
from kinematics.swing_clearance import _Check
from tests.app.cli.checked_samples import SAMPLES, checked, json_of, text_of
from tests.app.cli.small_scenes import write_scene
from tests.truth.test_real_parts import FOLDER, SCENE, needs_parts

Out = pytest.CaptureFixture[str]


@pytest.fixture
def flattered(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first engine finds 0.05 mm too much between the nut and the post."""
    measure = CutPairs.measure

    def measured(self: CutPairs, pair: Pair, far: float) -> Any:
        right = measure(self, pair, far)
        if right is None or (pair.part.name, pair.target.name) != ("nut", "post"):
            return right
        wrong = [replace(a, at_least=a.at_least + 0.05, value=a.value + 0.05) for a in (right.exact, right.swept)]
        return Measured(*wrong)

    monkeypatch.setattr(CutPairs, "measure", measured)


def run(capsys: Out, scene: Path, *options: str) -> tuple[int, dict[str, Any]]:
    status = main(["check", str(scene), "--json", *options])
    return int(status), json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("sample", SAMPLES)
def test_that_every_sample_has_a_second_opinion_that_agrees(sample: str) -> None:
    assert json.loads(json_of(sample))["second_opinion"] == "agrees"
    assert "SECOND OPINION: agrees\n" in text_of(sample)
    check = checked(sample)
    results = (*check.cuts, *check.links, *check.swings)
    assert {r.second_opinion for r in results if hasattr(r, "second_opinion")} == {SecondOpinion.AGREES}


@pytest.mark.usefixtures("flattered")
def test_that_a_disagreement_is_told_with_both_numbers_and_is_not_checked(tmp_path: Path, capsys: Out) -> None:
    scene = write_scene(tmp_path, gap=3.0)
    status, report = run(capsys, scene)
    assert (status, report["verdict"], report["second_opinion"]) == (40, "not checked", "disagrees")
    (item,) = report["not_checked"]
    assert item["what"].endswith(": nut - post")
    assert item["why"].startswith("the exact engine finds 3.05")
    assert "the mesh engine 2.99" in item["why"] or "the mesh engine 3.00" in item["why"]
    assert main(["check", str(scene)]) == 40
    text = " ".join(capsys.readouterr().out.split())
    assert "SECOND OPINION: disagrees at top hole; what it disagrees with is not checked" in text
    assert "the exact engine finds 3.05" in text


@pytest.mark.usefixtures("flattered")
def test_that_it_can_be_refused_and_the_report_says_so(tmp_path: Path, capsys: Out) -> None:
    scene = write_scene(tmp_path, gap=3.0)
    status, report = run(capsys, scene, "--no-second-opinion")
    assert (status, report["verdict"], report["second_opinion"]) == (0, "clear", "off")
    assert report["not_checked"] == []
    main(["check", str(scene), "--no-second-opinion"])
    assert "SECOND OPINION: off, no clearance was found again by other means\n" in capsys.readouterr().out


def test_that_a_swing_that_is_found_to_be_wrong_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    report: Callable[[Any], Any] = _Check.report

    def wrong(self: Any) -> Any:
        right = report(self)
        return replace(right, clearance=Interval(90.0, 99.0), spare=90.0) if right.end == "V2" else right

    monkeypatch.setattr(_Check, "report", wrong)
    scene_file = read_scene(Path(checked("sampler_block_b").scene_file.path))
    check = whole_check(scene_file, list(check_scene(scene_file)))
    assert check.second_opinion is SecondOpinion.DISAGREES
    assert [item.what for item in check.not_checked] == ["swing V1 > V2"]
    assert second_opinion(check).startswith("disagrees at swing V1 > V2; ")


@needs_parts
@pytest.mark.parametrize("part", ["featuretype.STEP", "featuretype.STL"])
def test_that_it_agrees_on_real_parts(part: str, tmp_path: Path, capsys: Out) -> None:
    shutil.copy(Path(FOLDER or "") / part, tmp_path / part)
    unit = "" if part.endswith("STEP") else "units: inch, "
    scene = tmp_path / "real.scene.yaml"
    mesh = f"{{file: {part}, {unit}from: base_centre}}"
    scene.write_text(SCENE.format(mesh=mesh, top="[10, 0, 30]", back="[20, 31.75, 12]"), encoding="utf-8")
    _, report = run(capsys, scene)
    assert report["second_opinion"] == "agrees"
    assert report["not_checked"] == []
