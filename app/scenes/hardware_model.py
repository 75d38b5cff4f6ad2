"""Tables of screws, washers and pins: one file per standard."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import Field

from app.scenes.machine_model import Format, Units
from app.scenes.reading import TOLERANT, Located
from app.scenes.values import ChoiceRule, MapRule, Size, Text


class HardwareSize(Located):
    """One size of a standard."""

    words: ClassVar[str] = "{head_d: , head_h: }"
    head_d: Size = Field(
        description="the largest diameter of the head; of a washer or pin, its own; over corners for a hexagon"
    )
    head_d_knurled: Size | None = Field(None, description="the largest diameter of a knurled head")
    head_h: Size | None = Field(None, description="the height of the head; the thickness of a washer; a pin has none")
    shank_d: Size | None = Field(None, description="the diameter of the shank below the head")
    key: Size | None = Field(None, description="the size of the key")


class Hardware(Located):
    """The sizes of one standard."""

    words: ClassVar[str] = "a table of sizes"
    format: Format | None = Field(None, description="the number of the file format")
    units: Units | None = Field(None, description="mm or inch, for all lengths of the file")
    standard: Text = Field(description="the standard, as scenes name it")
    title: Text | None = Field(None, description="a title for people")
    kind: Annotated[str, ChoiceRule(("screw", "washer", "pin"))] = Field(description="screw, washer or pin")
    sources: Text | None = Field(None, description="where the numbers come from")
    sizes: Annotated[dict[str, Annotated[HardwareSize, TOLERANT]], MapRule("a mapping of sizes")] = Field(
        description="the dimensions of each size"
    )
