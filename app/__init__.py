"""Tightside: the program around the core."""
