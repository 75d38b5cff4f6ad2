"""The kinds of values that a file can hold, as types for the models: each knows its limits and its words."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Discriminator, GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationInfo
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from app.scenes.document import nearest
from app.scenes.located import Node, ScalarNode, is_empty
from app.scenes.reading import ListValue, MapValue, Reading, Value, node_of, reading_of, shown, told
from app.scenes.traps import number_words, quoted_words

_COMMENT_STUCK = re.compile(r"[ \t]+(#[^\s#][^\r\n]*)")


@dataclass(frozen=True, slots=True)
class NumberRule:
    """A number within reason. `unit` is "mm" for a length, "deg" for an angle, "" for a plain number.

    Limits are in mm, also where the file is in inches; the value comes out in mm.
    """

    what: str
    unit: str = ""
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        if self.unit == "mm":  # limits of a length depend on the units of the file; only its sign does not
            low = {} if self.at_least is None or self.at_least < 0.0 else {"minimum": 0.0}
            return {"type": "number", **({"exclusiveMinimum": 0.0} if (self.at_least or 0.0) > 0.0 else low)}
        limits = {
            "exclusiveMinimum": self.above,
            "exclusiveMaximum": self.below,
            "minimum": self.at_least,
            "maximum": self.at_most,
        }
        return {"type": "number", **{key: value for key, value in limits.items() if value is not None}}

    def _validate(self, value: Value, info: ValidationInfo) -> float:
        return self.read(value, reading_of(info))

    def read(self, value: Value, reading: Reading) -> float:
        """The number in mm, degrees or as it is; tells the fault and raises if it is none."""
        if isinstance(value, ScalarNode):
            reading.kept.keep_number(value, reading.units if self.unit == "mm" else self.unit)
        message = self._fault_of(value, reading)
        if message is not None:
            reading.tell(node_of(value), message)
            raise told()
        assert isinstance(value, ScalarNode) and isinstance(value.value, float)
        return reading.in_mm(value.value) if self.unit == "mm" else value.value

    def expected(self, reading: Reading) -> str:
        unit = reading.units if self.unit == "mm" else self.unit
        return f"{self.what} in {unit}" if unit else self.what

    def _fault_of(self, value: Value, reading: Reading) -> str | None:
        if not isinstance(value, ScalarNode):
            return f"{shown(value)}; expected {self.expected(reading)}"
        if value.is_broken:
            return "told already"
        if value.value is None:
            what = "has no value" if is_empty(value) else f"'{value.text}' is no value"
            return f"{what}; expected {self.expected(reading)}"
        if isinstance(value.value, str):
            if value.style and (quoted := quoted_words(value.text)) is not None:
                return quoted
            return number_words(value.text, self.expected(reading), reading.units if self.unit == "mm" else self.unit)
        if isinstance(value.value, bool):
            return f"'{value.text}' is no number; expected {self.expected(reading)}"
        if not math.isfinite(value.value):
            return f"'{value.text}' is no number that can be measured; expected {self.expected(reading)}"
        return self._out_of_reason(value.value, value.text, reading)

    def _out_of_reason(self, number: float, text: str, reading: Reading) -> str | None:
        scale = reading.scale if self.unit == "mm" else 1.0
        size = number * scale
        unit = reading.units if self.unit == "mm" else self.unit
        too_low = (self.above is not None and size <= self.above) or (
            self.at_least is not None and size < self.at_least
        )
        too_high = (self.below is not None and size >= self.below) or (self.at_most is not None and size > self.at_most)
        if not (too_low or too_high):
            return None
        given = f"{text} {unit}".strip()
        if scale != 1.0 and not too_low:
            given += f" ({size:.6g} mm)"
        return f"{given} is out of reason; expected {self.what} {self._range(scale, unit)}"

    def _range(self, scale: float, unit: str) -> str:
        words = []
        if self.above is not None:
            words.append(f"above {self.above / scale:.6g}")
        if self.at_least is not None:
            words.append(f"from {self.at_least / scale:.6g}")
        if self.below is not None:
            words.append(f"below {self.below / scale:.6g}")
        if self.at_most is not None:
            words.append(f"up to {self.at_most / scale:.6g}")
        return f"{' '.join(words)} {unit}".strip()


@dataclass(frozen=True, slots=True)
class TextRule:
    """A text in one line. A plain number is taken as it is written, so that a tool may be called 5."""

    what: str
    longest: int = 500

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"type": ["string", "number"]}

    def _validate(self, value: Value, info: ValidationInfo) -> str:
        return self.read(value, reading_of(info))

    def read(self, value: Value, reading: Reading) -> str:
        message = self._fault_of(value, reading)
        if message is not None:
            reading.tell(node_of(value), message)
            raise told()
        assert isinstance(value, ScalarNode)
        return value.text

    def _fault_of(self, value: Value, reading: Reading) -> str | None:
        if not isinstance(value, ScalarNode):
            return f"{shown(value)}; expected {self.what}"
        if value.is_broken:
            return "told already"
        if value.value is None:
            what = "has no value" if is_empty(value) else f"'{value.text}' is no text unless it stands in quotes"
            return f"{what}; expected {self.what}"
        if isinstance(value.value, bool):
            return f"'{value.text}' is true or false unless it stands in quotes; expected \"{value.text}\""
        if not value.text.strip():
            return f"the text is empty; expected {self.what}"
        if len(value.text) > self.longest:
            return f"the text has {len(value.text)} characters; expected at most {self.longest}"
        document = reading.document
        if not value.style and (cut := _COMMENT_STUCK.match(document.text, document.at(value.end))) is not None:
            whole = f"{value.text} {cut[1].rstrip()}"
            return (
                f"'{cut[1].split()[0]}' starts a comment and ends the text at '{value.text}'; "
                f'expected quotes: "{whole}", or a blank after the #'
            )
        return None


@dataclass(frozen=True, slots=True)
class ChoiceRule:
    """One word out of a few."""

    options: tuple[str, ...]
    or_else: str = ""  # another form that stands beside the words, for faults

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"enum": [int(o) if o.lstrip("-").isdigit() else o for o in self.options]}

    def _validate(self, value: Value, info: ValidationInfo) -> str:
        return self.read(value, reading_of(info))

    def read(self, value: Value, reading: Reading) -> str:
        if isinstance(value, ScalarNode) and not value.is_broken and value.text in self.options:
            return value.text
        expected = one_of((*self.options, self.or_else) if self.or_else else self.options)
        if isinstance(value, ScalarNode) and is_empty(value):
            reading.tell(value, f"has no value; expected {expected}")
        else:
            near = nearest(value.text, self.options) if isinstance(value, ScalarNode) else None
            hint = f"; nearest: {near}" if near else ""
            reading.tell(node_of(value), f"{shown(value)}; expected {expected}{hint}")
        raise told()


@dataclass(frozen=True, slots=True)
class FlagRule:
    """true or false."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"type": "boolean"}

    def _validate(self, value: Value, info: ValidationInfo) -> bool:
        if isinstance(value, ScalarNode) and isinstance(value.value, bool):
            return value.value
        reading = reading_of(info)
        word = value.text.lower() if isinstance(value, ScalarNode) else ""
        meant = {"yes": "true", "on": "true", "1": "true", "no": "false", "off": "false", "0": "false"}.get(word)
        meant = meant or (word if word in ("true", "false") else None)
        hint = f": {meant}" if meant else ""
        what = "has no value" if isinstance(value, ScalarNode) and is_empty(value) else shown(value)
        reading.tell(node_of(value), f"{what}; expected true or false{hint}")
        raise told()


@dataclass(frozen=True, slots=True)
class ListRule:
    """A list, with a fixed number of entries if `n` is given; goes before the types of the entries."""

    what: str
    n: int | None = None
    at_least: int = 0

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_before_validator_function(self._validate, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        least = {"minItems": self.at_least} if self.at_least else {}
        return {**handler(schema), **least}

    def _validate(self, value: Value, info: ValidationInfo) -> ListValue:
        return self.read(value, reading_of(info))

    def read(self, value: Value, reading: Reading) -> ListValue:
        if not isinstance(value, ListValue):
            what = "has no value" if isinstance(value, ScalarNode) and is_empty(value) else shown(value)
            reading.tell(node_of(value), f"{what}; expected {self.what}")
            raise told()
        if self.n is not None and len(value) != self.n:
            reading.tell(value.node, length_words(value, self.what, reading))
            raise told()
        if len(value) < self.at_least:
            reading.tell(value.node, f"the list is empty; expected {self.what}")
            raise told()
        return value


@dataclass(frozen=True, slots=True)
class MapRule:
    """A mapping with names as keys; goes before the type of its values."""

    what: str

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_before_validator_function(self._validate, handler(source))

    def _validate(self, value: Value, info: ValidationInfo) -> MapValue:
        if isinstance(value, MapValue):
            value.fill()
            return value
        what = "has no value" if isinstance(value, ScalarNode) and is_empty(value) else shown(value)
        reading_of(info).tell(node_of(value), f"{what}; expected {self.what}")
        raise told()


def length_words(value: ListValue, what: str, reading: Reading) -> str:
    """The words for a list of the wrong length; a comma that stands for a decimal point is named."""
    given = reading.document.written(value.node)
    given = given if len(given) <= 60 and "\n" not in given else f"a list of {len(value)}"
    hint = f"; a decimal comma? nearest: {commas}" if (commas := stuck_commas(value.node, reading)) else ""
    return f"{given} has {len(value)} {'entry' if len(value) == 1 else 'entries'}; expected {what}{hint}"


def stuck_commas(node: Node, reading: Reading) -> str | None:
    """A list with its commas between two digits read as decimal points, or None if there is no such comma."""
    text = reading.document.written(node)
    mended = re.sub(r"(?<=\d),(?=\d)", ".", text)
    return mended if mended != text and ", " in text else None


def one_of(options: Iterable[str]) -> str:
    words = tuple(options)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def map_or_other(value: Any) -> str:
    """Tells the two forms of a value apart for pydantic: a mapping, or anything else."""
    return "map" if isinstance(value, MapValue) else "other"


EITHER = Discriminator(map_or_other)


class NotZero:
    """A direction must have a length; goes round a point."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def check(value: Any, inner: Any, info: ValidationInfo) -> Any:
            direction = inner(value)
            if sum(v * v for v in direction) < 1e-18:
                reading_of(info).tell(node_of(value), "[0, 0, 0] is no direction; expected a vector longer than 0")
                raise told()
            return direction

        return core_schema.with_info_wrap_validator_function(check, handler(source))


SMALLEST = 0.001  # mm; nothing on a table is smaller, and a typing error is
LARGEST = 10_000.0  # mm; nothing on a small machine is larger

Size = Annotated[float, NumberRule("a length", "mm", at_least=SMALLEST, at_most=LARGEST)]
SizeOrZero = Annotated[float, NumberRule("a length", "mm", at_least=0.0, at_most=LARGEST)]
Coordinate = Annotated[float, NumberRule("a coordinate", "mm", at_least=-LARGEST, at_most=LARGEST)]
Angle = Annotated[float, NumberRule("an angle", "deg", at_least=-360.0, at_most=360.0)]
Component = Annotated[float, NumberRule("a component of a direction", at_least=-1e6, at_most=1e6)]
Name = Annotated[str, TextRule("a name", longest=80)]
Text = Annotated[str, TextRule("a text")]
Texts = Annotated[tuple[Text, ...], ListRule("a list of texts")]
Flag = Annotated[bool, FlagRule()]
Point = Annotated[tuple[Coordinate, Coordinate, Coordinate], ListRule("a point [x, y, z]", 3)]
Direction = Annotated[tuple[Component, Component, Component], ListRule("a direction [x, y, z]", 3), NotZero()]
Pair = Annotated[tuple[Size, Size], ListRule("two lengths [a, b]", 2)]
Side = Annotated[str, ChoiceRule(("+X", "-X", "+Y", "-Y", "+Z", "-Z"))]
