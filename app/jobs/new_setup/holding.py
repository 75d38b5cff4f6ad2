"""How a bar is held, as bodies of a scene: four kinds, each from the size of the bar. Lengths in mm.

1. Every size that nobody answered is assumed from the bar, by common practice and without a source; `assumed` names
   them.
2. The fixture is one group, so that one `turn` turns it with the part.
3. The bar stands with its bottom in the middle of the body that is named `under`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from app.jobs.new_setup.answers import HoldingAnswer, HoldingKind
from app.scenes.yaml_text import Plain
from kinematics.pose import Vector

GROUP = {
    HoldingKind.DOVETAIL: "dovetail fixture",
    HoldingKind.VISE: "vise",
    HoldingKind.SOFT_JAWS: "soft jaw fixture",
    HoldingKind.PLATE: "plate fixture",
}
DEFAULT_STANDARD, DEFAULT_SIZE = "ISO 4762", "M6"
RISER = {HoldingKind.DOVETAIL: 40.0, HoldingKind.VISE: 0.0, HoldingKind.SOFT_JAWS: 0.0, HoldingKind.PLATE: 0.0}
GRIP = {HoldingKind.DOVETAIL: 0.0, HoldingKind.VISE: 8.0, HoldingKind.SOFT_JAWS: 6.0, HoldingKind.PLATE: 0.0}
BELOW = {HoldingKind.DOVETAIL: 8.0, HoldingKind.VISE: 10.0, HoldingKind.SOFT_JAWS: 8.0, HoldingKind.PLATE: 0.0}
LEAST_RISER_D = 60.0


@dataclass(frozen=True, slots=True)
class Fixture:
    """The bodies of a fixture, each as the scene has it, in mm; `screws` of them have their standard.

    Parameters
    ----------
    group : name of the group that they are in.
    under : the body that the bar stands on.
    assumed : sizes that nobody said, in words.
    """

    group: str
    bodies: tuple[Mapping[str, Plain], ...]
    under: str
    assumed: tuple[str, ...]


def fixture(holding: HoldingAnswer, bar: Vector, taken: Collection[str] = ()) -> Fixture:
    """The fixture for a bar of this size; `taken` are names that the machine has given already."""
    kind = holding.kind
    riser = RISER[kind] if holding.riser is None else holding.riser
    grip = GRIP[kind] if holding.grip is None else holding.grip
    screw: dict[str, Plain] = {
        "standard": holding.screw_standard or DEFAULT_STANDARD,
        "size": holding.screw_size or DEFAULT_SIZE,
    }
    make = {
        HoldingKind.DOVETAIL: _dovetail,
        HoldingKind.VISE: _vise,
        HoldingKind.SOFT_JAWS: _soft_jaws,
        HoldingKind.PLATE: _plate,
    }[kind]
    top, bodies, words = make(bar, grip, screw)
    assumed = list(words)
    if riser > 0.0:
        foot = bodies[0]
        size = foot["box"]
        assert isinstance(size, Sequence), "what stands on the riser is a box"
        d = max(LEAST_RISER_D, min(float(size[0]), float(size[1])))  # type: ignore[arg-type]  # lengths
        bodies = [{"name": "riser", "cylinder": {"d": d, "h": riser}}, {**foot, "rides_on": "riser"}, *bodies[1:]]
        assumed.append(f"riser diameter {d:g}" + ("" if holding.riser is not None else f" and height {riser:g}"))
    if holding.screw_size is None:
        assumed.append(f"screws {screw['standard']} {screw['size']}")
    if holding.grip is None and grip:
        assumed.append(f"held {grip:g} high")
    return _renamed(Fixture(GROUP[kind], tuple(bodies), top, tuple(assumed)), taken)


def _renamed(made: Fixture, taken: Collection[str]) -> Fixture:
    """The fixture with other names for what the machine has a body of the same name for."""
    names = {str(body["name"]): free_name(str(body["name"]), taken) for body in made.bodies}
    bodies = []
    for body in made.bodies:
        changed = {**body, "name": names[str(body["name"])]}
        if "rides_on" in body:
            changed["rides_on"] = names[str(body["rides_on"])]
        bodies.append(changed)
    return Fixture(free_name(made.group, taken), tuple(bodies), names[made.under], made.assumed)


def free_name(name: str, taken: Collection[str]) -> str:
    """A name that is not taken: vise body, vise body 2, ..."""
    number = 2
    free = name
    while free in taken:
        free, number = f"{name} {number}", number + 1
    return free


Bodies = list[Mapping[str, Plain]]


def _dovetail(bar: Vector, _grip: float, screw: Mapping[str, Plain]) -> tuple[str, Bodies, list[str]]:
    """A body with the dovetail in it; clamp screws at the back, a stop pin at the left."""
    x, y, _ = bar
    size = [x + 16.0, y + 30.0, 22.0]
    behind = y / 2.0 + 8.0
    bodies: Bodies = [
        {"name": "dovetail body", "box": size},
        _screw("clamp screw L", "dovetail body", screw, [-x / 4.0, behind]),
        _screw("clamp screw R", "dovetail body", screw, [x / 4.0, behind]),
        _on("stop pin", "dovetail body", {"cylinder": {"d": 4.0, "h": 5.0}}, [-x / 2.0 - 2.0, 0.0]),
    ]
    return "dovetail body", bodies, ["dovetail body, places of screws and stop pin"]


def _vise(bar: Vector, grip: float, screw: Mapping[str, Plain]) -> tuple[str, Bodies, list[str]]:
    """A small vise: body on a foot with hold-down screws, jaws in front and behind."""
    x, y, _ = bar
    jaw, width = 20.0, max(40.0, x)
    body = [width + 10.0, y + 2.0 * jaw + 20.0, 40.0]
    foot = [body[0], body[1] + 40.0, 12.0]
    corners = [(sx * (foot[0] / 2.0 - 10.0), sy * (foot[1] / 2.0 - 10.0)) for sx in (-1.0, 1.0) for sy in (-1.0, 1.0)]
    bodies: Bodies = [
        {"name": "vise foot", "box": foot},
        _on("vise body", "vise foot", {"box": body}, [0.0, 0.0]),
        _on("front jaw", "vise body", {"box": [width, jaw, grip]}, [0.0, -(y + jaw) / 2.0]),
        _on("back jaw", "vise body", {"box": [width, jaw, grip]}, [0.0, (y + jaw) / 2.0]),
        *(_screw(f"hold-down screw {i}", "vise foot", screw, list(at)) for i, at in enumerate(corners, 1)),
    ]
    return "vise body", bodies, ["vise foot, body and jaws, places of screws"]


def _soft_jaws(bar: Vector, grip: float, screw: Mapping[str, Plain]) -> tuple[str, Bodies, list[str]]:
    """Jaws machined to the part, on a base with hold-down screws."""
    x, y, _ = bar
    jaw, width = 30.0, x + 10.0
    base = [width + 40.0, y + 2.0 * jaw + 10.0, 50.0]
    along = base[0] / 2.0 - 10.0
    bodies: Bodies = [
        {"name": "jaw base", "box": base},
        _on("front soft jaw", "jaw base", {"box": [width, jaw, grip]}, [0.0, -(y + jaw) / 2.0]),
        _on("back soft jaw", "jaw base", {"box": [width, jaw, grip]}, [0.0, (y + jaw) / 2.0]),
        _screw("hold-down screw L", "jaw base", screw, [-along, 0.0]),
        _screw("hold-down screw R", "jaw base", screw, [along, 0.0]),
    ]
    return "jaw base", bodies, ["jaw base and soft jaws, places of screws; jaw screws sunk"]


def _plate(bar: Vector, _grip: float, screw: Mapping[str, Plain]) -> tuple[str, Bodies, list[str]]:
    """A plate that the bar is screwed to from below, itself held by four screws at its corners."""
    x, y, _ = bar
    size = [x + 50.0, y + 50.0, 20.0]
    corners = [(sx * (x / 2.0 + 15.0), sy * (y / 2.0 + 15.0)) for sx in (-1.0, 1.0) for sy in (-1.0, 1.0)]
    bodies: Bodies = [
        {"name": "plate", "box": size},
        *(_screw(f"plate screw {i}", "plate", screw, list(at)) for i, at in enumerate(corners, 1)),
    ]
    return "plate", bodies, ["plate, places of screws; the bar is held from below"]


def _screw(name: str, on: str, screw: Mapping[str, Plain], at: list[float]) -> Mapping[str, Plain]:
    return _on(name, on, {"screw": screw}, at)


def _on(name: str, on: str, shape: Mapping[str, Plain], at: list[float]) -> Mapping[str, Plain]:
    place: dict[str, Plain] = {} if not any(at) else {"at": [*at, 0.0]}
    return {"name": name, "rides_on": on, **shape, **place}
