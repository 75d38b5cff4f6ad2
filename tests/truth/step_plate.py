"""A plate with openings, written as a STEP file (ISO 10303-21, AP 214) by hand: faces are planes and cylinders.

Shares no code with the product. Entities as ISO 10303-42 defines them, from memory; the file is read by a reader
that is not ours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

Point = tuple[float, float]


@dataclass(frozen=True)
class Segment:
    """From `start` to `end`, counter-clockwise; round `centre` where there is one."""

    start: Point
    end: Point
    centre: Point | None = None


def rectangle(at: Point, size: Point, corner: float = 0.0) -> list[Segment]:
    """Counter-clockwise, with round corners where `corner` is above 0."""
    x, y, a, b, r = *at, size[0] / 2, size[1] / 2, corner
    corners = [(x + a, y + b), (x - a, y + b), (x - a, y - b), (x + a, y - b)]
    if r == 0.0:
        return [Segment(p, q) for p, q in zip(corners, corners[1:] + corners[:1], strict=True)]
    found = []
    turns = [(1, 1), (-1, 1), (-1, -1), (1, -1)]
    for k, (sx, sy) in enumerate(turns):
        c = (x + sx * (a - r), y + sy * (b - r))
        first = math.pi / 2 * k
        p = (c[0] + r * round(math.cos(first)), c[1] + r * round(math.sin(first)))
        q = (c[0] + r * round(math.cos(first + math.pi / 2)), c[1] + r * round(math.sin(first + math.pi / 2)))
        found.append(Segment(p, q, c))
        tx, ty = turns[(k + 1) % 4]
        c2 = (x + tx * (a - r), y + ty * (b - r))
        p2 = (c2[0] + r * round(math.cos(first + math.pi / 2)), c2[1] + r * round(math.sin(first + math.pi / 2)))
        if math.dist(q, p2) > 1e-9:
            found.append(Segment(q, p2))
    return found


def circle(at: Point, radius: float) -> list[Segment]:
    """As two half rounds."""
    right, left = (at[0] + radius, at[1]), (at[0] - radius, at[1])
    return [Segment(right, left, at), Segment(left, right, at)]


@dataclass
class _File:
    lines: list[str] = field(default_factory=list)

    def add(self, text: str) -> str:
        self.lines.append(f"#{len(self.lines) + 1}={text};")
        return f"#{len(self.lines)}"

    def point(self, x: float, y: float, z: float) -> str:
        return self.add(f"CARTESIAN_POINT('',({x:.9f},{y:.9f},{z:.9f}))")

    def direction(self, x: float, y: float, z: float) -> str:
        return self.add(f"DIRECTION('',({x:.12f},{y:.12f},{z:.12f}))")

    def axes(self, at: tuple[float, float, float], z: tuple[float, ...], x: tuple[float, ...]) -> str:
        return self.add(f"AXIS2_PLACEMENT_3D('',{self.point(*at)},{self.direction(*z)},{self.direction(*x)})")


def step_plate(size: tuple[float, float, float], openings: list[tuple[list[Segment], float]]) -> str:
    """A block with its lower corner at the origin; openings go down from its top face, blind, each to its depth."""
    file = _File()
    length, width, height = size
    vertices: dict[tuple[float, float, float], str] = {}
    edges: dict[object, str] = {}

    def vertex(p: Point, z: float) -> str:
        key = (round(p[0], 7), round(p[1], 7), z)
        if key not in vertices:
            vertices[key] = file.add(f"VERTEX_POINT('',{file.point(*p, z)})")
        return vertices[key]

    def edge(s: Segment, z: float) -> str:
        if (s, z) not in edges:
            if s.centre:
                radius = math.dist(s.start, s.centre)
                curve = file.add(f"CIRCLE('',{file.axes((*s.centre, z), (0, 0, 1), (1, 0, 0))},{radius:.9f})")
            else:
                n = math.dist(s.start, s.end)
                along = file.direction((s.end[0] - s.start[0]) / n, (s.end[1] - s.start[1]) / n, 0)
                vector = file.add(f"VECTOR('',{along},1.)")
                curve = file.add(f"LINE('',{file.point(*s.start, z)},{vector})")
            edges[s, z] = file.add(f"EDGE_CURVE('',{vertex(s.start, z)},{vertex(s.end, z)},{curve},.T.)")
        return edges[s, z]

    def upright(p: Point, low: float, high: float) -> str:
        key = (round(p[0], 7), round(p[1], 7), low, high)
        if key not in edges:
            vector = file.add(f"VECTOR('',{file.direction(0, 0, 1)},1.)")
            line = file.add(f"LINE('',{file.point(*p, low)},{vector})")
            edges[key] = file.add(f"EDGE_CURVE('',{vertex(p, low)},{vertex(p, high)},{line},.T.)")
        return edges[key]

    def loop(parts: list[tuple[str, bool]]) -> str:
        oriented = [file.add(f"ORIENTED_EDGE('',*,*,{e},.{'T' if forward else 'F'}.)") for e, forward in parts]
        return file.add(f"EDGE_LOOP('',({','.join(oriented)}))")

    def face(loops: list[str], surface: str, same_sense: str) -> str:
        bounds = [
            file.add(f"{'FACE_OUTER_BOUND' if k == 0 else 'FACE_BOUND'}('',{line},.T.)") for k, line in enumerate(loops)
        ]
        return file.add(f"ADVANCED_FACE('',({','.join(bounds)}),{surface},.{same_sense}.)")

    def level(z: float, up: int) -> str:
        return file.add(f"PLANE('',{file.axes((0, 0, z), (0, 0, up), (1, 0, 0))})")

    def around(ring: list[Segment], z: float) -> str:
        return loop([(edge(s, z), True) for s in ring])

    def back(ring: list[Segment], z: float) -> str:
        return loop([(edge(s, z), False) for s in reversed(ring)])

    def wall(s: Segment, low: float, high: float, sign: int) -> str:
        """`sign` 1: material on the left (the outside of the block); -1: on the right (an opening)."""
        bottom, top = edge(s, low), edge(s, high)
        first, last = upright(s.start, low, high), upright(s.end, low, high)
        if sign > 0:
            line = loop([(bottom, True), (last, True), (top, False), (first, False)])
        else:
            line = loop([(top, True), (last, False), (bottom, False), (first, True)])
        if s.centre:
            axes = file.axes((*s.centre, low), (0, 0, 1), (1, 0, 0))
            surface = file.add(f"CYLINDRICAL_SURFACE('',{axes},{math.dist(s.start, s.centre):.9f})")
            return face([line], surface, "T" if sign > 0 else "F")
        n = math.dist(s.start, s.end)
        dx, dy = (s.end[0] - s.start[0]) / n, (s.end[1] - s.start[1]) / n
        axes = file.axes((*s.start, low), (sign * dy, -sign * dx, 0), (dx, dy, 0))
        return face([line], file.add(f"PLANE('',{axes})"), "T")

    outline = rectangle((length / 2, width / 2), (length, width))
    faces = [wall(s, 0.0, height, 1) for s in outline]
    faces.append(face([back(outline, 0.0)], level(0.0, -1), "T"))
    faces.append(face([around(outline, height)] + [back(ring, height) for ring, _ in openings], level(height, 1), "T"))
    for ring, depth in openings:
        faces += [wall(s, height - depth, height, -1) for s in ring]
        faces.append(face([around(ring, height - depth)], level(height - depth, 1), "T"))
    shell = file.add(f"CLOSED_SHELL('',({','.join(faces)}))")
    solid = file.add(f"MANIFOLD_SOLID_BREP('plate',{shell})")
    _frame(file, solid)
    head = "FILE_DESCRIPTION((''),'2;1');\nFILE_NAME('','2030-01-02T10:42:00',(''),(''),'','','');\n"
    schema = "FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));\n"
    body = "\n".join(file.lines)
    return f"ISO-10303-21;\nHEADER;\n{head}{schema}ENDSEC;\nDATA;\n{body}\nENDSEC;\nEND-ISO-10303-21;\n"


def _frame(file: _File, solid: str) -> None:
    """What makes a solid a product with units."""
    mm = file.add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))")
    rad = file.add("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))")
    sr = file.add("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())")
    off = file.add(f"UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-07),{mm},'distance_accuracy_value','')")
    context = file.add(
        "(GEOMETRIC_REPRESENTATION_CONTEXT(3)"
        f"GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT(({off}))GLOBAL_UNIT_ASSIGNED_CONTEXT(({mm},{rad},{sr}))"
        "REPRESENTATION_CONTEXT('',''))"
    )
    origin = file.axes((0, 0, 0), (0, 0, 1), (1, 0, 0))
    shape = file.add(f"ADVANCED_BREP_SHAPE_REPRESENTATION('',({origin},{solid}),{context})")
    application = file.add("APPLICATION_CONTEXT('core data for automotive mechanical design processes')")
    file.add(f"APPLICATION_PROTOCOL_DEFINITION('international standard','automotive_design',2000,{application})")
    product_context = file.add(f"PRODUCT_CONTEXT('',{application},'mechanical')")
    product = file.add(f"PRODUCT('plate','plate','',({product_context}))")
    formation = file.add(f"PRODUCT_DEFINITION_FORMATION('','',{product})")
    definition_context = file.add(f"PRODUCT_DEFINITION_CONTEXT('part definition',{application},'design')")
    definition = file.add(f"PRODUCT_DEFINITION('design','',{formation},{definition_context})")
    of_product = file.add(f"PRODUCT_DEFINITION_SHAPE('','',{definition})")
    file.add(f"SHAPE_DEFINITION_REPRESENTATION({of_product},{shape})")
