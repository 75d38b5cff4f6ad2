"""Features measured on a triangle mesh: from a facet that was pointed at to entry, direction, sizes and depth."""
