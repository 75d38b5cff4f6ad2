"""Sample set-ups, one folder each. Read through importlib.resources."""
