"""What the command line tells the shell."""

from __future__ import annotations

from enum import IntEnum


class ExitStatus(IntEnum):
    """Exit statuses. A set-up that could not be checked completely is never CLEAR."""

    CLEAR = 0
    FAULT = 2
    TIGHT = 10
    CAN_HIT = 20
    HITS = 30
    NOT_CHECKED = 40
    INTERNAL_ERROR = 70
    INTERRUPTED = 130


EXIT_STATUSES = (
    "exit status: 0 clear, 10 tight, 20 can hit, 30 hits or cannot reach, 40 not checked (and nothing worse);\n"
    "2 scene or usage at fault, 70 internal error, 130 interrupted"
)
