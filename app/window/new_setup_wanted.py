"""What the engine's process is asked about a new set-up that is being answered: frozen values that can be pickled.

They travel as `about` of a Look with one of DRAFT_PANELS, and come back as the value of a Found.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.jobs.new_setup.answers import Answers
from app.jobs.new_setup.rooms import Room
from app.view3d.places import Place
from kinematics.machine import TableSolution

ROOMS, BARE = "rooms", "bare"
DRAFT_PANELS = (ROOMS, BARE)


@dataclass(frozen=True, slots=True)
class RoomsWanted:
    """What each position of the table leaves. `answers`: with the one orientation; `path`: where the scene will be."""

    answers: Answers
    solutions: tuple[TableSolution, ...]
    path: str


@dataclass(frozen=True, slots=True)
class RoomsShown:
    """What was found so far, in the order of the solutions; `why`: what is wrong with the answers."""

    rooms: tuple[Room, ...]
    is_done: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class BareWanted:
    """The set-up without a tool. `answers` have one that stands in, so that there is a scene to read."""

    answers: Answers
    path: str


BareValue = Place | str  # a text says why there is nothing to show
