"""Screws, washers and pins against the tables of their standards.

The reference values below were read in restatements of the standards named beside them, not in the paid texts;
what comes from memory says so.
"""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from app.scenes.catalogues import Catalogues
from app.scenes.reader import read_scene_text
from kinematics.shapes import Screw

ROOT = Path(__file__).parent.parent
HARDWARE = ROOT / "shared" / "hardware"
M_SIZES = ("M3", "M4", "M5", "M6", "M8", "M10", "M12")

# ISO 4762, table of dimensions: dk max plain, dk max knurled, k max, s
ISO_4762 = {
    "M3": (5.5, 5.68, 3, 2.5),
    "M4": (7, 7.22, 4, 3),
    "M5": (8.5, 8.72, 5, 4),
    "M6": (10, 10.22, 6, 5),
    "M8": (13, 13.27, 8, 6),
    "M10": (16, 16.27, 10, 8),
    "M12": (18, 18.27, 12, 10),
}
# DIN 7984, table of dimensions: dk, k, s
DIN_7984 = {
    "M3": (5.5, 2, 2),
    "M4": (7, 2.8, 2.5),
    "M5": (8.5, 3.5, 3),
    "M6": (10, 4, 4),
    "M8": (13, 5, 5),
    "M10": (16, 6, 7),
    "M12": (18, 7, 8),
}
# DIN 6912, table of dimensions: dk max, k max, s; begins at M4
DIN_6912 = {
    "M4": (7, 2.8, 3),
    "M5": (8.5, 3.5, 4),
    "M6": (10, 4, 5),
    "M8": (13, 5, 6),
    "M10": (16, 6.5, 8),
    "M12": (18, 7.5, 10),
}
# ISO 4014 and ISO 4017, tables of dimensions: e (least, product grade A), s, k nominal, k max (product grade A);
# the k max column as restated for ISO 4014
HEXAGON = {
    "M3": (6.01, 5.5, 2, 2.125),
    "M4": (7.66, 7, 2.8, 2.925),
    "M5": (8.79, 8, 3.5, 3.65),
    "M6": (11.05, 10, 4, 4.15),
    "M8": (14.38, 13, 5.3, 5.45),
    "M10": (17.77, 16, 6.4, 6.58),
    "M12": (20.03, 18, 7.5, 7.68),
}
# ISO 14580, table of dimensions: dk max as ISO 1207, k max; ends at M10
ISO_14580 = {"M3": (5.5, 2.4), "M4": (7, 3.1), "M5": (8.5, 3.65), "M6": (10, 4.4), "M8": (13, 5.8), "M10": (16, 6.9)}
# ISO 7089, table of dimensions: d2, h nominal, h max
ISO_7089 = {
    "M3": (7, 0.5, 0.55),
    "M4": (9, 0.8, 0.9),
    "M5": (10, 1.0, 1.1),
    "M6": (12, 1.6, 1.8),
    "M8": (16, 1.6, 1.8),
    "M10": (20, 2.0, 2.2),
    "M12": (24, 2.5, 2.7),
}
# ISO 286-2, upper limit of m6 in micrometres, by the largest diameter of the range
M6_UPPER = {3: 8, 6: 12, 10: 15, 18: 18}

STANDARDS = {
    "ISO 4762": M_SIZES,
    "DIN 7984": M_SIZES,
    "DIN 6912": M_SIZES[1:],
    "ISO 4014": M_SIZES,
    "ISO 4017": M_SIZES,
    "ISO 14580": M_SIZES[:-1],
    "ISO 7089": M_SIZES,
    "ISO 8734": ("3", "4", "5", "6", "8", "10", "12"),
    "ISO 2338": ("3", "4", "5", "6", "8", "10", "12"),
}
PINS = ("ISO 8734", "ISO 2338")

SCENE = """\
format: 1
units: mm
title: One piece of hardware
machine: vise_station
workpiece:
  zero: {{rides_on: table, at: [0, 0, 90]}}
  states:
    raw: [{{name: stock, box: [20, 20, 20], at: [0, 30, -20]}}]
bodies:
  - {{name: piece, rides_on: table, at: [200, 0, 0], screw: {{standard: {standard}, size: "{size}"{more}}}}}
tools:
  - {{id: T1, kind: end mill, d: 10, flute: 22, shank: 10, overall: 80, stick_out: 30, holder: collet_16_jis30}}
orientations:
  - name: only
    cuts:
      - {{name: hole, tool: T1, state: raw, hole: {{at: [0, 30, 0], depth: 5}}}}
"""


@cache
def table(standard: str) -> dict[str, dict[str, float]]:
    stem = standard.lower().replace(" ", "_")
    return YAML(typ="safe").load((HARDWARE / f"{stem}.yaml").read_text(encoding="utf-8"))["sizes"]


def screw_in_a_scene(tmp_path: Path, standard: str, size: str, more: str = "") -> Screw:
    """The hardware as a scene gets it."""
    text = SCENE.format(standard=standard, size=size, more=more)
    scene = read_scene_text(text, tmp_path / "a.scene.yaml", catalogues=Catalogues(tmp_path)).scene
    shape = next(body.shape for body in scene.bodies if body.name == "piece")
    assert isinstance(shape, Screw)
    return shape


def test_that_there_is_one_file_for_every_standard_and_no_other():
    files = {file.name for file in HARDWARE.glob("*.yaml")}
    assert files == {standard.lower().replace(" ", "_") + ".yaml" for standard in STANDARDS}


@pytest.mark.parametrize("standard", STANDARDS)
def test_that_a_table_has_the_sizes_that_its_standard_has(standard: str):
    assert tuple(table(standard)) == STANDARDS[standard]


@pytest.mark.parametrize("size", ISO_4762)
def test_that_socket_head_cap_screws_are_as_in_iso_4762(size: str):
    plain, knurled, head_h, key = ISO_4762[size]
    row = table("ISO 4762")[size]
    assert (row["head_d"], row["head_d_knurled"], row["head_h"], row["key"]) == (plain, knurled, head_h, key)


@pytest.mark.parametrize("size", M_SIZES)
def test_that_the_head_of_iso_4762_is_as_high_as_the_thread_is_thick(size: str):
    """ISO 4762: k max = d; a knurled head is wider than a plain one."""
    row = table("ISO 4762")[size]
    assert row["head_h"] == row["shank_d"] == float(size[1:])
    assert row["head_d_knurled"] > row["head_d"]


@pytest.mark.parametrize(("standard", "reference"), [("DIN 7984", DIN_7984), ("DIN 6912", DIN_6912)])
def test_that_low_heads_are_as_in_their_standard(standard: str, reference: dict[str, tuple[float, float, float]]):
    rows = table(standard)
    assert {s: (rows[s]["head_d"], rows[s]["head_h"], rows[s]["key"]) for s in rows} == reference


@pytest.mark.parametrize("standard", ["DIN 7984", "DIN 6912"])
def test_that_a_low_head_is_lower_than_iso_4762_and_no_wider(standard: str):
    for size, row in table(standard).items():
        normal = table("ISO 4762")[size]
        assert row["head_h"] < normal["head_h"]
        assert row["head_d"] <= normal["head_d"]


@pytest.mark.parametrize("standard", ["ISO 4014", "ISO 4017"])
@pytest.mark.parametrize("size", M_SIZES)
def test_that_a_hexagon_is_never_smaller_than_its_standard(standard: str, size: str):
    """Over corners the sharp hexagon of the same width, since e is a least value; k at least the largest of grade A.

    Product grade B allows a higher head; from memory, the grades lie no more than 0.15 mm apart up to M12.
    """
    e, s, k_nominal, k_max = HEXAGON[size]
    row = table(standard)[size]
    assert row["key"] == s
    sharp = 2 * s / math.sqrt(3)
    assert e <= sharp <= row["head_d"] <= sharp + 0.01
    assert k_nominal < k_max <= row["head_h"] <= k_max + 0.15


def test_that_hexagons_of_m10_and_m12_are_16_and_18_across_flats():
    """ISO 4017; the older DIN 933 has 17 and 19."""
    assert [table("ISO 4017")[size]["key"] for size in ("M10", "M12")] == [16, 18]


def test_that_hexalobular_cheese_heads_are_as_in_iso_14580():
    rows = table("ISO 14580")
    assert {size: (rows[size]["head_d"], rows[size]["head_h"]) for size in rows} == ISO_14580


def test_that_washers_have_the_largest_thickness_of_iso_7089():
    rows = table("ISO 7089")
    assert {s: (rows[s]["head_d"], rows[s]["head_h"]) for s in rows} == {s: (d, h) for s, (d, _, h) in ISO_7089.items()}
    assert all(rows[size]["head_h"] > nominal for size, (_, nominal, _) in ISO_7089.items())


@pytest.mark.parametrize("standard", PINS)
def test_that_a_pin_has_the_upper_m6_limit(standard: str):
    for size, row in table(standard).items():
        d = float(size)
        upper = next(um for largest, um in M6_UPPER.items() if d <= largest)
        assert row["head_d"] == pytest.approx(d + upper / 1000, abs=1e-9)


@pytest.mark.parametrize(("standard", "size"), [(s, z) for s in STANDARDS if s not in PINS for z in STANDARDS[s]])
def test_that_a_scene_gets_the_head_of_the_table(tmp_path: Path, standard: str, size: str):
    row = table(standard)[size]
    screw = screw_in_a_scene(tmp_path, standard, size)
    assert screw.head_d == row.get("head_d_knurled", row["head_d"])
    assert screw.head_h == row["head_h"]


@pytest.mark.parametrize("size", M_SIZES)
def test_that_a_plain_head_is_taken_only_when_told(tmp_path: Path, size: str):
    plain, knurled, *_ = ISO_4762[size]
    assert screw_in_a_scene(tmp_path, "ISO 4762", size).head_d == knurled
    assert screw_in_a_scene(tmp_path, "ISO 4762", size, ", plain_head: true").head_d == plain


@pytest.mark.parametrize("standard", PINS)
def test_that_a_pin_stands_out_by_its_length(tmp_path: Path, standard: str):
    """ISO 286-2: 6 m6 is 6.004 to 6.012."""
    pin = screw_in_a_scene(tmp_path, standard, "6", ", length: 14")
    assert (pin.head_d, pin.head_h) == (6.012, 14)


def test_that_every_table_says_where_its_numbers_come_from():
    for file in HARDWARE.glob("*.yaml"):
        head = YAML(typ="safe").load(file.read_text(encoding="utf-8"))
        assert head["standard"] in head["sources"], file.name
        assert "restatement" in head["sources"], file.name
