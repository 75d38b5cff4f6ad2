"""The tightest cut of every sample set-up, found once for all tests of what is drawn of it."""

from __future__ import annotations

from functools import cache

from app.jobs.picture import tightest_cut
from app.scenes.reader import read_scene
from kinematics.prepared import Prepared
from kinematics.report import CutReport
from kinematics.scene import Cut, Orientation
from tests.app.cli.checked_samples import sample_file


@cache
def tightest_place(name: str) -> tuple[Prepared, Orientation, Cut, CutReport]:
    prepared = Prepared(read_scene(sample_file(name)).scene)
    orientation, cut, result = tightest_cut(prepared)
    assert isinstance(result, CutReport)
    return prepared, orientation, cut, result
