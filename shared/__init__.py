"""Catalogues that scenes share: machines, holders, hardware. Read through importlib.resources."""
