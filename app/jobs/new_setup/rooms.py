"""What each position of the table leaves for one orientation: both solutions side by side, checked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from app.jobs.new_setup.answers import Answers
from app.jobs.new_setup.directions import written_angles
from app.jobs.new_setup.scene_text import scene_text
from app.jobs.results import CutResult
from app.scenes.catalogues import Catalogues
from app.scenes.reader import read_scene_text
from kinematics.machine import TableSolution


@dataclass(frozen=True, slots=True)
class Room:
    """One position of the table; `result` is None for one that its limits forbid."""

    solution: TableSolution
    result: CutResult | None


def rooms(
    answers: Answers, solutions: Sequence[TableSolution], scene_path: Path, catalogues: Catalogues
) -> Iterator[Room]:
    """One room per solution, in their order; the part has to lie beside `scene_path` already.

    Parameters
    ----------
    answers : with the one orientation that is asked about.

    Raises
    ------
    AnswerFault : two answers do not fit together.
    SceneFileError : the scene that the answers make has a fault.
    """
    from app.jobs.check import result_of  # with the engine, which who only shows rooms does not load
    from kinematics.prepared import Prepared

    (orientation,) = answers.orientations
    for solution in solutions:
        if solution.outside:
            yield Room(solution, None)
            continue
        one = replace(answers, orientations=(replace(orientation, angles_deg=written_angles(solution)),))
        scene_file = read_scene_text(scene_text(one), scene_path, catalogues=catalogues)
        prepared = Prepared(scene_file.scene)
        yield Room(solution, result_of(prepared, *scene_file.scene.cuts()[0], frozenset()))
