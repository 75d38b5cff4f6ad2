"""What uses a clearance up: the terms of the set-up error of a cut's tightest pair, and where their numbers stand."""

from __future__ import annotations

from collections.abc import Iterator

from app.jobs.plots import Term, UsesUp
from app.jobs.results import CutResult
from app.jobs.words import name_of, nearest_bodies, reason, sentence
from kinematics.report import CutReport, ErrorTerms
from kinematics.scene import MEASURED_STICK_OUT_ERROR, Body, Scene
from kinematics.verdict import Verdict

NOTHING_NEAR = "Nothing comes near."


def uses_up(scene: Scene, result: CutResult) -> UsesUp:
    """The bar of a cut; where there is none it says why."""
    pair = result.worst if isinstance(result, CutReport) else None
    if not isinstance(result, CutReport) or pair is None:
        why = NOTHING_NEAR if result.verdict is not Verdict.NOT_CHECKED else f"Not checked: {reason(result)}."
        return UsesUp(name_of(result), None, result.verdict, None, None, 0.0, why=why)
    between = (pair.between[0], nearest_bodies(result, pair))
    if pair.clearance is None or pair.spare is None or pair.setup_error is None or pair.clearance.value <= 0.0:
        said = sentence(result)
        return UsesUp(
            name_of(result), between, pair.verdict, None, None, pair.keep_off, why=said[:1].upper() + said[1:]
        )
    return UsesUp(
        title=name_of(result),
        between=between,
        verdict=pair.verdict,
        clearance=pair.clearance.at_least,
        spare=pair.spare,
        keep_off=pair.keep_off,
        terms=tuple(_terms(scene, result, pair.between[1], pair.setup_error)),
        rss=pair.setup_error.rss,
    )


def _terms(scene: Scene, result: CutReport, obstacle: str, used: ErrorTerms) -> Iterator[Term]:
    """A number of the body's own counts as measured, and so does a stick-out that is said to be."""
    errors, tool = scene.setup_errors, scene.tool(result.tool)
    body = _body(scene, obstacle)
    own = body.errors if body is not None else None
    for name, key, of_scene, of_body, amount in (
        ("location", "location", errors.location, own.location if own else None, used.location),
        ("model", "body_model", errors.body_model, own.body_model if own else None, used.body_model),
        ("diameters", "diameters", errors.diameters, None, used.diameters),
        ("tilt", "tilt_deg", errors.tilt_deg, own.tilt_deg if own else None, used.tilt),
    ):
        if of_body is None:
            yield Term(name, amount, f"setup_errors/{key}", of_scene, is_measured=False)
        else:
            yield Term(name, amount, f"{obstacle}/errors/{key}", of_body, is_measured=True)
    if tool.is_stick_out_measured:
        yield Term("stick-out", used.stick_out, "", MEASURED_STICK_OUT_ERROR, is_measured=True)
    else:
        yield Term("stick-out", used.stick_out, "setup_errors/stick_out", errors.stick_out, is_measured=False)


def _body(scene: Scene, name: str) -> Body | None:
    states = (state.bodies for workpiece in scene.workpieces for state in workpiece.states)
    for bodies in (scene.bodies, scene.machine.bodies, *states):
        for body in bodies:
            if body.name == name:
                return body
    return None
