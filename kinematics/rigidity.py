"""How far a tool gives way at its tip: a stepped cantilever, held at its upper end.

By Castigliano's theorem a force F across the tip moves it by F times the integral of x^2 / (E I(x))
along the beam, x from the tip, I = pi d^4 / 64 of a round section; for a step of one diameter that is
F ((x + l)^3 - x^3) / (3 E I). Shear, the holder's joints and the spindle are left out: the numbers
compare tools and stick-outs, they do not predict a deflection on the machine.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from kinematics.assembly import Slice, ToolAssembly
from kinematics.tool_faults import SPINDLE_NOSE, TOOL_PARTS
from kinematics.tool_kinds import CUTTER

CARBIDE_GPA = 600.0  # cemented carbide, 580 to 650 by grade (handbook values)
STEEL_GPA = 210.0  # holders, and tools of high-speed steel (handbook value)
FLUTED_CORE = 0.8  # a fluted length bends as a cylinder of this much of its diameter (common practice, no source)
LEAST_POINT = 0.5  # a point is taken no thinner than this much of its cutter: no force acts on the very tip


@dataclass(frozen=True, slots=True)
class Beam:
    """A length of round bar: diameter d1 at the end towards the tip, d2 at the other, mm; modulus in GPa."""

    length: float
    d1: float
    d2: float
    modulus_gpa: float


def tip_deflection(beams: Iterable[Beam], force: float) -> float:
    """How far the tip moves, mm, under a force across it, N. The beams follow each other from the tip."""
    total = 0.0
    x = 0.0
    for beam in beams:
        total += force * _flexibility(beam, x)
        x += beam.length
    return total


def _flexibility(beam: Beam, x: float) -> float:
    """The integral of s^2 / (E I(s)) over a beam that begins at x from the tip, mm/N.

    With s = x + l t and d = d1 + (d2 - d1) t the integrals of 1, t and t^2 over d^4 for t from 0 to 1
    have closed forms without differences, so a cylinder needs no case of its own.
    """
    d1, d2, length = beam.d1, beam.d2, beam.length
    zeroth = (d1 * d1 + d1 * d2 + d2 * d2) / (3.0 * d1**3 * d2**3)
    first = (2.0 * d1 + d2) / (6.0 * d1**2 * d2**3)
    second = 1.0 / (3.0 * d1 * d2**3)
    integral = length * (x * x * zeroth + 2.0 * x * length * first + length * length * second)
    return 64.0 * integral / (math.pi * beam.modulus_gpa * 1000.0)


def tool_beams(assembly: ToolAssembly, modulus_gpa: float = CARBIDE_GPA) -> tuple[Beam, ...]:
    """Cutter, neck and shank up to the holder; the cutter as a core of `FLUTED_CORE` of its diameter."""
    least = LEAST_POINT * assembly.cutter_radius
    return tuple(
        _beam(s, FLUTED_CORE, least, modulus_gpa) if s.part == CUTTER else _beam(s, 1.0, 0.0, modulus_gpa)
        for s in assembly.inner
        if s.part in TOOL_PARTS
    )


def holder_beams(assembly: ToolAssembly, modulus_gpa: float = STEEL_GPA) -> tuple[Beam, ...]:
    """The holder's steps up to the gauge line, where the spindle holds it."""
    return tuple(_beam(s, 1.0, 0.0, modulus_gpa) for s in assembly.inner if s.part not in (*TOOL_PARTS, SPINDLE_NOSE))


def _beam(s: Slice, share: float, least_radius: float, modulus_gpa: float) -> Beam:
    d1, d2 = (2.0 * share * max(r, least_radius) for r in (s.r1, s.r2))
    return Beam(s.z2 - s.z1, d1, d2, modulus_gpa)
