"""Cuts and orientations as a scene describes them."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import ConfigDict, Field, Tag

from app.scenes.located import Entry, ScalarNode
from app.scenes.paths import FEATURE_KEYS
from app.scenes.reading import NONE_IF_FAULTY, TOLERANT, Located, MapValue, Reading
from app.scenes.values import (
    EITHER,
    ChoiceRule,
    Coordinate,
    Direction,
    ListRule,
    Name,
    NumberRule,
    Pair,
    Point,
    Text,
    one_of,
)

Depth = Annotated[float, NumberRule("a depth", "mm", at_least=0.0, at_most=2000.0)]
Retract = Annotated[float, NumberRule("a length", "mm", at_least=0.0, at_most=5000.0)]
Corner = Annotated[tuple[Coordinate, Coordinate], ListRule("a corner [x, y]", 2)]


class LeaveTo(Located):
    """A way out along the path to a point, which alone lifts."""

    words: ClassVar[str] = "up, or {to: [x, y, z]}"
    to: Point = Field(description="the point that the tool leaves to, along its path")


Leave = Annotated[
    Annotated[LeaveTo, Tag("map")] | Annotated[str, ChoiceRule(("up",), "{to: [x, y, z]}"), Tag("other")], EITHER
]


class Hole(Located):
    """A hole along the tool axis."""

    words: ClassVar[str] = "a hole {at: [x, y, z], depth: }"
    at: Point = Field(description="the entry of the hole, in the coordinates of the part")
    depth: Depth = Field(description="the depth to the tip, along the tool axis")


class Pocket(Located):
    """A rectangular pocket."""

    words: ClassVar[str] = "a pocket {at: [x, y, z], size: [a, b], along: [x, y, z], depth: }"
    at: Point = Field(description="the centre of the opening")
    size: Pair = Field(description="the two sides of the opening")
    along: Direction = Field(description="the direction of the first side")
    depth: Depth = Field(description="the depth along the tool axis")


class Slot(Located):
    """A slot as wide as the cutter."""

    words: ClassVar[str] = "a slot {from: [x, y, z], to: [x, y, z], depth: }"
    start: Point = Field(alias="from", description="where the slot begins, on the surface")
    to: Point = Field(description="where the slot ends, on the surface")
    depth: Depth = Field(description="the depth along the tool axis")


class Profile(Located):
    """A contour followed on one side."""

    words: ClassVar[str] = "a profile {rectangle: [a, b], at: [x, y, z], side: outside}"
    rectangle: Pair | None = Field(None, description="the two sides of a rectangle round `at`")
    outline: Annotated[tuple[Corner, ...], ListRule("a list of corners [x, y]")] | None = Field(
        None, description="the corners, relative to `at`"
    )
    at: Point = Field(description="the centre of the contour")
    side: Annotated[str, ChoiceRule(("outside", "inside", "on"))] = Field(description="on which side the tool goes")
    depth: Depth | None = Field(None, description="how far the tip runs below `at`")
    along: Direction | None = Field(None, description="the direction of the first side")

    @classmethod
    def look(cls, value: MapValue, reading: Reading) -> bool:
        forms = [entry for entry in value.node.entries if entry.key.text in ("rectangle", "outline")]
        if not forms:
            reading.tell(value.node, "has no contour; expected rectangle: [a, b] or outline: [[x, y], ...]")
        for entry in forms[1:]:
            reading.tell_key(value.node, entry, f"a second contour beside {forms[0].key.text}; expected one")
        return len(forms) == 1


class Face(Located):
    """A rectangle that is faced."""

    words: ClassVar[str] = "a face {at: [x, y, z], size: [a, b], along: [x, y, z]}"
    at: Point = Field(description="the centre of the rectangle; the tip runs at its height")
    size: Pair = Field(description="the two sides of the rectangle")
    along: Direction = Field(description="the direction of the first side")


class Path(Located):
    """Tip positions joined by straight moves."""

    words: ClassVar[str] = "a path {points: [[x, y, z], ...]} or {file: points.txt}"
    points: Annotated[tuple[Point, ...], ListRule("a list of points [x, y, z]", at_least=1)] | None = Field(
        None, description="the tip positions, in the coordinates of the part"
    )
    file: Text | None = Field(None, description="a text file with one 'x y z' per line")

    @classmethod
    def look(cls, value: MapValue, reading: Reading) -> bool:
        forms = [entry for entry in value.node.entries if entry.key.text in ("points", "file")]
        if not forms:
            reading.tell(value.node, "has no positions; expected points: [[x, y, z], ...] or file: points.txt")
        for entry in forms[1:]:
            reading.tell_key(value.node, entry, f"stands beside {forms[0].key.text}; expected one of them")
        return len(forms) == 1


class Cut(Located):
    """A feature made with one tool."""

    words: ClassVar[str] = "a cut {name: , tool: , state: , a feature}"
    name: Name = Field(description="the name of the cut")
    tool: Name = Field(description="the tool that makes it")
    state: Name = Field(description="what the workpiece looks like when the cut begins")
    workpiece: Name | None = Field(None, description="the workpiece, where there are several")
    retract: Retract | None = Field(None, description="how far the tool goes straight back after the cut")
    leave: Leave | None = Field(None, description="the way out: up, or {to: [x, y, z]}")
    hole: Hole | None = Field(None, description="a hole along the tool axis")
    pocket: Pocket | None = Field(None, description="a rectangular pocket")
    slot: Slot | None = Field(None, description="a slot as wide as the cutter")
    profile: Profile | None = Field(None, description="a contour followed on one side")
    face: Face | None = Field(None, description="a rectangle that is faced")
    path: Path | None = Field(None, description="tip positions joined by straight moves")

    @classmethod
    def look(cls, value: MapValue, reading: Reading) -> bool:
        features = [entry for entry in value.node.entries if entry.key.text in FEATURE_KEYS]
        if not features and not any(entry.key.text not in value for entry in value.node.entries):
            reading.tell(value.node, f"has no feature; expected {one_of(FEATURE_KEYS)}")
        for entry in features[1:]:
            reading.tell_key(value.node, entry, f"a second feature beside {features[0].key.text}; expected one")
        return len(features) == 1


class Orientation(Located):
    """A locked position of the table and its cuts. Its other keys are the names of the table axes."""

    model_config = ConfigDict(extra="allow")
    words: ClassVar[str] = "an orientation {name: , an angle for each table axis, cuts: }"
    name: Name = Field(description="the name of the orientation")
    cuts: Annotated[tuple[Annotated[Cut, TOLERANT], ...], ListRule("a list of cuts"), NONE_IF_FAULTY] | None = Field(
        description="the cuts that are made here, in machining order"
    )

    @classmethod
    def other_keys(cls, reading: Reading) -> tuple[str, ...]:
        return reading.axis_names or ()

    @classmethod
    def takes(cls, entry: Entry, reading: Reading) -> bool:
        # Without a machine nobody knows the names of its axes: then every number may be an angle.
        return reading.axis_names is None and isinstance(entry.value, ScalarNode)

    @classmethod
    def look(cls, value: MapValue, reading: Reading) -> bool:
        for axis in reading.axis_names or ():
            if axis not in value and not any(entry.key.text == axis for entry in value.node.entries):
                reading.tell(value.node, f"is missing; expected the angle of table axis {axis} in deg", axis)
        return True

    def angle_nodes(self) -> dict[str, Any]:
        """The values of the keys that are not the model's own."""
        return dict(self.model_extra or {})
