"""The tool assembly against closed forms, and every fault that a tool can have."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinematics.assembly import Slice, ToolAssembly, tool_assembly
from kinematics.errors import ToolError
from kinematics.machine import SpindleStep
from kinematics.scene import Holder, HolderStep, OutlineStep, Tool
from kinematics.tool_faults import tool_faults
from kinematics.tool_kinds import KINDS, gripped_length, largest_stick_out, least_stick_out

NUT = Holder("H", (HolderStep(19, 19, 12, "nut"), HolderStep(19, 19, 26), HolderStep(46, 46, 20, "flange")), origin="H")
NUMBERS: dict[str, dict[str, Any]] = {
    "end mill": {"d": 10, "flute": 22, "shank": 10},
    "ball mill": {"d": 6, "flute": 13, "shank": 6},
    "bull mill": {"d": 12, "flute": 26, "shank": 12, "corner_radius": 2},
    "drill": {"d": 5, "flute": 26, "shank": 5, "point_deg": 140},
    "step drill": {"d": 9, "flute": 30, "shank": 10, "point_deg": 118},
    "spot drill": {"d": 6, "flute": 4, "shank": 6, "point_deg": 90},
    "reamer": {"d": 6, "flute": 26, "shank": 6},
    "tap": {"d": 6, "flute": 19, "shank": 6, "neck": (4.5, 30)},
    "dovetail cutter": {"d": 16, "flute": 4, "shank": 10, "flank_deg": 60},
    "slot cutter": {"d": 20, "flute": 3, "shank": 10, "neck": (8, 20)},
    "chamfer mill": {"d": 8, "flute": 6, "shank": 8, "point_deg": 90, "tip_d": 2},
    "face mill": {"d": 40, "flute": 9, "shank": 16},
    "lollipop": {"d": 6, "shank": 6, "neck": (4, 20)},
    "engraver": {"d": 3, "flute": 8, "shank": 3, "tip_d": 0.2, "taper_deg": 15},
    "probe": {"d": 6, "shank": 10, "neck": (4, 30)},
}


def a_tool(kind: str, **changes: Any) -> Tool:
    """A sound tool of the kind, with changes; a number that is None is left out."""
    numbers: dict[str, Any] = {"stick_out": 40.0, "holder": NUT, "overall": 100.0, "origin": "T"}
    return Tool("T", kind, **(numbers | NUMBERS[kind] | changes))


def steps(assembly: ToolAssembly, part: str) -> list[tuple[float, float, float, float]]:
    return [(s.r1, s.r2, s.z1, s.z2) for s in assembly.outer if s.part == part]


def radius_at(slices: tuple[Slice, ...], z: np.ndarray) -> np.ndarray:
    """The largest radius of the slices at each height, written without the product's code; -1 where none is."""
    r = np.full_like(z, -1.0)
    for s in slices:
        inside = (z >= s.z1 - 1e-12) & (z <= s.z2 + 1e-12)
        here = s.r1 + (s.r2 - s.r1) * (z - s.z1) / (s.z2 - s.z1)
        r = np.where(inside, np.maximum(r, here), r)
    return r


def check_arc(assembly: ToolAssembly, profile: Callable[[np.ndarray], np.ndarray], top: float) -> None:
    """Outer covers and inner lies inside the true profile r(z), and the two are nowhere 0.002 apart."""
    outer, inner = assembly.slices_of("cutter")
    z = np.linspace(0.0, top, 20001)[1:-1]
    true = profile(z)
    assert (radius_at(outer, z) >= true - 1e-9).all()
    assert (radius_at(inner, z) <= true + 1e-9).all()
    # the distance between two polylines is largest at corners of the outer one
    corners = {(s.r1, s.z1) for s in outer} | {(s.r2, s.z2) for s in outer}
    for r, height in corners:
        assert min(distance_to_slice(r, height, s) for s in inner) <= 0.002 + 1e-9


def distance_to_slice(r: float, z: float, s: Slice) -> float:
    """From a point of the half plane to the trapezium of a slice: 0 inside, else to its sloping side or its ends."""
    if s.z1 <= z <= s.z2 and r <= s.r1 + (s.r2 - s.r1) * (z - s.z1) / (s.z2 - s.z1):
        return 0.0
    a, b = np.array([s.r1, s.z1]), np.array([s.r2, s.z2])
    t = np.clip(np.dot([r, z] - a, b - a) / np.dot(b - a, b - a), 0.0, 1.0)
    to_side = float(np.hypot(*(a + t * (b - a) - [r, z])))
    to_low = math.hypot(max(r - s.r1, 0.0), z - s.z1)
    to_high = math.hypot(max(r - s.r2, 0.0), z - s.z2)
    return min(to_side, to_low, to_high)


# --- closed forms --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "changes", "length"),
    [
        ("spot drill", {}, 3.0),  # (6 / 2) / tan 45
        ("spot drill", {"point_deg": 60, "flute": 6}, 3 * math.sqrt(3)),
        ("drill", {"point_deg": 120}, 2.5 / math.sqrt(3)),
        ("chamfer mill", {}, 3.0),  # (8 - 2) / 2 / tan 45
        ("engraver", {"taper_deg": 45}, 1.4),  # (3 - 0.2) / 2
        ("engraver", {"taper_deg": None, "point_deg": 90}, 1.4),
    ],
)
def test_that_a_point_is_as_long_as_its_angle_says(kind: str, changes: dict[str, Any], length: float) -> None:
    tool = a_tool(kind, **changes)
    assembly = tool_assembly(tool)
    (tip, radius, z1, z2), *rest = steps(assembly, "cutter")
    assert (tip, radius, z1) == (pytest.approx((tool.tip_d or 0) / 2), pytest.approx((tool.d or 0) / 2), 0.0)
    assert z2 == pytest.approx(length, abs=1e-12)
    assert rest == [(radius, radius, z2, tool.flute)]
    assert assembly.outer == assembly.inner


def test_that_a_point_of_180_degrees_is_a_flat_end() -> None:
    assembly = tool_assembly(a_tool("drill", point_deg=180))
    assert steps(assembly, "cutter") == [(2.5, 2.5, 0.0, 26)]


def test_that_a_flute_may_be_as_long_as_the_point() -> None:
    assembly = tool_assembly(a_tool("spot drill", flute=3))
    assert steps(assembly, "cutter") == [(0.0, 3.0, 0.0, pytest.approx(3.0))]
    assert assembly.flute == 3


def test_that_a_flute_typed_with_two_decimals_may_fall_short_of_its_point() -> None:
    assembly = tool_assembly(a_tool("spot drill", point_deg=60, flute=5.19))  # the point is 5.196 long
    assert steps(assembly, "cutter")[0][3] == pytest.approx(3 * math.sqrt(3))
    assert assembly.flute == 5.19


def test_that_a_dovetail_cutter_narrows_upwards_by_the_run_of_its_flank() -> None:
    # h / tan(flank): 4 mm at 60 degrees is 2.3094 per side (Machinery's Handbook, as restated in the trade)
    assembly = tool_assembly(a_tool("dovetail cutter"))
    assert steps(assembly, "cutter") == [(8.0, pytest.approx(8 - 2.3094, abs=5e-5), 0.0, 4)]
    assert assembly.cutter_radius == 8.0
    assert assembly.cannot_lift


def test_that_a_flank_of_90_degrees_is_a_disc() -> None:
    assert steps(tool_assembly(a_tool("dovetail cutter", flank_deg=90)), "cutter") == [(8.0, 8.0, 0.0, 4)]


@pytest.mark.parametrize(
    ("kind", "radius", "height"),
    [("reamer", 3, 26), ("tap", 3, 19), ("slot cutter", 10, 3), ("face mill", 20, 9), ("end mill", 5, 22)],
)
def test_that_a_plain_cutter_is_a_cylinder(kind: str, radius: float, height: float) -> None:
    assert steps(tool_assembly(a_tool(kind)), "cutter") == [(radius, radius, 0.0, height)]


def test_that_a_step_drill_is_taken_at_its_full_diameter() -> None:
    assembly = tool_assembly(a_tool("step drill"))
    point = 4.5 / math.tan(math.radians(59))
    assert steps(assembly, "cutter") == [(0, 4.5, 0, pytest.approx(point)), (4.5, 4.5, pytest.approx(point), 30)]


@pytest.mark.parametrize("d", [0.2, 1, 3, 6, 10, 25, 63])
def test_that_a_ball_is_covered_from_outside_and_inside(d: float) -> None:
    r = d / 2
    assembly = tool_assembly(a_tool("ball mill", d=d, flute=d, shank=d, overall=None, stick_out=70))

    def sphere(z: np.ndarray) -> np.ndarray:
        return np.where(z < r, np.sqrt(np.maximum(r * r - (z - r) ** 2, 0)), r)

    check_arc(assembly, sphere, d)
    assert assembly.cutter_radius == pytest.approx(r, abs=1e-12)
    assert max(s.r2 for s in assembly.outer if s.part == "cutter") == pytest.approx(r, abs=1e-12)
    assert min(s.z1 for s in assembly.outer) == 0.0


@pytest.mark.parametrize(("d", "most"), [(1, 10), (6, 23), (10, 30), (25, 46)])
def test_that_a_ball_needs_few_slices(d: float, most: int) -> None:
    # a quarter circle by tangents at gap g needs about (pi / 2) / sqrt(8 g / r) of them
    cutter, _ = tool_assembly(a_tool("ball mill", d=d, flute=d, shank=d, overall=None)).slices_of("cutter")
    assert len(cutter) <= most


@pytest.mark.parametrize("taper_deg", [0, 1, 3, 10, 30])
@pytest.mark.parametrize("d", [1, 6, 16])
def test_that_a_tapered_ball_goes_over_into_its_flank_where_they_touch(d: float, taper_deg: float) -> None:
    r, lean = d / 2, math.radians(taper_deg)
    touch = r * (1 - math.sin(lean))  # height at which a flank leaning by `lean` touches the ball
    assembly = tool_assembly(a_tool("ball mill", d=d, flute=20, shank=30, taper_deg=taper_deg))

    def profile(z: np.ndarray) -> np.ndarray:
        ball = np.sqrt(np.maximum(r * r - (z - r) ** 2, 0))
        return np.where(z < touch, ball, r * math.cos(lean) + (z - touch) * math.tan(lean))

    check_arc(assembly, profile, 20)
    assert assembly.cutter_radius == pytest.approx(profile(np.array([20.0]))[0])


@pytest.mark.parametrize(
    ("kind", "d", "corner", "taper_deg"),
    [
        ("bull mill", 12, 2, 0),
        ("bull mill", 12, 2, 5),
        ("end mill", 6, 3, 0),
        ("end mill", 6, 3, 5),
        ("face mill", 40, 0.8, 0),
    ],
)
def test_that_a_corner_is_round_and_touches_its_flank(kind: str, d: float, corner: float, taper_deg: float) -> None:
    lean = math.radians(taper_deg)
    flank_0 = d / 2  # the flank's line meets the tip plane at d / 2
    # distance of the arc's centre from the flank's line is the corner radius
    centre = flank_0 + corner * math.tan(lean) - corner / math.cos(lean)
    touch = corner * (1 - math.sin(lean))
    changes = {"d": d, "corner_radius": corner, "shank": 20, "flute": 9, "taper_deg": taper_deg or None}
    assembly = tool_assembly(a_tool(kind, **changes))

    def profile(z: np.ndarray) -> np.ndarray:
        arc = centre + np.sqrt(np.maximum(corner**2 - (z - corner) ** 2, 0))
        return np.where(z < touch, arc, flank_0 + z * math.tan(lean))

    check_arc(assembly, profile, 9)


@pytest.mark.parametrize("kind", ["lollipop", "probe"])
@pytest.mark.parametrize("neck", [0.5, 3, 4, 5.9])
def test_that_a_ball_on_a_stem_ends_where_the_stem_leaves_it(kind: str, neck: float) -> None:
    assembly = tool_assembly(a_tool(kind, neck=(neck, 20)))
    top = 3 + math.sqrt(9 - (neck / 2) ** 2)
    check_arc(assembly, lambda z: np.sqrt(np.maximum(9 - (z - 3) ** 2, 0)), top)
    assert assembly.cutter_radius == 3.0
    assert assembly.slices_of("neck")[0][0].z1 == pytest.approx(top)


def test_that_a_tapered_end_mill_grows_from_its_diameter() -> None:
    assembly = tool_assembly(a_tool("end mill", taper_deg=45, shank=60, overall=None))
    assert steps(assembly, "cutter") == [(5.0, pytest.approx(27.0), 0.0, 22)]
    assert assembly.cutter_radius == pytest.approx(27.0)


# --- what stands above the flutes ------------------------------------------------------------------


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_that_every_kind_stacks_without_a_gap_up_to_the_spindle(kind: str) -> None:
    assembly = tool_assembly(a_tool(kind), (SpindleStep(60, 60, 25), SpindleStep(60, 90, 10)))
    for slices in (assembly.outer, assembly.inner):
        assert slices[0].z1 == 0.0
        assert slices[-1].z2 == pytest.approx(40 + 58 + 35)
        for low, high in pairwise(slices):
            assert low.z2 == pytest.approx(high.z1, abs=1e-9)
        assert [p for p in assembly.parts if any(s.part == p for s in slices)] == list(assembly.parts)
    assert assembly.gauge_length == 98.0
    assert assembly.parts[0] == "cutter"
    assert assembly.parts[-4:] == ("nut", "holder", "flange", "spindle nose")
    assert set(assembly.parts[1:-4]) <= {"neck", "shank"}


def test_that_the_neck_goes_on_inside_the_holder_but_not_outside() -> None:
    # a relieved shank, gripped at full diameter above the relief: T1 of the demo set-up
    tool = a_tool("end mill", neck=(9.7, 60), stick_out=47)
    assembly = tool_assembly(tool)
    assert steps(assembly, "neck") == [(4.85, 4.85, 22, 47)]
    assert assembly.parts == ("cutter", "neck", "nut", "holder", "flange")
    assert gripped_length(tool) == 40


def test_that_unnamed_steps_are_the_holder_and_one_part() -> None:
    holder = Holder("S", (HolderStep(14, 14, 12), HolderStep(20, 24, 25), HolderStep(46, 46, 20, "flange")))
    assembly = tool_assembly(a_tool("end mill", holder=holder))
    assert assembly.parts == ("cutter", "shank", "holder", "flange")
    assert steps(assembly, "holder") == [(7, 7, 40, 52), (10, 12, 52, 77)]


@pytest.mark.parametrize(
    ("kind", "changes", "limit"),
    [
        ("spot drill", {}, 4),  # the shank is as wide as the cutter
        ("end mill", {"neck": (9.7, 35)}, 35),  # thinner up to the shank
        ("end mill", {"neck": (9.7, 60)}, 40),  # thinner up to the nut
        ("end mill", {"d": 10, "neck": (10, 35)}, 22),  # as wide as the cutter is not thinner
        ("end mill", {"d": 3, "flute": 6, "shank": 6}, 6),
        ("slot cutter", {}, 98 - 20),  # d 20 over a nut of 19: up to the flange
        ("lollipop", {}, 20),
        ("face mill", {}, 98 - 20),
        ("face mill", {"d": 63}, 98),  # nothing above is as wide
    ],
)
def test_that_depth_is_limited_where_the_tool_is_as_wide_as_its_cutter(
    kind: str, changes: dict[str, Any], limit: float
) -> None:
    assert tool_assembly(a_tool(kind, **changes)).depth_limit == pytest.approx(limit)


def test_that_depth_is_limited_within_a_cone() -> None:
    holder = Holder("S", (HolderStep(10, 30, 40),))
    # the holder's cone is 20 wide halfway up
    assert tool_assembly(a_tool("face mill", d=20, shank=10, holder=holder)).depth_limit == pytest.approx(60)


def test_that_a_probe_has_no_depth_rule() -> None:
    assembly = tool_assembly(a_tool("probe"))
    assert (assembly.flute, assembly.depth_limit, assembly.is_probe) == (None, None, True)


def test_that_a_lollipop_cuts_with_its_ball_unless_told_otherwise() -> None:
    assert tool_assembly(a_tool("lollipop")).flute == pytest.approx(3 + math.sqrt(5))
    assert tool_assembly(a_tool("lollipop", flute=4)).flute == 4


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_that_only_what_undercuts_cannot_lift(kind: str) -> None:
    undercuts = {"dovetail cutter", "slot cutter", "lollipop"}
    assert tool_assembly(a_tool(kind)).cannot_lift == (kind in undercuts)


# --- outlines ------------------------------------------------------------------------------------

OUTLINE = (
    OutlineStep(0, 4, 2, "cutter"),
    OutlineStep(4, 4, 10, "cutter"),
    OutlineStep(3.5, 3.5, 8, "neck"),
    OutlineStep(6, 6, 40, "shank"),
)


def outlined(*outline: OutlineStep, kind: str = "step drill", **changes: Any) -> Tool:
    numbers: dict[str, Any] = {"stick_out": 30.0, "holder": NUT, "outline": outline, "origin": "T"}
    return Tool("T", kind, **(numbers | changes))


def test_that_an_outline_replaces_the_numbers() -> None:
    assembly = tool_assembly(outlined(*OUTLINE, overall=60))
    assert [(s.part, s.r1, s.r2, s.z1, s.z2) for s in assembly.outer[:4]] == [
        ("cutter", 0, 2, 0, 2),
        ("cutter", 2, 2, 2, 12),
        ("neck", 1.75, 1.75, 12, 20),
        ("shank", 3, 3, 20, 30),
    ]
    assert (assembly.cutter_radius, assembly.flute, assembly.depth_limit) == (2, 12, 20)


def test_that_an_outline_is_cut_off_within_a_cone_where_the_holder_begins() -> None:
    assembly = tool_assembly(outlined(OutlineStep(4, 4, 10, "cutter"), OutlineStep(4, 8, 40, "shank")))
    assert steps(assembly, "shank") == [(2, 3, 10, 30)]


def test_that_the_outline_of_an_undercutting_kind_cannot_lift_either() -> None:
    assert tool_assembly(outlined(*OUTLINE, kind="slot cutter")).cannot_lift


# --- faults --------------------------------------------------------------------------------------


def check_fault(tool: Tool, key: tuple[str, ...], *words: str, origin: str = "T") -> None:
    """The tool has exactly this one fault."""
    (fault,) = tool_faults(tool)
    assert (fault.origin, fault.key) == (origin, key)
    for word in words:
        assert word in fault.message
    assert fault.message[0].islower() or fault.message[0].isdigit()
    assert not fault.message.endswith(".")
    with pytest.raises(ToolError) as raised:
        tool_assembly(tool)
    assert raised.value.message == fault.message


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_that_a_missing_number_is_named_with_all_that_the_kind_needs(kind: str) -> None:
    for key in KINDS[kind].needs:
        check_fault(a_tool(kind, **{key: None}), (key,), f"{key} is missing", kind, *KINDS[kind].needs)


@pytest.mark.parametrize("kind", sorted(KINDS))
@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_that_every_length_of_every_kind_is_above_0(kind: str, bad: float) -> None:
    for key in KINDS[kind].needs:
        if key in ("tip_d", "corner_radius") and bad == 0.0:
            continue  # a sharp tip and a sharp corner are meant
        check_fault(a_tool(kind, **{key: bad}), (key,), key, f"{bad:g}")


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_that_a_number_of_another_kind_is_a_fault(kind: str) -> None:
    others = {"corner_radius": 1, "point_deg": 90, "tip_d": 1, "taper_deg": 3, "flank_deg": 60}
    for key, value in others.items():
        if key not in (*KINDS[kind].needs, *KINDS[kind].may):
            check_fault(a_tool(kind, **{key: value}), (key,), f"has no {key}")


@pytest.mark.parametrize(
    ("kind", "changes", "key", "words"),
    [
        ("end mill", {"stick_out": -3}, ("stick_out",), ["-3 mm"]),
        ("end mill", {"overall": 0}, ("overall",), ["0 mm"]),
        ("end mill", {"neck": (0, 30)}, ("neck", "d"), ["0 mm"]),
        ("end mill", {"neck": (9, -30)}, ("neck", "to"), ["-30 mm"]),
        ("end mill", {"neck": (9, 12)}, ("neck", "to"), ["12 mm", "within what cuts", "22 mm"]),
        ("end mill", {"neck": (11, 30)}, ("neck", "d"), ["11 mm", "at most 10 mm"]),
        ("end mill", {"d": 12, "neck": (11, 50)}, ("stick_out",), ["into the holder", "at least 50 mm"]),
        ("end mill", {"corner_radius": 5.1}, ("corner_radius",), ["5.1 mm", "at most half of d, 5 mm"]),
        ("end mill", {"corner_radius": -1}, ("corner_radius",), ["-1 mm"]),
        ("end mill", {"taper_deg": 90}, ("taper_deg",), ["90 degrees", "per side"]),
        ("bull mill", {"corner_radius": 5, "flute": 4}, ("flute",), ["4 mm", "corner radius of 5 mm"]),
        ("ball mill", {"flute": 2.5}, ("flute",), ["2.5 mm", "within the ball", "3 mm"]),
        ("spot drill", {"flute": 2.9}, ("flute",), ["2.9 mm", "shorter than the point", "3 mm"]),
        ("spot drill", {"point_deg": 181}, ("point_deg",), ["181 degrees", "180"]),
        ("chamfer mill", {"tip_d": 9}, ("tip_d",), ["9 mm", "at most d, 8 mm"]),
        ("dovetail cutter", {"flank_deg": 20}, ("flank_deg",), ["runs in by 10.99 mm", "8 mm"]),
        ("dovetail cutter", {"flank_deg": 95}, ("flank_deg",), ["95 degrees", "90"]),
        ("engraver", {"taper_deg": None}, ("point_deg",), ["both are missing"]),
        ("engraver", {"point_deg": 30}, ("point_deg",), ["both are given"]),
        ("engraver", {"taper_deg": 0}, ("taper_deg",), ["0 degrees"]),
        ("lollipop", {"neck": (6, 20)}, ("neck", "d"), ["not thinner than the ball"]),
        ("lollipop", {"neck": None}, ("shank",), ["not thinner than the ball"]),
        ("lollipop", {"flute": 7}, ("flute",), ["7 mm", "at most the height of the ball, 6 mm"]),
        ("probe", {"flute": 3}, ("flute",), ["has no flute"]),
        ("end mill", {"stick_out": 21.9}, ("stick_out",), ["21.9 mm", "shorter than the flute", "22 mm"]),
        ("end mill", {"stick_out": 81}, ("stick_out",), ["leaves 19 mm", "least grip of 20 mm", "still grips: 80 mm"]),
        ("end mill", {"overall": 40}, ("overall",), ["18 mm of full shank", "no stick-out would grip"]),
        ("end mill", {"neck": (9, 85)}, ("overall",), ["15 mm of full shank", "no stick-out would grip"]),
    ],
)
def test_that_numbers_that_do_not_fit_are_named(
    kind: str, changes: dict[str, Any], key: tuple[str, ...], words: list[str]
) -> None:
    check_fault(a_tool(kind, **changes), key, *words)


def test_that_an_unknown_kind_names_the_nearest() -> None:
    check_fault(Tool("T", "endmill", 30, NUT, origin="T"), ("kind",), "'endmill'", "nearest: end mill")


@pytest.mark.parametrize(
    ("tool", "key", "words"),
    [
        (outlined(OUTLINE[2], OUTLINE[3]), ("outline", "1"), ["begins with the neck"]),
        (outlined(OUTLINE[0], OUTLINE[3], OUTLINE[2]), ("outline", "3"), ["neck above the shank"]),
        (outlined(OutlineStep(4, 4, 0, "cutter"), OUTLINE[3]), ("outline", "1"), ["length of the step is 0 mm"]),
        (outlined(OUTLINE[1], OutlineStep(0, 0, 40, "shank")), ("outline", "2"), ["diameters of the step are 0 and 0"]),
        (outlined(*OUTLINE, d=4), ("d",), ["beside an outline"]),
        (outlined(*OUTLINE, stick_out=70), ("stick_out",), ["longer than the outline", "at most 60 mm"]),
        (outlined(*OUTLINE, overall=41), ("stick_out",), ["leaves 11 mm", "least grip of 12 mm", "29 mm"]),
        (outlined(*OUTLINE, stick_out=11), ("stick_out",), ["shorter than the flute", "12 mm"]),
    ],
)
def test_that_an_outline_is_in_order_and_stands_alone(tool: Tool, key: tuple[str, ...], words: list[str]) -> None:
    check_fault(tool, key, *words)


@pytest.mark.parametrize(
    ("holder", "key", "words"),
    [
        (Holder("H", (), origin="H"), ("profile",), ["no steps"]),
        (Holder("H", (HolderStep(20, 20, 0),), origin="H"), ("profile", "1"), ["length of the step is 0 mm"]),
        (Holder("H", (HolderStep(20, -1, 5),), origin="H"), ("profile", "1"), ["20 and -1 mm"]),
        (Holder("H", (HolderStep(20, 20, 5, "cutter"),), origin="H"), ("profile", "1"), ["another part"]),
        (Holder("H", (HolderStep(20, 20, 5),), grip=-1, origin="H"), ("grip",), ["-1 mm"]),
    ],
)
def test_that_a_holder_at_fault_is_named_as_the_holder(holder: Holder, key: tuple[str, ...], words: list[str]) -> None:
    check_fault(a_tool("end mill", holder=holder), key, *words, origin="H")


def test_that_all_faults_of_a_tool_are_found_at_once() -> None:
    faults = tool_faults(a_tool("drill", d=-1, point_deg=None, stick_out=0))
    assert [fault.key for fault in faults] == [("point_deg",), ("d",), ("stick_out",)]


def test_that_without_an_overall_length_the_grip_is_not_judged() -> None:
    tool = a_tool("end mill", overall=None, stick_out=500)
    assert tool_assembly(tool).gauge_length == 558
    assert (gripped_length(tool), largest_stick_out(tool)) == (None, None)


def test_that_a_neck_may_be_wider_than_the_cutter() -> None:
    tool = a_tool("end mill", d=3, flute=6, shank=6, neck=(5, 30))
    assert steps(tool_assembly(tool), "neck") == [(2.5, 2.5, 6, 30)]


# --- relations -----------------------------------------------------------------------------------


@settings(max_examples=200, deadline=None)
@given(
    d=st.floats(1, 20),
    flute=st.floats(1, 60),
    neck=st.floats(0, 40),
    shank=st.floats(21, 32),
    free=st.floats(0, 30),
    grip=st.floats(1, 80),
)
def test_that_the_lengths_of_a_gripped_tool_keep_their_order(
    d: float, flute: float, neck: float, shank: float, free: float, grip: float
) -> None:
    """Cutting length <= usable length <= protruding length <= overall length (ISO 13399, in own words)."""
    stick_out = flute + neck + free
    tool = a_tool(
        "end mill",
        d=d,
        flute=flute,
        shank=shank,
        neck=(0.9 * d, flute + neck),
        stick_out=stick_out,
        overall=stick_out + grip,
        holder=Holder("H", (HolderStep(40, 40, 30),), grip=1.0),
    )
    assembly = tool_assembly(tool)
    assert assembly.flute is not None and assembly.depth_limit is not None and tool.overall is not None
    assert assembly.flute <= assembly.depth_limit + 1e-9 <= assembly.stick_out + 2e-9 <= tool.overall + 2e-9
    gripped, most = gripped_length(tool), largest_stick_out(tool)
    assert gripped is not None and most is not None
    # overall = protruding + clamped length; gauge length = holder length + protruding length
    assert tool.overall == pytest.approx(stick_out + gripped)
    assert assembly.gauge_length == pytest.approx(30 + stick_out)
    assert least_stick_out(tool) <= stick_out <= most + 1e-9


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_that_inside_never_reaches_past_outside(kind: str) -> None:
    assembly = tool_assembly(a_tool(kind), (SpindleStep(60, 60, 25),))
    z = np.linspace(0, assembly.gauge_length, 30011)
    assert (radius_at(assembly.inner, z) <= radius_at(assembly.outer, z) + 1e-9).all()


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_that_a_longer_stick_out_moves_the_holder_and_nothing_below_it(kind: str) -> None:
    short, long = tool_assembly(a_tool(kind)), tool_assembly(a_tool(kind, stick_out=47))
    assert short.slices_of("cutter") == long.slices_of("cutter")
    assert [s.z1 + 7 for s in short.outer if s.part == "nut"] == [s.z1 for s in long.outer if s.part == "nut"]
