"""What is handed to who draws: bodies with their paint and place, and meshes by key. Plain values, no library.

1. A body is drawn as faces and edges; `opacity` 0 leaves the edges alone.
2. Meshes go by a key that follows from their content, so that nobody draws an old mesh under a new name.
3. What this file does not know: cameras, who draws.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from app.view3d.display_meshes import DisplayMesh
from app.view3d.looks import GHOST, Look, surface_of
from app.view3d.scene_meshes import PAIR, TOOL_SIDE, DisplayBody, Role
from app.view3d.styles import Palette, Surface
from kinematics.pose import Pose, Vector

SEEN_THROUGH = 0.25  # opacity of a part that is to be seen through


@dataclass(frozen=True, slots=True, eq=False)
class DrawnBody:
    """One body as it is drawn.

    Parameters
    ----------
    id : what tells it apart from all others; `mesh` : the key of its mesh, which stands at X_WG.
    edge_width : in pixels of the design.
    is_pair : its edges go over those of others. `is_over` : its edges go over all bodies as well.
    is_picked : a strong outline is drawn round it.
    """

    id: str
    mesh: str
    X_WG: Pose
    surface: Surface
    edge_width: float
    opacity: float = 1.0
    is_pair: bool = False
    is_over: bool = False
    is_picked: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Shell:
    """Room that is swept, as a grid in W: `taken` (nx, ny, nz), 255 where something passes, 0 where nothing does.

    `turning` : ids of the bodies that sweep it.
    """

    key: str
    origin: Vector
    step: float
    taken: NDArray[np.uint8]
    turning: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class ShellPaint:
    """How a shell is drawn: its skin, the lines of its hatch."""

    skin: str
    hatch: str


@lru_cache(maxsize=512)  # by identity of the mesh
def mesh_key(mesh: DisplayMesh) -> str:
    """A key that is the same for meshes of the same content."""
    summed = hashlib.blake2b(np.ascontiguousarray(mesh.vertices).tobytes(), digest_size=12)
    summed.update(np.ascontiguousarray(mesh.faces).tobytes())
    return summed.hexdigest()


def body_id(body: DisplayBody) -> str:
    """Tells parts of the tool from bodies that are called the same."""
    return f"tool/{body.name}" if body.role in TOOL_SIDE else body.name


@dataclass(frozen=True, slots=True, eq=False)
class ShownBody:
    """A body without its mesh, which goes by its key.

    Parameters
    ----------
    name : what the report calls it. `id` : what tells it apart where part of a tool and body are called the same.
    off_by : how far its mesh may be off where less is drawn than there is, mm; else None.
    """

    id: str
    name: str
    role: Role
    mesh: str
    X_WG: Pose
    off_by: float | None = None


def shown_bodies(bodies: Sequence[DisplayBody]) -> tuple[ShownBody, ...]:
    """Bodies without their meshes."""
    return tuple(ShownBody(body_id(b), b.name, b.role, mesh_key(b.mesh), b.X_WG, b.mesh.off_by) for b in bodies)


def drawn_bodies(
    bodies: Sequence[ShownBody],
    look: Look,
    palette: Palette,
    *,
    hidden: frozenset[str] = frozenset(),
    through: frozenset[str] = frozenset(),
    picked: str | None = None,
) -> tuple[DrawnBody, ...]:
    """The bodies as they are drawn in a look.

    `hidden` : ids of those that are left out; `through` : of those that one sees through; `picked` : of one.
    """
    found = []
    for body in bodies:
        own = body.id
        if own in hidden:
            continue
        surface, width = surface_of(body.name, body.role, look, palette)
        opacity = 0.0 if body.name in look.outlined else GHOST if body.name in look.ghosts else 1.0
        if own in through:
            opacity = min(opacity, SEEN_THROUGH)
        is_pair = body.role in PAIR
        found.append(
            DrawnBody(
                own, body.mesh, body.X_WG, surface, width, opacity, is_pair,
                is_over=look.is_gap_hidden and is_pair, is_picked=own == picked,
            )
        )  # fmt: skip
    return tuple(found)


def weight_of(role: Role) -> float:
    """How much a label may cover a body of this role: 0 for all it likes, 1 for not at all."""
    return 1.0 if role in PAIR else 0.5 if role is Role.TOOL else 0.1
