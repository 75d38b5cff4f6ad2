"""A holder is round the shank that it grips: common practice, no source."""

import pytest

from kinematics.scene import Holder, HolderStep, Tool
from kinematics.tool_faults import narrow_holder_faults, tool_faults


def tool(*steps, shank=10.0, grip=None, kind="end mill", **numbers):
    holder = Holder("H", tuple(HolderStep(*step) for step in steps), grip=grip)
    return Tool(
        "T", stick_out=30.0, holder=holder, **{"kind": kind, "d": 10.0, "shank": shank, "flute": 20.0, **numbers}
    )


@pytest.mark.parametrize(
    "one",
    [
        tool((28, 28, 20), (46, 46, 20)),
        tool((10, 28, 20), (46, 46, 20)),  # as wide as the shank where it begins
        tool((28, 28, 20), (8, 8, 20)),  # narrower only beyond the least grip, twice the shank
        tool((28, 28, 3), (9, 9, 20), grip=3.0),
        tool((8, 8, 20), grip=0.0),  # screwed on
        tool((8, 8, 20), kind="probe", d=6.0, shank=40.0, flute=None, neck=(4.0, 25.0)),
        tool((8, 8, 20), kind="face mill", d=50.0, shank=22.0),
    ],
)
def test_that_a_holder_may_be_as_wide_as_what_it_grips(one):
    assert not tool_faults(one)
    assert not list(narrow_holder_faults(one))


@pytest.mark.parametrize(
    ("one", "says"),
    [
        (tool((8, 8, 20)), "is 8 mm wide 0 mm from its face, where it grips a shank of 10 mm; expected at least 10 mm"),
        (tool((28, 28, 6), (9, 9, 30)), "is 9 mm wide 6 mm from its face"),
        (tool((9.8, 28, 30)), "is 9.8 mm wide 0 mm from its face"),
        # 28 to 4 over 40: at twice the shank, 36, it is 28 - 24 * 0.9 wide
        (tool((28, 4, 40), shank=18.0), "is 6.4 mm wide 36 mm from its face, where it grips a shank of 18 mm"),
        (tool((28, 28, 4.99), (8, 8, 1), grip=5.0), "is 8 mm wide 4.99 mm from its face"),
    ],
)
def test_that_a_holder_narrower_than_the_shank_that_it_grips_is_a_fault(one, says):
    (found,) = narrow_holder_faults(one)
    assert found.message.startswith(f"holder H {says}")
    assert found.key == ("holder",)
