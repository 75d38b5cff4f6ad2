"""The table of pairs: what is compared in a cut, and what is left out for which reason."""

import pytest

from kinematics.assembly import tool_assembly
from kinematics.pairs import BUILDER, CUTS_IT, FOLLOWS, is_wider, reason_to_leave_out
from kinematics.placement import PlacedBody
from kinematics.pose import identity
from kinematics.scene import Body, OutlineStep, Placement, Tool
from kinematics.shapes import Box
from tests.one_cut import NUT, end_mill

HEADS = frozenset({"lamp"})
NOSE = "spindle nose"


def placed(carrier, *, is_machine):
    shape = Box(1, 1, 1)
    return PlacedBody(Body("b", Placement(carrier), shape), shape, carrier, identity(carrier, "G"), is_machine)


def reason(part, tool, *, carrier="table", is_machine=False, own=False):
    body = placed(carrier, is_machine=is_machine)
    return reason_to_leave_out(part, tool_assembly(tool), body, is_own_workpiece=own, head_parts=HEADS)


AS_WIDE = end_mill(10.0)
THINNER = end_mill(10.0, neck=(9.7, 30.0))
WIDER = end_mill(3.0, 6.0, shank=6.0)


@pytest.mark.parametrize(
    ("part", "tool", "expected"),
    [
        ("cutter", AS_WIDE, CUTS_IT),
        ("shank", AS_WIDE, FOLLOWS),
        ("neck", THINNER, FOLLOWS),
        ("shank", WIDER, None),
        ("nut", AS_WIDE, None),
        ("holder", AS_WIDE, None),
        (NOSE, AS_WIDE, None),
        ("lamp", AS_WIDE, None),
    ],
)
def test_that_against_its_own_workpiece_only_what_follows_the_cutter_is_left_out(part, tool, expected):
    assert reason(part, tool, own=True) == expected


@pytest.mark.parametrize("part", ["cutter", "shank", "nut", "holder", NOSE])
@pytest.mark.parametrize("carrier", ["bed", "table", "cradle", "platter"])
@pytest.mark.parametrize("is_machine", [True, False])
def test_that_against_everything_else_every_part_of_the_tool_is_compared(part, carrier, is_machine):
    assert reason(part, AS_WIDE, carrier=carrier, is_machine=is_machine) is None


@pytest.mark.parametrize(
    ("carrier", "is_machine", "expected"),
    [
        ("bed", True, BUILDER),
        ("bed", False, None),
        ("table", True, None),
        ("cradle", True, None),
        ("platter", False, None),
    ],
)
def test_that_a_body_of_the_head_is_left_out_against_the_machine_on_its_bed_only(carrier, is_machine, expected):
    assert reason("lamp", AS_WIDE, carrier=carrier, is_machine=is_machine) == expected


def test_that_a_shank_as_wide_as_its_cutter_up_to_rounding_is_no_wider():
    assert not is_wider("shank", tool_assembly(end_mill(0.1 + 0.2, shank=0.3)))
    assert is_wider("shank", tool_assembly(end_mill(10.0, shank=10.001)))


def test_that_the_widest_step_of_a_part_counts():
    steps = (OutlineStep(6, 6, 10, "cutter"), OutlineStep(4, 4, 20, "shank"), OutlineStep(12, 12, 30, "shank"))
    assert is_wider("shank", tool_assembly(Tool("T", "end mill", 60.0, NUT, outline=steps)))
