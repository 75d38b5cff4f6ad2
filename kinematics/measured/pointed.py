"""What a facet belongs to: tried as a hole, then as a pocket or a slot."""

from __future__ import annotations

from kinematics.measured.found import NOTHING_AROUND, Declined, Found
from kinematics.measured.hole import hole_at
from kinematics.measured.pocket import pocket_at
from kinematics.measured.surface import Surface


def feature_at(surface: Surface, face: int) -> Found:
    """The hole, pocket or slot whose wall or bottom the facet is part of, or why there is none."""
    assert 0 <= face < len(surface.faces), "a facet of this surface"
    hole = hole_at(surface, face)
    if not isinstance(hole, Declined):
        return hole
    pocket = pocket_at(surface, face)
    if isinstance(pocket, Declined) and pocket.why == NOTHING_AROUND:
        return hole
    return pocket
