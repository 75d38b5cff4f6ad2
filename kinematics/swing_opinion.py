"""The second opinion of a link or swing: its tightest pair where it was found, and at other angles of its boxes.

1. Bodies are posed anew at each set of angles, by the machine alone.
2. At the angles that are told the clearance must be what is said to be attained there.
3. No other angles that are tried may have less than what is proven: those near by, and the corners of the boxes.
4. What this file does not know: how the first opinion was found.
"""

from __future__ import annotations

import itertools
from functools import cached_property

import numpy as np

from kinematics.engine.pair import ROUNDING
from kinematics.engine.sweep import Positions
from kinematics.errors import EngineError
from kinematics.machine import BED, W, frame_poses
from kinematics.meshed_sweeps import Mover, Moving, Posed, body_mover, part_mover
from kinematics.moves.cuts import motions_of_bed, seen_from_bed
from kinematics.placement import PlacedBody
from kinematics.pose import identity, shift
from kinematics.prepared import BEHIND_TOOL, Part
from kinematics.report import SwingReport
from kinematics.second_opinion import LEAST_REACH, Claim, Look, disagreement
from kinematics.setup_error import stick_out_error
from kinematics.swing_pairs import SwingSetup

STEPS_DEG = (-0.5, 0.5)  # to either side of the angles that are told

Angles = dict[str, float]


def swing_disagreement(setup: SwingSetup, report: SwingReport, slack: float, share: float) -> str | None:
    """What a second opinion has against a report; None where it agrees.

    `slack`, `share` : the value attained may be more than the least at its angles by the one, mm, or that share of it.
    """
    try:
        return _SwingOpinion(setup, report).fault(slack, share)
    except EngineError as failed:
        return f"there is no second opinion: {failed.message}"


class _SwingOpinion:
    """The pair of one report, wherever the table stands."""

    def __init__(self, setup: SwingSetup, report: SwingReport) -> None:
        assert report.between is not None, "only what names a pair can be heard"
        self.setup, self.report, self.between = setup, report, setup.between
        self.prepared, self.machine = setup.prepared, setup.machine
        bodies = {t.body.name: t.body for t in setup.targets}
        first, second = report.between
        self.second = bodies[second]
        self.tool = setup.scene.tool(report.tool) if report.tool else None
        self.first: Part | PlacedBody = bodies[first] if self.tool is None else self._part(first)
        errors = report.setup_error
        self.other_errors = 0.0 if errors is None else errors.total - errors.stick_out

    def _part(self, name: str) -> Part:
        assert self.tool is not None, "a part is one of a tool in the spindle, of the head or of the bed"
        parts = self.prepared.parts(self.prepared.assembly_of(self.tool))
        return next(p for p in (*parts, *self.prepared.bed_parts()) if p.name == name)

    # ---- where everything is -------------------------------------------------------------------

    def _posed(self, body: PlacedBody, angles: Angles) -> list[Posed]:
        X_WC = frame_poses(self.machine, angles).get(body.carrier) or identity(W, body.carrier)
        X_WG = X_WC @ body.X_CG
        return [(piece, X_WG) for piece in self.prepared.pieces_of(body.shape)]

    def look(self, angles: Angles, limit: float) -> Look:
        """The pair with the table at some angles."""
        return Look(self._mover(angles), self._posed(self.second, angles), limit)

    @cached_property
    def _part_mover(self) -> Mover:
        assert isinstance(self.first, Part), "only a part moves"
        return part_mover(self.first, self._moving(self.first))

    def _mover(self, angles: Angles) -> Mover:
        if isinstance(self.first, Part):
            return self._part_mover
        if self.first.carrier != BED:
            return body_mover(self._posed(self.first, angles))
        moves = Moving(self._of_bed())
        corners = moves.sets[0].points
        if len(corners) > 1:
            part = next(p for p in self.prepared.bed_parts() if p.name == self.first.name)
            return part_mover(part, moves)
        X_WW = shift(W, W, corners[0])
        return body_mover([(piece, X_WW @ X_WG) for piece, X_WG in self._posed(self.first, angles)])

    def _moving(self, part: Part) -> Moving:
        """The positions of a tool-side part as the second body sees them."""
        if part.order >= BEHIND_TOOL:
            return Moving(self._of_bed())
        assert self.tool is not None, "a part moves with a tool"
        length = self.prepared.assembly_of(self.tool).gauge_length
        sets: tuple[Positions, ...] = (self.between.positions(length),)
        if self.second.carrier == BED:
            sets = seen_from_bed(self.machine, sets, np.array([0.0, 0.0, length]))
        return Moving(sets, stick_out_error(self.setup.scene.setup_errors, self.tool))

    def _of_bed(self) -> tuple[Positions, ...]:
        """Where the bed may be, as the table sees it, while the tool waits."""
        return motions_of_bed(self.machine, [self.between.positions(0.0)], np.zeros(3))

    # ---- what is said of it ----------------------------------------------------------------------

    def fault(self, slack: float, share: float) -> str | None:
        report = self.report
        if not (self.between.boxes and report.at_angles_deg):
            return self._of_what_stands()
        at = dict(report.at_angles_deg)
        fault = self._at_the_tightest(at, slack, share)
        if fault is None:
            fault = next((f for angles in self._tried(at) if (f := self._nearer_than_proven(angles))), None)
        return fault

    def _of_what_stands(self) -> str | None:
        """Nothing turns in the pair: both ends of its clearance are told, as in a cut."""
        report = self.report
        angles = dict(self.between.angles_deg)
        swept = None if report.spare is None else report.spare + self.other_errors
        points = None
        if report.points_W is not None and self.second.carrier != BED:  # as the bed sees them they are not told
            points = (np.asarray(report.points_W[0]), np.asarray(report.points_W[1]))
        mover = self._mover(angles)
        return disagreement(Claim(report.clearance, swept, points), mover, self._posed(self.second, angles))

    def _at_the_tightest(self, at: Angles, slack: float, share: float) -> str | None:
        report, clearance = self.report, self.report.clearance
        if clearance is None:
            look = self.look(at, self.other_errors + LEAST_REACH)
            used = 0.0 if report.contact else self.other_errors
            found = look.seen(0.0 if report.contact else look.mover.moving.down)
            if found.distance > used + look.error and found.is_whole:
                return f"{_where(at)} {look.both('contact' if report.contact else f'at most {used:.3f}', found)}"
            return None
        look = self.look(at, max(2.0 * clearance.value, LEAST_REACH))
        found = look.seen()
        allowed = look.error + max(slack, share * clearance.value)
        is_less = found.distance < clearance.value - allowed
        # where the spare is used up, it may be that of the tool with its stick-out error
        down = look.mover.moving.down if report.spare is not None and report.spare <= 0.0 else 0.0
        if is_less or (found.is_whole and found.distance > clearance.value + down + look.error):
            return f"{_where(at)} {look.both(f'{clearance.value:.3f}', found)}"
        if report.points_W is None or found.contact is not None or down > 0.0:
            return None
        points = (np.asarray(report.points_W[0]), np.asarray(report.points_W[1]))
        return look.points_off(points, clearance.value)

    def _tried(self, at: Angles) -> list[Angles]:
        """The angles that are told, some beside them within the boxes, and the corners of the boxes."""
        names = [axis.name for axis in self.machine.table_axes]
        tried = [tuple(at[name] for name in names)]
        for box in self.between.boxes:
            if all(lo <= angle <= hi for angle, (lo, hi) in zip(tried[0], box, strict=True)):
                for i, (angle, (lo, hi)) in enumerate(zip(tried[0], box, strict=True)):
                    beside = (min(max(angle + step, lo), hi) for step in STEPS_DEG)
                    tried += [(*tried[0][:i], other, *tried[0][i + 1 :]) for other in beside]
        for box in self.between.boxes:
            tried += itertools.product(*box)
        return [dict(zip(names, angles, strict=True)) for angles in dict.fromkeys(tried)]

    def _nearer_than_proven(self, angles: Angles) -> str | None:
        """What is proven of the swing, of the tool as it is and with its stick-out error, against one place of it."""
        report = self.report
        proven = [(0.0, 0.0 if report.clearance is None else report.clearance.at_least)]
        if report.spare is not None:
            down = self._part_mover.moving.down if isinstance(self.first, Part) else 0.0
            proven.insert(0, (down, report.spare + self.other_errors))
            if proven[1][1] <= proven[0][1] + ROUNDING:  # the tool as it is has at least as much room
                del proven[1]
        for by, least in proven:
            if least <= ROUNDING:
                continue
            look = self.look(angles, least)
            found = look.seen(by)
            if found.distance < least - look.error:
                return f"{_where(angles)} {look.both(f'at least {least:.3f}', found)}"
        return None


def _where(angles: Angles) -> str:
    return "at " + ", ".join(f"{name} {angle:g}" for name, angle in angles.items())
