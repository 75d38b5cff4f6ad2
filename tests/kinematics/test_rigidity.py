"""Deflection of a stepped cantilever against a table computed by hand from F L^3 / (3 E I) and its laws."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from kinematics.assembly import tool_assembly
from kinematics.rigidity import Beam, holder_beams, tip_deflection, tool_beams
from kinematics.scene import Holder, HolderStep, Tool

FORCE = 100.0  # N, of every row of the table


def bar(d: float, length: float, gpa: float = 600.0) -> Beam:
    return Beam(length, d, d, gpa)


@pytest.mark.parametrize(
    ("beams", "micrometres"),
    [
        ([bar(10, 30)], 3.056),
        ([bar(10, 40)], 7.243),
        ([bar(10, 50)], 14.147),
        ([bar(10, 30, 210)], 8.731),
        ([bar(6, 18)], 5.093),
        ([bar(6, 30)], 23.579),
        ([bar(12, 48, 580)], 6.244),
        ([bar(8, 20), bar(10, 30)], 15.452),
        ([bar(5.5, 25), bar(6, 15)], 61.570),
    ],
)
def test_that_a_stepped_bar_gives_way_as_the_table_says(beams: list[Beam], micrometres: float) -> None:
    assert 1000 * tip_deflection(beams, FORCE) == pytest.approx(micrometres, abs=6e-4)


@pytest.mark.parametrize(("longer", "times"), [((2, 3), 3.375), ((3, 4), 2.370), ((3, 5), 4.630), ((2, 4), 8.0)])
def test_that_length_counts_to_the_third_power(longer: tuple[int, int], times: float) -> None:
    short, long = (tip_deflection([bar(10, 10 * ratio)], FORCE) for ratio in longer)
    assert long / short == pytest.approx(times, abs=5e-4)


def test_that_a_quarter_more_diameter_more_than_halves_the_deflection() -> None:
    thin, thick = tip_deflection([bar(8, 40)], FORCE), tip_deflection([bar(10, 40)], FORCE)
    assert thick / thin == pytest.approx(1 - 0.590, abs=5e-4)
    assert tip_deflection([bar(8, 40)], 1) / tip_deflection([bar(10, 40)], 1) == pytest.approx(1 / 0.41, abs=5e-3)


lengths = st.floats(0.1, 100)
diameters = st.floats(0.5, 60)


@given(st.lists(st.tuples(lengths, diameters, diameters), min_size=1, max_size=5))
def test_that_cones_give_way_as_numerical_integration_says(steps: list[tuple[float, float, float]]) -> None:
    beams = [Beam(length, d1, d2, 600.0) for length, d1, d2 in steps]
    expected, x0 = 0.0, 0.0
    for length, d1, d2 in steps:

        def curvature(x: float, x0: float = x0, length: float = length, d1: float = d1, d2: float = d2) -> float:
            d = d1 + (d2 - d1) * (x - x0) / length
            return x * x / (600e3 * math.pi * d**4 / 64)

        expected += quad(curvature, x0, x0 + length, epsabs=0, epsrel=1e-10, limit=200)[0]
        x0 += length
    assert tip_deflection(beams, 1.0) == pytest.approx(expected, rel=1e-7)


@given(lengths, diameters, diameters, st.floats(0.05, 0.95), st.floats(0, 50))
def test_that_cutting_a_bar_in_two_changes_nothing(
    length: float, d1: float, d2: float, share: float, below: float
) -> None:
    d = d1 + (d2 - d1) * share
    tip = [bar(9, below)] if below > 0.1 else []
    whole = [*tip, Beam(length, d1, d2, 210)]
    halves = [*tip, Beam(length * share, d1, d, 210), Beam(length * (1 - share), d, d2, 210)]
    assert tip_deflection(halves, 1) == pytest.approx(tip_deflection(whole, 1), rel=1e-9)


def assembly_of(kind: str = "end mill", **numbers: Any) -> Any:
    holder = Holder("H", (HolderStep(28, 28, 22, "nut"), HolderStep(32, 46, 18)))
    known: dict[str, Any] = {"d": 10, "flute": 20, "shank": 10, "stick_out": 50, "holder": holder}
    return tool_assembly(Tool("T", kind, **(known | numbers)))


def test_that_the_fluted_length_bends_as_four_fifths_of_its_diameter() -> None:
    # the table's stepped bar: 20 of d 8, then 30 of d 10
    assembly = assembly_of()
    assert 1000 * tip_deflection(tool_beams(assembly), FORCE) == pytest.approx(15.452, abs=6e-4)
    assert holder_beams(assembly) == (Beam(22, 28, 28, 210), Beam(18, 32, 46, 210))


def test_that_a_holder_adds_to_what_its_tool_gives_way() -> None:
    assembly = assembly_of()
    both = (*tool_beams(assembly), *holder_beams(assembly))
    assert sum(beam.length for beam in both) == assembly.gauge_length
    assert tip_deflection(both, FORCE) > tip_deflection(tool_beams(assembly), FORCE)


@pytest.mark.parametrize("changes", [{"kind": "spot drill", "point_deg": 90}, {"kind": "ball mill"}, {}])
def test_that_a_longer_stick_out_bends_more_and_a_point_bends_finitely(changes: dict[str, Any]) -> None:
    bends = [tip_deflection(tool_beams(assembly_of(stick_out=s, **changes)), FORCE) for s in (25, 30, 40, 60)]
    assert bends == sorted(bends)
    assert 0 < bends[0] < bends[-1] < 1
