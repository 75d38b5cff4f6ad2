"""Bodies as a file describes them: shapes, where they stand, their own set-up errors."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import Field, Tag

from app.scenes.paths import SHAPE_KEYS
from app.scenes.reading import NONE_IF_FAULTY, TOLERANT, Located, MapValue, Reading
from app.scenes.rows import ShapeRows
from app.scenes.values import (
    EITHER,
    Angle,
    ChoiceRule,
    Direction,
    Flag,
    ListRule,
    Name,
    NumberRule,
    Point,
    Side,
    Size,
    SizeOrZero,
    Text,
    one_of,
)

SetupLength = Annotated[float, NumberRule("a set-up error", "mm", at_least=0.0, at_most=50.0)]
SetupTilt = Annotated[float, NumberRule("a set-up error of tilt", "deg", at_least=0.0, at_most=10.0)]
ChordTolerance = Annotated[float, NumberRule("a chord tolerance", "mm", at_least=0.001, at_most=1.0)]
MeshUnits = Annotated[str, ChoiceRule(("mm", "cm", "m", "inch", "foot", "micron"))]
MeshFrom = Annotated[str, ChoiceRule(("origin", "base_centre"))]


class Cylinder(Located):
    """A cylinder on the centre of its base."""

    words: ClassVar[str] = "a cylinder {d: diameter, h: height}"
    d: Size = Field(description="the diameter")
    h: Size = Field(description="the height")


class Cone(Located):
    """A frustum on the centre of its base."""

    words: ClassVar[str] = "a cone {d1: diameter at the base, d2: diameter at the top, h: height}"
    d1: SizeOrZero = Field(description="the diameter at the base")
    d2: SizeOrZero = Field(description="the diameter at the top")
    h: Size = Field(description="the height")


class Key(Located):
    """The room that a key needs over a screw head."""

    words: ClassVar[str] = "{d: diameter, h: height}"
    d: Size = Field(description="the diameter that the key sweeps")
    h: Size = Field(description="the height that the key needs over the head")


class Screw(Located):
    """A screw, washer or pin by its standard; `at` is the seat under its head."""

    words: ClassVar[str] = "a screw {standard: ISO 4762, size: M6}"
    standard: Text = Field(description="the standard of the screw, for example ISO 4762")
    size: Text = Field(description="its size, for example M6; the diameter of a pin")
    length: Size | None = Field(None, description="the length below the head; how far a pin stands out")
    plain_head: Flag | None = Field(None, description="true if the head is known to be plain, not knurled")
    torque: Text | None = Field(None, description="the tightening torque, as text for the sheet")
    key: Key | None = Field(None, description="the room that the key needs over the head")


class Mesh(Located):
    """A body from a mesh file: STL, OBJ, PLY, 3MF or STEP."""

    words: ClassVar[str] = "a mesh {file: part.stl, units: mm}"
    file: Text = Field(description="the mesh file, beside the scene")
    units: MeshUnits | None = Field(None, description="the units of the file; STL, OBJ and PLY do not say them")
    body: Text | None = Field(None, description="which body of the file, by its name; left out: all of them")
    tol: ChordTolerance | None = Field(None, description="how far facets may lie from curved faces of a STEP file")
    start: MeshFrom | None = Field(
        None, alias="from", description="what `at` places: the file's origin, or the centre of the base of its box"
    )
    up: Side | None = Field(None, description="the direction of the file that becomes +Z")


class FaceSupport(Located):
    """A side of a body to stand on."""

    words: ClassVar[str] = "{body: its name, face: +X}"
    body: Name = Field(description="the body that carries this one")
    face: Side = Field(description="the side of its box to stand on")


Support = Annotated[
    Annotated[FaceSupport, Tag("map")] | Annotated[Name, Tag("other")],
    EITHER,
]


class OwnErrors(Located):
    """Set-up errors of one body, where they differ from those of the scene."""

    words: ClassVar[str] = "{location: , body_model: , tilt_deg: }"
    location: SetupLength | None = Field(None, description="how far the body may stand off")
    body_model: SetupLength | None = Field(None, description="how far the body may differ from its model")
    tilt_deg: SetupTilt | None = Field(None, description="degrees that the body may be tilted")


class Body(Located):
    """A solid, or a group that carries others."""

    words: ClassVar[str] = "a body {name: , rides_on: , a shape, at: [x, y, z]}"
    name: Name = Field(description="the name of the body")
    rides_on: Support | None = Field(
        None,
        description="what it stands on: bed, table, head, what a table axis carries, or a body (the centre of its top)",
    )
    at: Point | None = Field(None, description="the centre of its base, from what it stands on")
    turn: Angle | None = Field(None, description="degrees that it is turned about its own Z, before `axis`")
    axis: Direction | None = Field(None, description="the direction that its +Z takes")
    errors: OwnErrors | None = Field(None, description="its own set-up errors")
    box: Annotated[tuple[Size, Size, Size], ListRule("a box [dx, dy, dz]", 3)] | None = Field(
        None, description="a cuboid [dx, dy, dz]"
    )
    cylinder: Cylinder | None = Field(None, description="a cylinder")
    cone: Cone | None = Field(None, description="a cone or frustum")
    revolve: ShapeRows | None = Field(None, description="a turned solid, step by step from its base")
    screw: Screw | None = Field(None, description="a screw, washer or pin by its standard")
    mesh: Mesh | None = Field(None, description="a mesh file")
    bodies: Annotated[tuple[Annotated[Body, TOLERANT], ...], ListRule("a list of bodies", at_least=1)] | None = Field(
        None, description="the members of a group"
    )

    @classmethod
    def look(cls, value: MapValue, reading: Reading) -> bool:
        shapes = [entry for entry in value.node.entries if entry.key.text in (*SHAPE_KEYS, "bodies")]
        if not shapes and not any(entry.key.text not in value for entry in value.node.entries):
            # an unknown key that was told already is likely the shape misspelt
            reading.tell(value.node, f"has no shape; expected {one_of((*SHAPE_KEYS, 'bodies'))}")
        for entry in shapes[1:]:
            reading.tell_key(value.node, entry, f"a second shape beside {shapes[0].key.text}; expected one")
        errors = next((entry for entry in value.node.entries if entry.key.text == "errors"), None)
        is_group = "bodies" in value
        if is_group and errors is not None:
            reading.tell_key(value.node, errors, "a group has no errors of its own; expected them in its bodies")
        return len(shapes) == 1 and not (is_group and errors is not None)


Bodies = Annotated[tuple[Annotated[Body, TOLERANT], ...], ListRule("a list of bodies"), NONE_IF_FAULTY]
