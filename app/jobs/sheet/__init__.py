"""The bench sheet: what it says (`content.py`), and the page that says it (`pages.py`)."""
