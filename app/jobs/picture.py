"""Which cut a picture is asked of, and its result: the one that is named, or the tightest."""

from __future__ import annotations

import difflib

from app.jobs.check import result_of
from app.jobs.results import CutResult
from app.jobs.words import tightest_first
from kinematics.errors import TightsideError
from kinematics.prepared import Prepared
from kinematics.scene import Cut, Orientation


class CutNameFault(TightsideError):
    """No cut is called so."""


def named_cut(prepared: Prepared, name: str) -> tuple[Orientation, Cut, CutResult]:
    """The cut called ORIENTATION/CUT, checked. Raises CutNameFault."""
    cuts = prepared.scene.cuts()
    names = [f"{o.name}/{c.name}" for o, c in cuts]
    if name not in names:
        near = difflib.get_close_matches(name, names, n=1, cutoff=0.0)
        hint = f"; nearest: {near[0]}" if near else ""
        raise CutNameFault(f"{name}: no cut is called so; expected ORIENTATION/CUT{hint}")
    at = names.index(name)
    return (*cuts[at], _result(prepared, at))


def tightest_cut(prepared: Prepared) -> tuple[Orientation, Cut, CutResult]:
    """The cut that a check would tell first. Raises CutNameFault where the set-up has none."""
    cuts = prepared.scene.cuts()
    if not cuts:
        raise CutNameFault("this set-up has no cut to show")
    results = [_result(prepared, i) for i in range(len(cuts))]
    at = results.index(tightest_first(results)[0])
    return (*cuts[at], results[at])


def _result(prepared: Prepared, at: int) -> CutResult:
    """The result of a cut by its place in machining order."""
    cuts = prepared.scene.cuts()
    done = frozenset((o.name, c.name) for o, c in cuts[:at])
    return result_of(prepared, *cuts[at], done)
