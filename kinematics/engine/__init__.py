"""The clearance engine: sweeps, distances, depths. Nothing here knows what a cut or a machine is."""
