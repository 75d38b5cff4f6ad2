"""Block 5 of a new set-up at work: what was clicked and typed about orientations."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Slot

from app.jobs.new_setup.typed import TypedOrientation, free_orientation_name, typed_orientation, why_not_name
from app.window.new_setup_words import Measured, direction_of
from app.window.part_answers import FeatureShown, FeatureWanted
from kinematics.measured.found import Declined, FoundSlot
from kinematics.pose import Vector

if TYPE_CHECKING:
    from app.window.new_setup import NewSetup


class NewSetupOrientations(QObject):
    """What is said by the orientations' block."""

    def __init__(self, core: NewSetup) -> None:
        super().__init__(core)
        self._core = core
        self._measured: dict[Vector, Measured] = {}
        block = core.page.orientations
        block.pointed.connect(self._pointed)
        block.position_chosen.connect(self._position_chosen)
        block.changed.connect(self._orientation_changed)
        block.taken_out.connect(self._orientation_taken_out)
        block.measured_taken.connect(self._measured_taken)
        block.line_typed.connect(self._line_typed)

    @Slot(object, object)
    def _pointed(self, point: Vector, normal: Vector) -> None:
        direction = direction_of(normal)
        point = (round(point[0], 3) + 0.0, round(point[1], 3) + 0.0, round(point[2], 3) + 0.0)
        one = TypedOrientation(free_orientation_name(self._core.typed), direction, point)
        self._core.change(one.name, replace(self._core.typed, orientations=(*self._core.typed.orientations, one)))

        self._core.page.bring_orientation()
        self._core.part.ask_feature(point, normal)

    # ---- what was measured ----

    def forget(self) -> None:
        """Another part."""
        self._measured.clear()

    def measured_of(self, typed: TypedOrientation) -> Measured | None:
        """What was measured where an orientation was clicked, unless it was taken already."""
        return self._measured.get(typed.point) if typed.point is not None else None

    def feature_came(self, about: object, shown: FeatureShown) -> None:
        """The engine has measured what is there."""
        if isinstance(about, FeatureWanted) and not isinstance(shown.found, Declined):
            self._measured[about.point] = shown.found
            self._core.show_again()
            self._core.page.bring_orientation()

    @Slot(int)
    def _measured_taken(self, number: int) -> None:
        typed = self._core.typed.orientations[number]
        found = self.measured_of(typed)
        if found is None:
            return
        at = found.at if not isinstance(found, FoundSlot) else found.start
        point = (round(at[0], 3) + 0.0, round(at[1], 3) + 0.0, round(at[2], 3) + 0.0)
        depth = f"{round(found.depth, 3):g} mm"
        self._put_orientation(
            number, "as measured", direction_P=direction_of(found.direction), point=point, depth=depth, which=0
        )

    @Slot(int, int)
    def _position_chosen(self, number: int, which: int) -> None:
        self._put_orientation(number, "the other position", which=which)

    @Slot(int, str, str)
    def _orientation_changed(self, number: int, field: str, text: str) -> None:
        if field == "name":
            assert self._core.now is not None, "an orientation is shown"
            why = why_not_name(text, self._core.typed, self._core.now, number)
            self._core.page.orientations.papers[number].trouble.say(why)
            if why:
                return
        self._put_orientation(number, field, **{field: text})

    def _put_orientation(self, number: int, what: str, **changes: object) -> None:
        made = list(self._core.typed.orientations)
        made[number] = replace(made[number], **changes)  # type: ignore[arg-type]  # by the names of its fields
        self._core.change(f"{made[number].name} {what}", replace(self._core.typed, orientations=tuple(made)))

    @Slot(int)
    def _orientation_taken_out(self, number: int) -> None:
        made = list(self._core.typed.orientations)
        gone = made.pop(number)
        self._core.change(f"{gone.name} taken out", replace(self._core.typed, orientations=tuple(made)))

    @Slot(str)
    def _line_typed(self, text: str) -> None:
        if self._core.now is None:
            return
        made, faults = typed_orientation(text, self._core.now, self._core.typed)
        if made is None:
            self._core.page.orientations.show_line_trouble("\n".join(fault.message for fault in faults), text)
            return
        self._core.page.orientations.line.clear()
        self._core.page.orientations.show_line_trouble("", "")
        self._core.page.bring_orientation()
        self._core.change(made.name, replace(self._core.typed, orientations=(*self._core.typed.orientations, made)))
