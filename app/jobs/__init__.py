"""Use cases: what the command line and the window ask for."""
