"""The steps of turned profiles as a file writes them: ``[d, l]``, ``[d1, d2, l]``, with a word last."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, NamedTuple

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationInfo
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from app.scenes.located import ScalarNode
from app.scenes.reading import ListValue, Reading, Told, Value, node_of, reading_of, told
from app.scenes.traps import looks_like_number
from app.scenes.values import ChoiceRule, ListRule, NumberRule, TextRule, length_words, stuck_commas

_DIAMETER = NumberRule("a diameter", "mm", at_least=0.0, at_most=2000.0)
_LENGTH = NumberRule("the length of a step", "mm", at_least=0.001, at_most=2000.0)


class Row(NamedTuple):
    """One step of a turned profile: lower and upper diameter, length, and its word, if it has one."""

    d1: float
    d2: float
    length: float
    word: str | None


@dataclass(frozen=True, slots=True)
class RowRule:
    """A row of two or three numbers; `word` is the rule of the word that comes last, `what` names the forms."""

    what: str
    word: TextRule | ChoiceRule | None = None
    needs_word: bool = False

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        number: dict[str, Any] = {"type": "number", "minimum": 0}
        word: dict[str, Any] = {"type": ["string", "number"]}
        if isinstance(self.word, ChoiceRule):
            word = {"enum": list(self.word.options)}
        elif self.word is not None:
            word = {"type": "string"}
        forms = [] if self.needs_word else [[number, number], [number, number, number]]
        if self.word is not None:
            forms += [[number, number, word], [number, number, number, word]]
        rows = [{"type": "array", "prefixItems": form, "minItems": len(form), "maxItems": len(form)} for form in forms]
        return {"anyOf": rows}

    def _validate(self, value: Value, info: ValidationInfo) -> Row:
        reading = reading_of(info)
        items = ListRule(self.what).read(value, reading)
        numbers, word = self._split(items)
        if len(numbers) not in (2, 3) or (word is None and self.needs_word):
            reading.tell(items.node, length_words(items, self.what, reading))
            raise told()
        if (mended := stuck_commas(items.node, reading)) is not None:
            reading.tell(
                items.node, f"a comma between two digits; expected a decimal point: {mended}, or a blank after it"
            )
            raise told()
        sizes = [_read(_DIAMETER, number, reading) for number in numbers[:-1]]
        length = _read(_LENGTH, numbers[-1], reading)
        name = None if word is None or self.word is None else _read(self.word, word, reading)
        if length is None or None in sizes or (word is not None and name is None):
            raise told()
        if max(sizes) <= 0.0:
            reading.tell(node_of(numbers[0]), "no diameter of the step is above 0; expected one at least")
            raise told()
        return Row(sizes[0], sizes[-1], length, name)

    def _split(self, items: ListValue) -> tuple[list[Value], Value | None]:
        """The numbers of a row, and its last entry if it is meant as a word."""
        if self.word is None or not items:
            return list(items), None
        last = items[-1]
        is_word = isinstance(last, ScalarNode) and _is_word(last)
        return (list(items[:-1]), last) if is_word else (list(items), None)


def _is_word(node: ScalarNode) -> bool:
    """A text, unless it is likely meant as a number."""
    return isinstance(node.value, str) and not looks_like_number(node.text)


def _read(rule: NumberRule | TextRule | ChoiceRule, value: Value, reading: Reading) -> Any:
    """The value, or None if it is faulty: the other entries of the row are still to be read."""
    try:
        return rule.read(value, reading)
    except Told:
        return None


ShapeRows = Annotated[
    tuple[Annotated[Row, RowRule("a step [d, l] or [d1, d2, l]")], ...],
    ListRule("a list of steps [d, l] or [d1, d2, l]", at_least=1),
]
HolderRows = Annotated[
    tuple[
        Annotated[Row, RowRule("a step [d, l] or [d1, d2, l], with or without a name last", TextRule("a name"))], ...
    ],
    ListRule("a list of steps [d, l, name], from the tool side up", at_least=1),
]
OutlineRows = Annotated[
    tuple[
        Annotated[
            Row,
            RowRule(
                "a step [d, l, part] or [d1, d2, l, part] with part cutter, neck or shank",
                ChoiceRule(("cutter", "neck", "shank")),
                needs_word=True,
            ),
        ],
        ...,
    ],
    ListRule("a list of steps [d, l, part], from the tip up", at_least=1),
]
