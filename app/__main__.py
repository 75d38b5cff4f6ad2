"""`tightside`, `tightside-window` and `python -m app`: starts the command line, or the window where asked."""

from __future__ import annotations

import sys


def main() -> int:
    """Run what the arguments ask for."""
    from app.cli.main import main as command_line

    return command_line(open_window=open_window)


def window() -> int:
    """Open the window, with the set-up that is named."""
    return open_window(sys.argv[1:])


def open_window(arguments: list[str]) -> int:
    """The window in this process; loaded only now."""
    from app.window.main import main as window_main

    return window_main(arguments)


if __name__ == "__main__":
    sys.exit(main())
