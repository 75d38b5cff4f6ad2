"""The bridge between the located tree and the pydantic models: who is told what is wrong, and where.

1. Models are given located values: mappings and lists that know their node, and single values as
   `ScalarNode`. A rule that finds a fault tells it to the `Reading` at that node and raises `told()`;
   pydantic only carries the news upwards that something below is missing.
2. An entry of a list or mapping that is marked `TOLERANT` is left out when it is faulty, so that all
   others are still read and checked.
3. Lengths come out in mm, whatever the units of the file.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any, ClassVar, Self, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    GetCoreSchemaHandler,
    PrivateAttr,
    ValidationError,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    model_validator,
)
from pydantic.fields import FieldInfo
from pydantic_core import CoreSchema, PydanticCustomError, PydanticOmit, core_schema

from app.scenes.document import Document, nearest
from app.scenes.faults import MOST_FAULTS, Fault
from app.scenes.kept import Kept
from app.scenes.located import Entry, ListNode, MapNode, Node, ScalarNode, is_empty, short

MM_PER_INCH = 25.4  # exact, by definition since 1959
SCALES = {"mm": 1.0, "inch": MM_PER_INCH}


class Reading:
    """One document being read: its units, the faults and assumptions found on the way, and what may be kept."""

    def __init__(
        self, document: Document, units: str, faults: list[Fault], assumed: list[str], kept: Kept | None = None
    ) -> None:
        self.kept = kept if kept is not None else Kept()
        self.document = document
        self.units = units
        self.scale = SCALES[units]
        self.faults = faults
        self.assumed = assumed
        self.axis_names: tuple[str, ...] | None = None  # None while the machine is not known

    def in_mm(self, length: float) -> float:
        """A length of the file in mm: 0.375 inch is 9.525, not 9.524999999999999."""
        if self.scale == 1.0:
            return length
        return float(Decimal(repr(length)) * Decimal(repr(self.scale)))

    @property
    def is_flooded(self) -> bool:
        """Whether there are more faults already than anybody will be shown."""
        return len(self.faults) > 2 * MOST_FAULTS

    def tell(self, node: Node, message: str, *key: str) -> None:
        """A value is at fault, or lacks a key."""
        if not (isinstance(node, ScalarNode) and node.is_broken) and not self.is_flooded:
            self.faults.append(self.document.fault(node, message, *key))

    def tell_key(self, holder: Node, entry: Entry, message: str) -> None:
        """A key is at fault."""
        if self.is_flooded:
            return
        path = "/".join(part for part in (self.document.path_of(holder), short(entry.key.text)) if part)
        self.faults.append(self.document.fault_at(entry.key.start, path, message))

    def assume(self, words: str) -> None:
        """A value came from a default."""
        if words not in self.assumed:
            self.assumed.append(words)


class MapValue(dict[str, Any]):
    """A mapping given to a model, empty until its values are looked for. `node`: where it stands."""

    __slots__ = ("node",)

    def __init__(self, node: MapNode) -> None:
        super().__init__()
        self.node = node

    def fill(self) -> None:
        """Take in what stands in the mapping."""
        self.update((entry.key.text, located(entry.value)) for entry in self.node.entries)


class ListValue(list[Any]):
    """A list given to a model. `node`: where it stands."""

    __slots__ = ("node",)

    def __init__(self, node: ListNode) -> None:
        super().__init__(located(item) for item in node.items)
        self.node = node


Value = MapValue | ListValue | ScalarNode


def located(node: Node) -> Value:
    """A node as models take it."""
    if isinstance(node, MapNode):
        return MapValue(node)
    return ListValue(node) if isinstance(node, ListNode) else node


def node_of(value: Value) -> Node:
    return value if isinstance(value, ScalarNode) else value.node


Told = PydanticCustomError


def told() -> Told:
    """What a rule raises after it has told its fault."""
    return Told("told", "told")


def reading_of(info: ValidationInfo) -> Reading:
    reading = info.context
    assert isinstance(reading, Reading), "models of scene files are validated through read_model"
    return reading


class _Tolerant:
    """Leaves a faulty entry out of its list or mapping."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_wrap_validator_function(_omit_faulty, handler(source))


def _omit_faulty(value: Any, inner: ValidatorFunctionWrapHandler) -> Any:
    try:
        return inner(value)
    except ValidationError as error:
        _assert_told(error)
        raise PydanticOmit from error


class _Faulty:
    """Reads a faulty value as None, so that the rest of the object is still read and checked."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_wrap_validator_function(_none_for_faulty, handler(source))


def _none_for_faulty(value: Any, inner: ValidatorFunctionWrapHandler) -> Any:
    try:
        return inner(value)
    except ValidationError as error:
        _assert_told(error)
        return None


TOLERANT = _Tolerant()
NONE_IF_FAULTY = _Faulty()


def _assert_told(error: ValidationError) -> None:
    kinds = {(e["type"], e["loc"]) for e in error.errors(include_url=False, include_input=False)}
    assert all(kind == "told" for kind, _ in kinds), f"a rule let pydantic speak for itself: {kinds}"


class Located(BaseModel):
    """Base of every model of a file's object. `node` is where it stands.

    `words` says in a fault what was expected. A model with `stays_whole` false is returned with
    None for what is missing; it is for whole files only.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, protected_namespaces=())
    words: ClassVar[str] = "a mapping"
    required: ClassVar[tuple[str, ...]] = ()  # keys without which even a whole file makes no sense
    _node: Any = PrivateAttr(default=None)

    @property
    def node(self) -> MapNode:
        assert isinstance(self._node, MapNode), "the model was not read from a file"
        return self._node

    @classmethod
    def known_keys(cls) -> dict[str, FieldInfo]:
        """The keys of the file with their fields."""
        return {field.alias or name: field for name, field in cls.model_fields.items()}

    @classmethod
    def other_keys(cls, reading: Reading) -> tuple[str, ...]:
        """Keys that the set-up adds to those of the model (the axes of its machine)."""
        return ()

    @classmethod
    def look(cls, value: MapValue, reading: Reading) -> bool:
        """Tells faults of the object as a whole before its values are read; true if there is none."""
        return True

    @model_validator(mode="wrap")
    @classmethod
    def _read(cls, value: Any, inner: ValidatorFunctionWrapHandler, info: ValidationInfo) -> Self:
        reading = reading_of(info)
        if not isinstance(value, MapValue):
            if isinstance(value, ScalarNode) and value.value is None:
                reading.tell(value, f"has no value; expected {cls.words}")
            else:
                reading.tell(node_of(value), f"{shown(value)}; expected {cls.words}")
            raise told()
        known = reading.kept.model_of(cls, value.node)
        if known is not None:
            assert isinstance(known, cls), "a model is kept by its own class"
            return known
        value.fill()
        n_faults = len(reading.faults)
        suggested = cls._tell_unknown(value, reading)
        is_good = cls._tell_missing(value, reading, suggested)
        is_good = cls.look(value, reading) and is_good
        try:
            model: Self = inner(value)
        except ValidationError as error:
            errors = error.errors(include_url=False, include_input=False)
            assert all(e["type"] in ("told", "missing") for e in errors), f"pydantic spoke for itself: {errors}"
            raise told() from error
        if not is_good:
            raise told()
        model._node = value.node
        if len(reading.faults) == n_faults and not reading.is_flooded:
            reading.kept.keep_model(model, value.node)
        return model

    @classmethod
    def _tell_unknown(cls, value: MapValue, reading: Reading) -> set[str]:
        """Takes unknown keys out and tells them; returns the keys that were suggested instead."""
        known = (*cls.known_keys(), *cls.other_keys(reading))
        suggested: set[str] = set()
        free = set(known) - {entry.key.text for entry in value.node.entries}
        for entry in value.node.entries:
            key = entry.key.text
            if key in known:
                continue
            if cls.model_config.get("extra") != "allow":
                value.pop(key, None)
            elif cls.takes(entry, reading):
                continue
            else:
                value.pop(key, None)
            if reading.is_flooded:
                continue
            before, colon, after = key.partition(":")
            if colon and before in known and isinstance(entry.value, ScalarNode) and is_empty(entry.value):
                suggested.add(before)
                reading.tell_key(value.node, entry, f"no blank after the colon; expected '{before}: {short(after)}'")
                continue
            near = nearest(key, free)
            suggested |= {near} if near else set()
            hint = f"nearest: {near}" if near else f"known here: {', '.join(known)}"
            reading.tell_key(value.node, entry, f"the key '{short(key)}' is not known here; {hint}")
        return suggested

    @classmethod
    def takes(cls, entry: Entry, reading: Reading) -> bool:
        """Whether a model that allows other keys takes this one."""
        return False

    @classmethod
    def _tell_missing(cls, value: MapValue, reading: Reading, suggested: set[str]) -> bool:
        is_good = True
        for key, field in cls.known_keys().items():
            if key in value or not (field.is_required() or key in cls.required):
                continue
            if key not in suggested:
                expected = field.description or "a value"
                reading.tell(value.node, f"is missing; expected {expected}", key)
            is_good = is_good and not field.is_required()
        return is_good


ModelT = TypeVar("ModelT", bound=Located)


def read_model(model: type[ModelT], node: Node, reading: Reading) -> ModelT | None:
    """Read a node as a model. All faults are told to the reading; None if there is any in the object itself."""
    try:
        return model.model_validate(located(node), context=reading)
    except ValidationError as error:
        _assert_told(error)
        return None


def shown(value: Value) -> str:
    """A value in words, for a fault."""
    if isinstance(value, MapValue):
        return "is a mapping {...}"
    if isinstance(value, ListValue):
        return f"is a list of {len(value)}"
    return f"'{short(value.text)}'"


Check = Callable[[Value, Reading], Any]
