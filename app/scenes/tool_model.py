"""Tools and holders as a file describes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

from pydantic import Field, GetCoreSchemaHandler, ValidationInfo
from pydantic_core import CoreSchema, core_schema

from app.scenes.machine_model import Format, Units
from app.scenes.reading import Located, node_of, reading_of, told
from app.scenes.rows import HolderRows, OutlineRows
from app.scenes.values import ChoiceRule, Flag, ListRule, Name, NumberRule, Text
from kinematics.tool_kinds import KINDS

LONGEST_TOOL = 2000.0  # mm; a longer one is a typing error


@dataclass(frozen=True, slots=True)
class LeastFirst:
    """Two diameters [least, most] must not be the wrong way round; goes round the pair."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def check(value: Any, inner: Any, info: ValidationInfo) -> Any:
            pair = inner(value)
            if pair[0] > pair[1]:
                reading = reading_of(info)
                low, high = (number / reading.scale for number in pair)
                reading.tell(node_of(value), f"[{low:g}, {high:g}] is the wrong way round; expected [least, most]")
                raise told()
            return pair

        return core_schema.with_info_wrap_validator_function(check, handler(source))


ToolLength = Annotated[float, NumberRule("a length", "mm", at_least=0.001, at_most=LONGEST_TOOL)]
ToolLengthOrZero = Annotated[float, NumberRule("a length", "mm", at_least=0.0, at_most=LONGEST_TOOL)]
Diameter = Annotated[float, NumberRule("a diameter", "mm", at_least=0.01, at_most=500.0)]
DiameterOrZero = Annotated[float, NumberRule("a diameter", "mm", at_least=0.0, at_most=500.0)]
Radius = Annotated[float, NumberRule("a radius", "mm", at_least=0.0, at_most=250.0)]
PointAngle = Annotated[float, NumberRule("an included angle", "deg", above=0.0, at_most=180.0)]
TaperAngle = Annotated[float, NumberRule("an angle per side", "deg", at_least=0.0, below=90.0)]
Shanks = Annotated[tuple[Diameter, Diameter], ListRule("two diameters [least, most]", 2), LeastFirst()]
FlankAngle = Annotated[float, NumberRule("an angle from the flat", "deg", above=0.0, at_most=90.0)]


class Neck(Located):
    """A thinner length above what cuts."""

    words: ClassVar[str] = "{d: diameter, to: height from the tip}"
    d: Diameter = Field(description="the diameter of the neck")
    to: ToolLength = Field(description="how far up from the tip the neck reaches")


class Tool(Located):
    """A tool in its holder; lengths count from the tip."""

    words: ClassVar[str] = "a tool {id: , kind: , d: , stick_out: , holder: }"
    id: Name = Field(description="the name of the tool")
    kind: Annotated[str, ChoiceRule(tuple(KINDS))] = Field(description="what kind of tool it is")
    d: Diameter | None = Field(None, description="the largest diameter of what cuts")
    flute: ToolLength | None = Field(None, description="the cutting length")
    shank: Diameter | None = Field(None, description="the diameter of the shank")
    neck: Neck | None = Field(None, description="a thinner length above what cuts")
    corner_radius: Radius | None = Field(None, description="the radius of the corners")
    point_deg: PointAngle | None = Field(None, description="the included angle of the point; 180 is flat")
    tip_d: DiameterOrZero | None = Field(None, description="the diameter of the flat at the tip")
    taper_deg: TaperAngle | None = Field(None, description="the taper per side")
    flank_deg: FlankAngle | None = Field(None, description="the flank of a dovetail, from the flat")
    overall: ToolLength | None = Field(None, description="the overall length of the tool")
    outline: OutlineRows | None = Field(
        None, description="the tool step by step from the tip; replaces its other numbers"
    )
    stick_out: ToolLength = Field(description="the length from the tip to the holder")
    stick_out_measured: Flag | None = Field(None, description="true if the stick-out is measured on the real tool")
    holder: Name = Field(description="the holder: a name of this file or of the library, or a file")


class Holder(Located):
    """A tool holder as a stack of steps from the tool side up to the gauge line."""

    words: ClassVar[str] = "a holder {title: , profile: [[d, l, name], ...]}"
    title: Text | None = Field(None, description="a title for people")
    interface: Text | None = Field(None, description="the spindle interface, by its standard")
    sources: Text | None = Field(None, description="where the numbers come from")
    profile: HolderRows = Field(
        description="steps [d, l], [d1, d2, l], with or without a name last, from the tool side up"
    )
    grip: ToolLengthOrZero | None = Field(None, description="the least gripped length; left out: twice the shank")
    shanks: Shanks | None = Field(None, description="the least and the largest shank diameter that it grips")


class HolderFile(Holder):
    """A holder in a file of its own."""

    format: Format | None = Field(None, description="the number of the file format")
    units: Units | None = Field(None, description="mm or inch, for all lengths of the file")
