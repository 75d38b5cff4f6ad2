"""A scene as its file describes it."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import Field, Tag

from app.scenes.body_model import Bodies, Body, SetupLength, SetupTilt, Support
from app.scenes.cut_model import Leave, Orientation, Retract
from app.scenes.machine_model import Format, Machine, Units
from app.scenes.reading import NONE_IF_FAULTY, TOLERANT, Located, MapValue, Reading
from app.scenes.tool_model import Holder, Tool
from app.scenes.values import (
    EITHER,
    Angle,
    ChoiceRule,
    Coordinate,
    Direction,
    ListRule,
    MapRule,
    Name,
    NumberRule,
    Point,
    Text,
    Texts,
)

Spare = Annotated[float, NumberRule("a spare", "mm", at_least=0.0, at_most=500.0)]
Arm = Annotated[float, NumberRule("an arm", "mm", at_least=0.0, at_most=10_000.0)]
BodyList = Annotated[tuple[Annotated[Body, TOLERANT], ...], ListRule("a list of bodies", at_least=1)]


class CutKeepOff(Located):
    """The spare that is wanted in cuts, for what cuts and for all else."""

    words: ClassVar[str] = "a length, or {cutter: , holder: }"
    cutter: Spare = Field(description="the spare wanted between what cuts and anything")
    holder: Spare = Field(description="the spare wanted between all that does not cut and anything")


class KeepOff(Located):
    """The spare that is wanted; less is tight."""

    words: ClassVar[str] = "{cut: , swing: }"
    cut: Annotated[Annotated[CutKeepOff, Tag("map")] | Annotated[Spare, Tag("other")], EITHER] | None = Field(
        None, description="the spare wanted in cuts: one length, or {cutter: , holder: }"
    )
    swing: Spare | None = Field(None, description="the spare wanted while the table turns")


class SetupErrors(Located):
    """What may use a clearance up."""

    words: ClassVar[str] = "{location: , body_model: , diameters: , stick_out: , tilt_deg: }"
    location: SetupLength | None = Field(None, description="part and fixture not where the model says")
    body_model: SetupLength | None = Field(None, description="screw seating, edges that are not modelled")
    diameters: SetupLength | None = Field(None, description="holder and body diameters, together")
    stick_out: SetupLength | None = Field(None, description="along the tool axis, up or down")
    tilt_deg: SetupTilt | None = Field(None, description="degrees that the table may be tilted off")
    arm: Arm | None = Field(
        None, description="a fixed arm of the tilt; left out: the body's largest distance from the axis"
    )


class Zero(Located):
    """Where part zero stands."""

    words: ClassVar[str] = "{rides_on: , at: [x, y, z]}"
    rides_on: Support = Field(description="what part zero stands on: a frame or a body")
    at: Point | None = Field(None, description="its origin, from what it stands on")
    turn: Angle | None = Field(None, description="degrees that it is turned about its own Z, before `axis`")
    axis: Direction | None = Field(None, description="the direction that its +Z takes")


class State(Located):
    """What the workpiece looks like after some cuts."""

    words: ClassVar[str] = "a list of bodies, or {after: [cuts], bodies: }"
    after: Texts | None = Field(None, description="the cuts that are made before, as V1/profile")
    bodies: BodyList = Field(description="the bodies of the workpiece, in its coordinates")


def list_or_map(value: Any) -> str:
    return "map" if isinstance(value, MapValue) else "other"


States = Annotated[
    dict[
        str,
        Annotated[Annotated[State, Tag("map")] | Annotated[BodyList, Tag("other")], EITHER, TOLERANT],
    ],
    MapRule("a mapping of states"),
]


class Workpiece(Located):
    """A part on the table."""

    words: ClassVar[str] = "a workpiece {zero: , states: }"
    name: Name | None = Field(None, description="its name, where there are several")
    zero: Annotated[Zero, NONE_IF_FAULTY] | None = Field(description="where part zero stands")
    states: Annotated[States, NONE_IF_FAULTY] | None = Field(description="what it looks like when a cut begins")


class GaugeLift(Located):
    """A lift to a height of the gauge line."""

    words: ClassVar[str] = "top, retract, or {gauge_z: }"
    gauge_z: Coordinate = Field(description="the height of the gauge line while the table turns")


class Swings(Located):
    """How the tool waits while the table turns."""

    words: ClassVar[str] = "{lift: top}"
    lift: (
        Annotated[
            Annotated[GaugeLift, Tag("map")]
            | Annotated[str, ChoiceRule(("top", "retract"), "{gauge_z: }"), Tag("other")],
            EITHER,
        ]
        | None
    ) = Field(None, description="top, retract, or {gauge_z: height of the gauge line}")


class Scene(Located):
    """One set-up: machine, bodies, workpiece, tools, orientations, cuts."""

    words: ClassVar[str] = "a scene"
    required: ClassVar[tuple[str, ...]] = ("title", "machine", "tools", "orientations")
    format: Annotated[Format, NONE_IF_FAULTY] | None = Field(None, description="the number of the file format")
    units: Annotated[Units, NONE_IF_FAULTY] | None = Field(None, description="mm or inch, for all lengths of the file")
    title: Annotated[Text, NONE_IF_FAULTY] | None = Field(None, description="a title for people")
    machine: (
        Annotated[Annotated[Machine, Tag("map")] | Annotated[Text, Tag("other")], EITHER, NONE_IF_FAULTY] | None
    ) = Field(None, description="the machine: its name, a file, or its keys")
    keep_off: Annotated[KeepOff, NONE_IF_FAULTY] | None = Field(None, description="the spare that is wanted")
    setup_errors: Annotated[SetupErrors, NONE_IF_FAULTY] | None = Field(None, description="what may use a clearance up")
    workpiece: Annotated[Workpiece, NONE_IF_FAULTY] | None = Field(None, description="the part on the table")
    workpieces: (
        Annotated[
            tuple[Annotated[Workpiece, TOLERANT], ...], ListRule("a list of workpieces", at_least=1), NONE_IF_FAULTY
        ]
        | None
    ) = Field(None, description="several parts, each with a name")
    bodies: Bodies | None = Field(None, description="fixture, screws and what else stands on the machine")
    holders: (
        Annotated[
            dict[str, Annotated[Annotated[Holder, Tag("map")] | Annotated[Text, Tag("other")], EITHER, TOLERANT]],
            MapRule("a mapping of holders"),
            NONE_IF_FAULTY,
        ]
        | None
    ) = Field(None, description="holders of this scene, by name")
    tools: (
        Annotated[tuple[Annotated[Tool, TOLERANT], ...], ListRule("a list of tools", at_least=1), NONE_IF_FAULTY] | None
    ) = Field(None, description="the tools in their holders")
    retract: Annotated[Retract, NONE_IF_FAULTY] | None = Field(
        None, description="how far the tool goes straight back after every cut"
    )
    leave: Annotated[Leave, NONE_IF_FAULTY] | None = Field(
        None, description="the way out of every cut: up, or {to: [x, y, z]}"
    )
    swings: Annotated[Swings, NONE_IF_FAULTY] | None = Field(
        None, description="how the tool waits while the table turns"
    )
    orientations: (
        Annotated[
            tuple[Annotated[Orientation, TOLERANT], ...], ListRule("a list of orientations", at_least=1), NONE_IF_FAULTY
        ]
        | None
    ) = Field(None, description="the locked positions of the table with their cuts, in machining order")
    notes: Annotated[Texts, NONE_IF_FAULTY] | None = Field(None, description="texts for the sheet")

    @classmethod
    def look(cls, value: MapValue, reading: Reading) -> bool:
        both = [entry for entry in value.node.entries if entry.key.text in ("workpiece", "workpieces")]
        if not both:
            reading.tell(value.node, "is missing; expected a workpiece {zero: , states: }", "workpiece")
        for entry in both[1:]:
            reading.tell_key(value.node, entry, f"stands beside {both[0].key.text}; expected one of them")
        value.pop("machine", None)  # the reader has read it already: orientations need the names of its axes
        return True
