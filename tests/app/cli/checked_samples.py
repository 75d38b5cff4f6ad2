"""Every sample set-up, checked once for all tests of what is printed about it."""

from __future__ import annotations

import contextlib
import io
from functools import cache
from pathlib import Path

from app.cli.output import print_check, print_check_json
from app.jobs.check import check_scene, whole_check
from app.jobs.results import Check
from app.scenes.reader import read_scene

ROOT = Path(__file__).parents[3]
SAMPLES = tuple(sorted(file.parent.name for file in (ROOT / "sample_scenes").glob("*/*.scene.yaml")))


def sample_file(name: str) -> Path:
    return ROOT / "sample_scenes" / name / f"{name}.scene.yaml"


@cache
def checked(name: str) -> Check:
    scene_file = read_scene(sample_file(name))
    return whole_check(scene_file, list(check_scene(scene_file)))


def text_of(name: str) -> str:
    """What `tightside check` prints."""
    with contextlib.redirect_stdout(io.StringIO()) as said:
        print_check(checked(name))
    return said.getvalue()


def json_of(name: str) -> str:
    """What `tightside check --json` prints."""
    with contextlib.redirect_stdout(io.StringIO()) as said:
        print_check_json(checked(name))
    return said.getvalue()
