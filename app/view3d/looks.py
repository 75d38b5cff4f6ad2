"""What is drawn how in a view: what is left out before the gap, what one sees through, what recedes.

1. Pictures and the window take the same looks, so that they show the same.
2. Nothing is computed about clearances: whether the operator can see the gap, the report says.
3. What this file does not know: who draws, sizes in pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.view3d.cameras import LOOK_ROUND, Camera, View, from_where, in_front, in_the_way
from app.view3d.scene_meshes import PAIR, DisplayBody, DisplayScene, Role
from app.view3d.styles import EDGE_ELSE, Palette, Surface
from kinematics.report import CutReport

PALE = 0.35  # how much of a body's colour is left in a body that is to recede further
GHOST = 0.5  # opacity of a body of the pair that stands before the gap


@dataclass(frozen=True, slots=True)
class Look:
    """How the bodies of a scene are drawn in one view.

    Parameters
    ----------
    is_gap_hidden : bodies stand before the gap; the edges of the pair are drawn over them.
    hidden_by : the body that hides it from the operator, nearest to the gap; None where it is in sight.
    outlined : names of bodies of which only the edges are drawn, since they stand before the gap.
    ghosts : names of bodies of the pair that are drawn so that one sees through them.
    pale : names of bodies that recede further than their role does.
    about : from where it is seen, in words.
    """

    is_gap_hidden: bool = False
    hidden_by: str | None = None
    outlined: frozenset[str] = frozenset()
    ghosts: frozenset[str] = frozenset()
    pale: frozenset[str] = frozenset()
    about: str = ""


PLAIN = Look()  # everything as it is


def look_of(view: View, scene: DisplayScene, seen: Camera, *, report: CutReport | None) -> Look:
    """How a scene is drawn as a camera of a view sees it; `report` is None where a cut has none."""
    tool = frozenset(b.name for b in scene.of(Role.TOOL))
    pair = frozenset(b.name for b in scene.of(*PAIR))
    is_door = view is View.DOOR
    front = in_front(scene) if is_door else frozenset()
    before = tuple(name for name in in_the_way(scene, seen) if name not in front)
    is_hidden = is_door and bool(before) and (report is None or report.is_hidden_from_operator is not False)
    is_open = scene.gap is not None and not scene.gap.is_overlap
    around = frozenset() if is_door else frozenset(in_the_way(scene, seen, LOOK_ROUND)) - tool
    return Look(
        is_gap_hidden=is_hidden,
        hidden_by=before[0] if is_hidden else None,
        outlined=front if is_door else (around | frozenset(before)) - pair | _above(scene, view),
        ghosts=frozenset(before) & pair if is_open and not is_door else frozenset(),
        pale=frozenset(b.name for b in scene.bodies if b.role not in PAIR) if view is View.AXIS else frozenset(),
        about=_seen_from(seen, scene, view),
    )


def surface_of(name: str, role: Role, look: Look, p: Palette) -> tuple[Surface, float]:
    """How a body is painted, and how wide its edges are in pixels of the design."""
    by_role = {
        Role.NEAR_PART: p.near_part,
        Role.NEAR_BODY: p.near_body,
        Role.TOOL: p.tool,
        Role.WORKPIECE: p.workpiece,
        Role.FIXTURE: p.fixture,
        Role.MACHINE: p.machine,
    }
    surface = by_role[role]
    if name in look.pale - look.outlined:
        surface = Surface(*(mixed(c, p.ground, 1.0 - PALE) for c in (surface.lit, surface.unlit, surface.edge)))
    if name in look.outlined:
        surface = Surface(surface.lit, surface.unlit, mixed(surface.edge, p.ground, 0.5))
    return surface, p.edge_width * (1.0 if role is Role.NEAR_BODY else EDGE_ELSE)


def rgb(colour: str) -> tuple[float, float, float]:
    """#RRGGBB as three numbers from 0 to 1."""
    r, g, b = (int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return r, g, b


def mixed(a: str, b: str, share: float) -> str:
    """Colour a with a share of colour b."""
    both = zip(rgb(a), rgb(b), strict=True)
    return "#" + "".join(f"{round(255 * (x + (y - x) * share)):02X}" for x, y in both)


def _above(scene: DisplayScene, view: View) -> frozenset[str]:
    """Along the tool: everything on the tool side over the part of the pair, and the head."""
    if view is not View.AXIS:
        return frozenset()
    near = scene.of(Role.NEAR_PART)
    low = min(_lowest(b) for b in near) if near else scene.tip_W[2]
    over = [b for b in scene.bodies if b.role not in PAIR and _lowest(b) > low]
    tool = frozenset(b.name for b in scene.of(Role.TOOL))
    return frozenset(b.name for b in over if b.name in tool or b.role is Role.MACHINE)


def _lowest(body: DisplayBody) -> float:
    return float(body.vertices_W[:, 2].min())


def _seen_from(seen: Camera, scene: DisplayScene, view: View) -> str:
    match view:
        case View.ACROSS:
            return f"seen across the gap, {from_where(seen, scene.operator)}"
        case View.DOOR:
            return "seen through the door, as the operator does"
        case View.AXIS:
            return "seen down the tool; up in the picture is away from you"
