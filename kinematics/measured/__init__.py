"""Features measured on a triangle mesh: from a facet that was pointed at to entry, direction, sizes and depth."""

from kinematics.measured.found import Declined, Found, FoundHole, FoundPocket, FoundSlot
from kinematics.measured.pointed import feature_at
from kinematics.measured.surface import Surface

__all__ = ["Declined", "Found", "FoundHole", "FoundPocket", "FoundSlot", "Surface", "feature_at"]
