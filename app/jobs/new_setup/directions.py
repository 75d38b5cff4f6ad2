"""From a direction of the part to positions of the table: both solutions, and what each leaves."""

from __future__ import annotations

from app.jobs.new_setup.answers import Answers, OrientationAnswer
from app.jobs.words import angles_text
from kinematics.machine import Machine, TableSolution, solutions
from kinematics.pose import Vector, as_vector, turn_about, unit

SIDES: dict[str, Vector] = {
    "+X": (1.0, 0.0, 0.0),
    "-X": (-1.0, 0.0, 0.0),
    "+Y": (0.0, 1.0, 0.0),
    "-Y": (0.0, -1.0, 0.0),
    "+Z": (0.0, 0.0, 1.0),
    "-Z": (0.0, 0.0, -1.0),
}
DIGITS = 6  # of an angle that is written


def table_solutions(machine: Machine, direction_P: Vector, *, turn_deg: float) -> tuple[TableSolution, ...]:
    """Every position of the table that brings a direction of the part upright, the nearest to 0 first.

    Parameters
    ----------
    direction_P : from the tip up the tool, in the part's coordinates.
    turn_deg : of the fixture about the platter's Z; the part turns with it.

    Those outside the limits of the table come too and say so.
    """
    direction_R = as_vector(turn_about("R", "P", (0.0, 0.0, 1.0), turn_deg).direction(unit(direction_P)))
    return solutions(machine, direction_R)


def written_angles(solution: TableSolution) -> tuple[tuple[str, float], ...]:
    """The angles of a solution as a scene has them."""
    return tuple((name, round(angle, DIGITS) + 0.0) for name, angle in solution.angles_deg)


def solution_text(solution: TableSolution) -> str:
    """A solution in words: tilt 90, rotary 180; what is free, what is out of the limits."""
    text = angles_text(written_angles(solution)) or "as it stands, without table axes"
    if solution.free:
        text += f" ({', '.join(solution.free)} may stand anywhere)"
    if solution.outside:
        text += f" ({', '.join(solution.outside)} is outside its limits)"
    return text


def way_in(answers: Answers, orientation: OrientationAnswer) -> Vector:
    """Where the cut enters, in P: as answered, or where a line up from the middle of the part leaves its box."""
    if orientation.at is not None:
        return orientation.at
    x, y, z = answers.part.size
    top = -bar_top(answers)
    middle = (0.0, 0.0, top - z / 2.0)
    half = (x / 2.0, y / 2.0, z / 2.0)
    direction = unit(orientation.direction_P)
    reach = min(h / abs(d) for h, d in zip(half, direction, strict=True) if abs(d) > 1e-9)
    px, py, pz = (round(m + reach * d, 4) + 0.0 for m, d in zip(middle, direction, strict=True))
    return px, py, pz


ASSUMED_TOP = 1.0  # mm of bar over the part, where nobody says it


def bar_top(answers: Answers) -> float:
    """How far the bar stands over the part."""
    return ASSUMED_TOP if answers.bar.top is None else answers.bar.top
