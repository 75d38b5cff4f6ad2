"""Set-ups with one swing, built from numbers: two cuts far below everything say where the tool waits.

The part stands on the table, out of the way, so that a swing is about the bodies that a test names and nothing else.
"""

import numpy as np

from kinematics.machine import LinearAxis, Machine, TableAxis
from kinematics.meshes import Mesh
from kinematics.pose import Vector, frozen
from kinematics.prepared import Prepared
from kinematics.scene import (
    Body,
    BodyErrors,
    Cut,
    Holder,
    HolderStep,
    Hole,
    KeepOff,
    Lift,
    Orientation,
    OutlineStep,
    Placement,
    Scene,
    SetupErrors,
    State,
    Tool,
    Workpiece,
)
from kinematics.shapes import Box, MeshShape, Shape
from kinematics.swing_clearance import Settle, check_links, check_swings

NO_ERRORS = SetupErrors(0.0, 0.0, 0.0, 0.0, 0.0)
X: Vector = (1.0, 0.0, 0.0)
Y: Vector = (0.0, 1.0, 0.0)
Z: Vector = (0.0, 0.0, 1.0)
ORIGIN: Vector = (0.0, 0.0, 0.0)
FAR = 3000.0
FINE = Settle(0.01)
WIDE_HOLDER = Holder("H", (HolderStep(30.0, 30.0, 40.0),))


def axis(name: str, direction: Vector, carries: str, *, at: Vector = ORIGIN, limits=None, way="either") -> TableAxis:
    return TableAxis(name, name[0].upper(), carries, at, direction, limits, way)


def tilt(*, at: Vector = ORIGIN, direction: Vector = X, carries: str = "cradle", limits=(-120.0, 120.0)) -> TableAxis:
    return axis("tilt", direction, carries, at=at, limits=limits)


def rotary(*, at: Vector = ORIGIN, direction: Vector = Z, limits=None, way="either") -> TableAxis:
    return axis("rotary", direction, "platter", at=at, limits=limits, way=way)


def body(name: str, on: str, shape: Shape, at: Vector = ORIGIN, *, errors: BodyErrors | None = None, **placement):
    return Body(name, Placement(on, at, **placement), shape, errors or BodyErrors())


def mesh_of(vertices, faces, *, n_open_edges: int = 0, source: str = "mesh.stl") -> MeshShape:
    return MeshShape(Mesh(frozen(vertices), np.array(faces, dtype=np.int32), n_open_edges, 0.0, source))


BLOCK_FACES = np.array(
    [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4), (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6),
     (1, 3, 5), (3, 7, 5)]
)  # fmt: skip


def block(size, at=ORIGIN):
    """Vertices and outward faces of a cuboid with its lowest corner at `at`."""
    corners = np.array([(x, y, z) for z in (0.0, 1.0) for y in (0.0, 1.0) for x in (0.0, 1.0)])
    return corners * np.asarray(size, dtype=float) + np.asarray(at, dtype=float), BLOCK_FACES


def joined(*meshes):
    """Several surfaces as one, not welded."""
    starts = np.cumsum([0, *(len(v) for v, _ in meshes)])
    return (
        np.concatenate([v for v, _ in meshes]),
        np.concatenate([f + s for (_, f), s in zip(meshes, starts, strict=False)]),
    )


def flat_tool(d: float = 10.0, length: float = 40.0, *, name: str = "T", holder: Holder = WIDE_HOLDER) -> Tool:
    """A tool with a flat end, one diameter from the tip to the holder: all of it its cutter."""
    return Tool(name, "end mill", length, holder, outline=(OutlineStep(d, d, length, "cutter"),))


def gauge_over(tool: Tool, tip_z: float) -> float:
    """The height of the gauge line at which the tip is at tip_z."""
    return tip_z + tool.stick_out + sum(s.length for s in tool.holder.steps)


def one_swing(
    axes: tuple[TableAxis, ...],
    start: tuple[float, ...],
    end: tuple[float, ...],
    *bodies: Body,
    machine_bodies: tuple[Body, ...] = (),
    tool: Tool | None = None,
    tools: tuple[Tool, Tool] | None = None,
    tip_z: float | None = None,
    lift: Lift | None = None,
    places: tuple[tuple[float, float], tuple[float, float]] = ((0.0, 0.0), (0.0, 0.0)),
    errors: SetupErrors = NO_ERRORS,
    keep_off: float = 5.0,
    moves: str = "",
    z_limits: tuple[float, float] = (-FAR, FAR),
) -> Scene:
    """A set-up whose table swings from V1 (also home) to V2 and back; the tool waits between `places` in X and Y."""
    first, second = tools or (tool or flat_tool(),) * 2
    home, there = (tuple(zip((a.name for a in axes), angles, strict=True)) for angles in (start, end))
    x, y, z = (LinearAxis(n, z_limits if n == "z" else (-FAR, FAR), "table" if n in moves else "head") for n in "xyz")
    machine = Machine("m", "machine", (x, y, z), axes, (0.0, -1.0, 0.0), home, None, (), machine_bodies)
    part = Body("part", Placement("P", (0.0, 0.0, -10.0)), Box(1.0, 1.0, 1.0))
    cuts = [
        Cut(f"cut {i}", t.id, "raw", Hole((*place, 0.0), 1.0), 1.0)
        for i, (t, place) in enumerate(zip((first, second), places, strict=True), start=1)
    ]
    if lift is None:
        lift = Lift("gauge_z", FAR if tip_z is None else gauge_over(first, tip_z))
    return Scene(
        title="one swing",
        machine=machine,
        workpieces=(Workpiece(None, Placement("table", (0.0, 0.0, -2000.0)), (State("raw", (part,)),)),),
        bodies=bodies,
        holders=(first.holder,),
        tools=tuple({t.id: t for t in (first, second)}.values()),
        orientations=(Orientation("V1", home, (cuts[0],)), Orientation("V2", there, (cuts[1],))),
        keep_off=KeepOff(swing=keep_off),
        setup_errors=errors,
        lift=lift,
    )


def swing_of(scene: Scene, settle: Settle = FINE):
    """The report of the swing from V1 to V2."""
    return next(r for r in check_swings(scene, Prepared(scene), settle) if (r.start, r.end) == ("V1", "V2"))


def hollow_block(outer, inner, at=ORIGIN):
    """Vertices and faces of a block with a closed hollow in its middle: sizes of both, the lowest corner at `at`."""
    shell = block(outer, at)
    middle = np.asarray(at) + (np.asarray(outer) - np.asarray(inner)) / 2
    vertices, faces = block(inner, middle)
    return joined(shell, (vertices, faces[:, ::-1]))


def only_link(scene: Scene):
    (report,) = check_links(scene)
    return report
