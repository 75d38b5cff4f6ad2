"""What a picture is painted with: light, dark, and black on white for print.

The colours are those of the window: zinc and black granite. Colour means room and nothing else, so bodies are
ink, paper and the tone between them, and only the gap has a colour. In print it has none.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from kinematics.verdict import Verdict


class Style(StrEnum):
    """How a picture is painted."""

    LIGHT = "light"
    DARK = "dark"
    PRINT = "print"


@dataclass(frozen=True, slots=True)
class Plate:
    """The colour of a verdict and what is written on it."""

    fill: str
    text: str


@dataclass(frozen=True, slots=True)
class Surface:
    """The colour of a body where it faces the light, where it turns away from it, and of its edges; #RRGGBB."""

    lit: str
    unlit: str
    edge: str


@dataclass(frozen=True, slots=True)
class Palette:
    """What one style paints with; colours as #RRGGBB.

    Parameters
    ----------
    ground, paper, ink, quiet, line : behind everything, of plates, of text, of small text, of thin lines.
    near_part, near_body : the pair: ink, and paper with strong edges.
    tool, workpiece, fixture, machine : what recedes, the machine most.
    edge_width : of the edges of the pair's body, in pixels of the design; others get EDGE_ELSE of it.
    verdicts : their plates. `jaws`: of the gap; None takes the plate's colour.
    """

    ground: str
    paper: str
    ink: str
    quiet: str
    line: str
    near_part: Surface
    near_body: Surface
    tool: Surface
    workpiece: Surface
    fixture: Surface
    machine: Surface
    edge_width: float
    verdicts: dict[Verdict, Plate]
    jaws: str | None = None


EDGE_ELSE = 0.6
_ON_LIGHT = "#15201D"
_ON_DARK = "#101614"
PALETTES = {
    Style.LIGHT: Palette(
        ground="#E9ECEA",
        paper="#FBFCFB",
        ink="#15201D",
        quiet="#51605B",
        line="#7C8A85",
        near_part=Surface("#48544F", "#15201D", "#8B9893"),
        near_body=Surface("#FBFCFB", "#DDE2E0", "#15201D"),
        tool=Surface("#55625D", "#37443F", "#202B27"),
        workpiece=Surface("#B9C2BE", "#889590", "#5F6E69"),
        fixture=Surface("#A3AEA9", "#78857F", "#56645F"),
        machine=Surface("#CBD1CE", "#A9B3AF", "#8C9994"),
        edge_width=1.5,
        verdicts={
            Verdict.HITS: Plate("#7A1747", "#FFFFFF"),
            Verdict.CAN_HIT: Plate("#DA7439", _ON_LIGHT),
            Verdict.NOT_CHECKED: Plate("#BBA0EE", _ON_LIGHT),
            Verdict.TIGHT: Plate("#FCCB32", _ON_LIGHT),
            Verdict.CLEAR: Plate("#E0F0F0", _ON_LIGHT),
        },
    ),
    Style.DARK: Palette(
        ground="#101614",
        paper="#1A2320",
        ink="#EEF3F0",
        quiet="#A3B2AC",
        line="#6F807A",
        near_part=Surface("#EEF3F0", "#B4C0BA", "#5E6D67"),
        near_body=Surface("#1A2320", "#0B100E", "#EEF3F0"),
        tool=Surface("#8C9B95", "#66756F", "#B9C6C0"),
        workpiece=Surface("#586761", "#3D4A45", "#93A29C"),
        fixture=Surface("#485650", "#303C37", "#84938D"),
        machine=Surface("#29332F", "#1C2522", "#5A6964"),
        edge_width=1.5,
        verdicts={
            Verdict.HITS: Plate("#FFB3C9", _ON_DARK),
            Verdict.CAN_HIT: Plate("#F58D58", _ON_DARK),
            Verdict.NOT_CHECKED: Plate("#554BA3", "#FFFFFF"),
            Verdict.TIGHT: Plate("#A07F14", _ON_DARK),
            Verdict.CLEAR: Plate("#283D3B", "#EEF3F0"),
        },
    ),
    Style.PRINT: Palette(
        ground="#FFFFFF",
        paper="#FFFFFF",
        ink="#000000",
        quiet="#000000",
        line="#000000",
        near_part=Surface("#303030", "#000000", "#B4B4B4"),
        near_body=Surface("#FFFFFF", "#F0F0F0", "#000000"),
        tool=Surface("#686868", "#4A4A4A", "#101010"),
        workpiece=Surface("#D8D8D8", "#B4B4B4", "#303030"),
        fixture=Surface("#C4C4C4", "#A0A0A0", "#303030"),
        machine=Surface("#ECECEC", "#D4D4D4", "#707070"),
        edge_width=2.2,
        verdicts={
            Verdict.HITS: Plate("#000000", "#FFFFFF"),
            Verdict.CAN_HIT: Plate("#000000", "#FFFFFF"),
            Verdict.NOT_CHECKED: Plate("#FFFFFF", "#000000"),
            Verdict.TIGHT: Plate("#FFFFFF", "#000000"),
            Verdict.CLEAR: Plate("#FFFFFF", "#000000"),
        },
        jaws="#000000",
    ),
}
