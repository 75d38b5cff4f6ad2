"""Contents of sheets made by hand, from small to far too large, for tests of how they are laid out."""

from __future__ import annotations

import io
from dataclasses import replace

from PIL import Image

from app.jobs.sheet.blocks import Pictures
from app.jobs.sheet.content import (
    OrderRow,
    PartZero,
    SetUp,
    SheetContent,
    ToolRow,
    Watch,
    WatchList,
    ZeroRow,
)
from app.jobs.sheet.drawn import Label, SetUpPicture, WatchPictures
from kinematics.verdict import Verdict

LONG = "Verlaengerte Spannzangenaufnahme fuer die zweite Aufspannung, Werkzeugplatz 14, nur fuer den Ventilblock"
UNBROKEN = "Spannzangenaufnahmeverlaengerungszwischenstueck" * 3
CJK, ARABIC, HEBREW, GREEK = (
    "\u91cf\u5177\u593e\u5177",
    "\u0645\u062b\u0642\u0628",
    "\u05de\u05e7\u05d3\u05d7",
    "\u03b1\u03c0\u03cc \u03c7\u03ac\u03bb\u03c5\u03b2\u03b1",
)
CYRILLIC = "\u0421\u0432\u0435\u0440\u043b\u043e"


def tool_row(i: int, name: str = "") -> ToolRow:
    return ToolRow(
        id=name or f"T{i}",
        tool=name or "end mill 10",
        holder=name or "H16",
        holder_title=name or "16 mm collet, full-size nut",
        set=f"{20 + i}.0",
        not_under=f"{10 + i}.4",
        gauge_length=f"{80 + i}.0",
        slenderness="4.7",
        guards=f"{name or 'V1 profile'}: nut to {name or 'clamp screw L'}; longer does not help",
        verdict=Verdict.TIGHT,
    )


def order_row(i: int, name: str = "") -> OrderRow:
    return OrderRow(
        name=name or f"V{i}",
        angles=f"A {i}.5 C -{i}",
        cuts=name or f"T1 pocket {i}, T2 hole {i}",
        tightest=f"{name or 'pocket'}: nut to {name or 'clamp screws L and R'}, behind, 11 o'clock",
        gap=f"{i}.5",
        verdict=Verdict.TIGHT if i % 3 == 0 else Verdict.CLEAR,
    )


def watch(i: int, name: str = "") -> Watch:
    return Watch(
        cut=("V1", f"cut {i}"),
        name=f"{name or f'V{i} profile'}, T1 in {name or 'H16'}",
        place="at full depth, at the back, left",
        part="cutter",
        beside="over",
        bodies=name or "clamp screws L and R",
        where="behind the tool, 11 o'clock (clamp screw L)",
        gap="gap 2.5 mm",
        stop="STOP under 1.2 mm",
        pin="2.0 mm pin must pass",
        seen="HIDDEN from the door: look from the left.",
        verdict=Verdict.TIGHT,
    )


def content(n_tools: int = 5, n_order: int = 7, n_watch: int = 2, name: str = "") -> SheetContent:
    """A sheet with so many rows; `name` takes the place of every name in it."""
    return SheetContent(
        title=name or "Sampler block, op 2, set-up B",
        machine=name or "Compact vertical machining centre",
        units="mm",
        verdict=Verdict.TIGHT,
        word="tight",
        action="run, with the watch list",
        may_run=True,
        sentences=(f"Two tight places of 9 cuts: {name or 'V1 profile'} and {name or 'V6 drain spot'}.",),
        set_up=SetUp(
            turns=(f"{name or 'dovetail fixture'}: turned 0 on the platter",),
            screws=(f"{name or 'clamp screws L and R'}: M6 ISO 4762, torque not given: ______",),
            stock=(f"{name or 'stock'} 40.0 x 34.0 x 52.0",),
            keys=(f"key 7.0 over {name or 'clamp screw L'}: 4.5 room, {name or 'stock'}",),
            notes=(name,) if name else (),
        ),
        zero=PartZero(
            where=(f"middle of {name or 'stock'} in X and Y, top face",),
            how="SET ONCE at A 0 C 0",
            counted="in the control, spindle at the gauge line",
            rows=(ZeroRow("", "140.00", "0.00", "-219.00"),),
            checking=tuple(f"{name or f'V{i}'}: Y -99.00 Z -318.00" for i in range(2, n_order + 1)),
        ),
        tools=tuple(tool_row(i, name and f"{name} {i}") for i in range(1, n_tools + 1)),
        tool_notes=("T2 or T4 in H16: HITS.", "Not used here: T3."),
        order=tuple(order_row(i, name and f"{name} {i}") for i in range(1, n_order + 1)),
        turns=("Only with the spindle at the top of Z: gauge line 430.0 mm over the table.",),
        watch=WatchList(
            "WATCH HERE, in this order",
            tuple(watch(i, name) for i in range(1, n_watch + 1)),
            (),
            f"Next: {name or 'V6 drain drill'}, T6: nut to {name or 'clamp screws'} 3.8.",
        ),
        not_checked=(),
        not_modelled="door, enclosure",
        assumed=("part place 0.15, models 0.3", f"{name or 'H16'}: least grip 2 x shank (default)"),
        pin="Pin: fixture empty, spindle stopped.",
        before="This sheet is an aid. " * 6,
        sign=("set by", "tools by", "gap 1", "released tight by", "date"),
        made="2 Jan 2030 10:42   tightside 1.0   inputs 7c1e 90ab   (made from the files of that sum only)",
    )


def stopped(sheet: SheetContent) -> SheetContent:
    """The same sheet where something hits."""
    return replace(sheet, verdict=Verdict.HITS, word="hits", action="DO NOT RUN", may_run=False)


def pictures(n_watch: int = 2, name: str = "") -> Pictures:
    """Grey pictures with labels."""
    png = io.BytesIO()
    Image.new("L", (126, 80), 200).save(png, "png")
    labels = tuple(Label(name or f"clamp screw {i}", (0.1 + 0.1 * i, 0.5 + 0.01 * i), i % 2 == 0) for i in range(8))
    seen = WatchPictures(png.getvalue(), png.getvalue(), "from behind, on the left")
    watched = {("V1", f"cut {i}"): seen for i in range(1, n_watch + 1)}
    return Pictures(SetUpPicture(png.getvalue(), labels, (0.7, -0.7)), watched)
