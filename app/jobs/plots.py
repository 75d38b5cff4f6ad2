"""What the three plots beside the tight view show, as frozen values without any geometry.

1. Lengths in mm, heights over the tip, clock directions in degrees from 12, clockwise as the operator looks down.
2. Loading this file does not load the engine.
"""

from __future__ import annotations

from dataclasses import dataclass

from kinematics.verdict import Verdict

# ---- what uses it up -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Term:
    """One thing that set-up errors take off a clearance.

    Parameters
    ----------
    name : location, model, diameters, stick-out, tilt.
    used : mm of the clearance.
    path : where its number stands in the scene, or would stand; empty where no number says it.
    value : that number, mm (degrees for the tilt).
    is_measured : somebody measured it; else it is assumed.
    """

    name: str
    used: float
    path: str
    value: float
    is_measured: bool


@dataclass(frozen=True, slots=True)
class UsesUp:
    """A clearance cut into what uses it up and what is left.

    `title`: which cut, `between`: which two. `clearance`, `spare`: None on contact. `why`: why there is no bar.
    """

    title: str
    between: tuple[str, str] | None
    verdict: Verdict
    clearance: float | None
    spare: float | None
    keep_off: float
    terms: tuple[Term, ...] = ()
    rss: float = 0.0
    why: str | None = None


# ---- side-on -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class OutlineStep:
    """A frustum of the tool: diameter-free, radius r1 at height z1, r2 at z2."""

    part: str
    r1: float
    r2: float
    z1: float
    z2: float


@dataclass(frozen=True, slots=True)
class Seen:
    """The nearest that the turning tool sees over heights z1 to z2: radius r, of a body."""

    z1: float
    z2: float
    r: float
    body: str


@dataclass(frozen=True, slots=True)
class SideOn:
    """The tool in profile against what stands round it.

    Parameters
    ----------
    outline : from the tip up.
    toward : the nearest in the tight direction, where the gap is; lowest first.
    around : the nearest all round over the whole cut; lowest first.
    clock_deg : the tight direction; None where the gap lies above or below, or there is none.
    gap : (r, height) of its two ends, on the tool and on the body, or None.
    depth : of the cut, over the tip; `flute`: its end; `gauge_line` : its height.
    longer_by : by how much the stick-out must grow to be clear; None where no length clears or it is clear.
    rises : the parts that rise with the stick-out.
    """

    title: str
    verdict: Verdict
    outline: tuple[OutlineStep, ...]
    toward: tuple[Seen, ...]
    around: tuple[Seen, ...]
    clock_deg: float | None
    gap: tuple[tuple[float, float], tuple[float, float]] | None
    depth: float | None
    flute: float | None
    gauge_line: float
    longer_by: float | None = None
    rises: frozenset[str] = frozenset()
    note: str = ""


# ---- round the tool ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sector:
    """The spare in one direction: proven `at_least`, attained `value` (None: nothing near), and the body."""

    at_least: float
    value: float | None
    body: str


@dataclass(frozen=True, slots=True)
class TightWay:
    """A direction in which it is tight."""

    clock_deg: float
    spare: float
    body: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class RoundTool:
    """Room round the tool at a height over its tip.

    Parameters
    ----------
    height : mm, where it was looked at; `heights` : what can be asked for; `tightest` : of the tightest place.
    part : of the tool that is there.
    sectors : equal ones, clockwise; the first begins `first_deg` after 12 o'clock.
    tight : the tight directions, tightest first.
    """

    title: str
    height: float
    heights: tuple[float, float]
    tightest: float | None
    part: str
    keep_off: float
    sectors: tuple[Sector, ...]
    tight: tuple[TightWay, ...]
    first_deg: float = 0.0
    why: str | None = None
