"""`tightside` and `python -m app`: starts the command line."""

from __future__ import annotations

import sys


def main() -> int:
    """Run what the arguments ask for."""
    from app.cli.main import main as command_line

    return command_line()


if __name__ == "__main__":
    sys.exit(main())
