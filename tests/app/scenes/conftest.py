"""What the tests of scene reading share: no library but the program's own, and small scenes to change."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.scenes.catalogues import LIBRARY_VARIABLE

SMALL_SCENE = """\
format: 1
units: mm
title: Small
machine:
  title: Plain table with one rotary
  linear_axes: {x: {limits: [-200, 200], moves: head}, y: {limits: [-125, 125], moves: head}, z: {limits: [50, 400], moves: head}}
  table_axes: [{name: tilt, letter: A, carries: cradle, origin: [0, 0, 80], axis: [1, 0, 0], limits: [-15, 115]}]
  spindle: {nose: [[60, 25]]}
workpiece:
  zero: {rides_on: block, at: [0, 0, 30]}
  states:
    raw: [{name: stock, box: [40, 34, 30], at: [0, 0, -30]}]
bodies:
  - {name: block, rides_on: cradle, box: [60, 60, 20]}
holders: {H: {profile: [[28, 22, nut], [46, 20]]}}
tools:
  - {id: T1, kind: end mill, d: 10, flute: 22, shank: 10, overall: 80, stick_out: 30, holder: H}
orientations:
  - name: V1
    tilt: 0
    cuts:
      - {name: port, tool: T1, state: raw, hole: {at: [0, 0, 0], depth: 10}}
"""  # noqa: E501  # one line of the file is one line here


@pytest.fixture(autouse=True)
def no_own_library(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """What the person who runs the tests keeps in a library must not change them."""
    monkeypatch.setenv(LIBRARY_VARIABLE, str(tmp_path / "library"))


@pytest.fixture
def small_scene() -> str:
    return SMALL_SCENE
