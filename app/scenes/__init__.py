"""Scene, machine and catalogue files: read, checked, and turned into the core's values."""
