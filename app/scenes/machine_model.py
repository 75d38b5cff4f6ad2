"""A machine as its file describes it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationInfo
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from app.scenes.body_model import Bodies
from app.scenes.located import ScalarNode
from app.scenes.reading import NONE_IF_FAULTY, TOLERANT, Located, Reading, Told, Value, reading_of, told
from app.scenes.rows import ShapeRows
from app.scenes.values import (
    LARGEST,
    Angle,
    ChoiceRule,
    Direction,
    ListRule,
    MapRule,
    Name,
    NumberRule,
    Point,
    Text,
    Texts,
)

ENDLESS = "endless"


@dataclass(frozen=True, slots=True)
class ReadBefore:
    """A value that was read and judged before the model (see `prelude.py`); here it only has a schema."""

    schema: tuple[str | int, ...]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(_nothing)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"enum": list(self.schema)}


def _nothing(_: Any) -> None:
    return None


Units = Annotated[str, ReadBefore(("mm", "inch"))]
Format = Annotated[int, ReadBefore((1,))]


@dataclass(frozen=True, slots=True)
class LimitsRule:
    """``[lowest, highest]``, or the word endless where an axis has no limits."""

    number: NumberRule
    may_be_endless: bool = False

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        pair: JsonSchemaValue = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
        return {"anyOf": [pair, {"const": ENDLESS}]} if self.may_be_endless else pair

    def _validate(self, value: Value, info: ValidationInfo) -> tuple[float, float] | Literal["endless"]:
        reading = reading_of(info)
        what = "limits [lowest, highest]" + (" or endless" if self.may_be_endless else "")
        if self.may_be_endless and isinstance(value, ScalarNode) and value.text == ENDLESS:
            return "endless"
        items = ListRule(what, 2).read(value, reading)
        numbers = []
        for item in items:
            try:
                numbers.append(self.number.read(item, reading))
            except Told:
                continue
        if len(numbers) < 2:
            raise told()
        low, high = numbers
        if not low < high:
            reading.tell(items.node, f"{items[0].text} is not below {items[1].text}; expected {what}")
            raise told()
        return low, high


Travel = Annotated[tuple[float, float], LimitsRule(NumberRule("a limit", "mm", at_least=-LARGEST, at_most=LARGEST))]
TurnTravel = Annotated[
    tuple[float, float] | Literal["endless"],
    LimitsRule(NumberRule("a limit", "deg", at_least=-100_000.0, at_most=100_000.0), may_be_endless=True),
]


class LinearAxis(Located):
    """X, Y or Z: the spindle relative to the table."""

    words: ClassVar[str] = "{limits: [lowest, highest], moves: head}"
    limits: Travel = Field(description="the travel [lowest, highest]; of Z, the height of the gauge line")
    moves: Annotated[str, ChoiceRule(("head", "table"))] = Field(
        description="what slides on the machine: head or table"
    )


class LinearAxes(Located):
    """The three linear axes."""

    words: ClassVar[str] = "the axes {x: , y: , z: }"
    x: LinearAxis = Field(description="the axis to the right")
    y: LinearAxis = Field(description="the axis away from the operator")
    z: LinearAxis = Field(description="the axis upwards")


class TableAxis(Located):
    """A rotary axis on the work side."""

    words: ClassVar[str] = "a table axis {name: , letter: , carries: , origin: , axis: , limits: }"
    name: Name = Field(description="the name of the axis, as orientations use it")
    letter: Name = Field(description="the letter that the control gives the axis")
    carries: Name = Field(description="the name of the frame that it turns")
    origin: Point = Field(description="a point on the axis, in the frame of its parent")
    axis: Direction = Field(description="the direction of the axis; positive is the right-hand turn of the table")
    limits: TurnTravel = Field(description="the travel [lowest, highest] in degrees, or endless")
    way: Annotated[str, ChoiceRule(("shortest", "up", "down", "either"))] | None = Field(
        None, description="which way round it may turn between two orientations"
    )


class Control(Located):
    """How the control counts."""

    words: ClassVar[str] = "{zero: [x, y, z], signs: {}, work_offset: once}"
    zero: Point = Field(description="the point of the table frame where the control reads X0 Y0 Z0")
    signs: (
        Annotated[dict[str, Annotated[str, ChoiceRule(("1", "-1"))]], MapRule("1 or -1 for each table axis")] | None
    ) = Field(
        None, description="1: counts as the table turns by the right hand; -1: as ISO 841 thinks the tool to move"
    )
    work_offset: Annotated[str, ChoiceRule(("once", "each"))] = Field(
        description="once: the control carries the offset round with the table; each: one per orientation"
    )


class Spindle(Located):
    """The spindle above the gauge line."""

    words: ClassVar[str] = "{nose: [[d, l], ...]}"
    nose: ShapeRows = Field(description="the spindle nose, step by step from the gauge line up")


class Machine(Located):
    """A machine: its axes, its own bodies, how its control counts."""

    words: ClassVar[str] = "a machine"
    required: ClassVar[tuple[str, ...]] = ("title", "linear_axes", "spindle")
    format: Annotated[Format, NONE_IF_FAULTY] | None = Field(None, description="the number of the file format")
    units: Annotated[Units, NONE_IF_FAULTY] | None = Field(None, description="mm or inch, for all lengths of the file")
    title: Annotated[Text, NONE_IF_FAULTY] | None = Field(None, description="a title for people")
    sources: Annotated[Text, NONE_IF_FAULTY] | None = Field(None, description="where the numbers come from")
    linear_axes: Annotated[LinearAxes, NONE_IF_FAULTY] | None = Field(None, description="the axes x, y and z")
    table_axes: (
        Annotated[
            tuple[Annotated[TableAxis, TOLERANT], ...], ListRule("a list of up to two table axes"), NONE_IF_FAULTY
        ]
        | None
    ) = Field(None, description="none, one or two table axes; each carries the next")
    operator: Annotated[str, ChoiceRule(("-Y", "+Y", "-X", "+X")), NONE_IF_FAULTY] | None = Field(
        None, description="the side that the operator stands on"
    )
    home: (
        Annotated[dict[str, Annotated[Angle, TOLERANT]], MapRule("an angle for each table axis"), NONE_IF_FAULTY] | None
    ) = Field(None, description="where the table stands at the start and for loading")
    control: Annotated[Control, NONE_IF_FAULTY] | None = Field(None, description="how the control counts")
    spindle: Annotated[Spindle, NONE_IF_FAULTY] | None = Field(None, description="the spindle nose")
    bodies: Bodies | None = Field(None, description="the machine's own bodies")
    not_modelled: Annotated[Texts, NONE_IF_FAULTY] | None = Field(
        None, description="what stands there but is not modelled"
    )

    @classmethod
    def look(cls, value: Any, reading: Reading) -> bool:
        axes = value.get("table_axes")
        if isinstance(axes, list) and len(axes) > 2:
            reading.tell(
                axes[2].node if hasattr(axes[2], "node") else axes[2], "a third table axis; expected two at most"
            )
        return True
