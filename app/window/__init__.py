"""The window: what the practitioner sees. Knows jobs and views, never the command line."""
