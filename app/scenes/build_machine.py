"""The machine model -> a machine of the core, wherever it was found."""

from __future__ import annotations

from app.scenes import machine_model as model
from app.scenes.build_bodies import BodyBuilder
from app.scenes.document import nearest
from app.scenes.located import MapNode, Node
from app.scenes.origins import Mark
from app.scenes.reading import Reading
from kinematics.errors import TravelError
from kinematics.machine import Control, LinearAxis, Machine, SpindleStep, TableAxis, check_angles

NOT_MODELLED = ("door", "enclosure", "nozzles", "tool changer", "hoses")
_OPERATOR = {"-Y": (0.0, -1.0, 0.0), "+Y": (0.0, 1.0, 0.0), "-X": (-1.0, 0.0, 0.0), "+X": (1.0, 0.0, 0.0)}


def build_machine(machine: model.Machine, name: str, node: MapNode, builder: BodyBuilder) -> Machine | None:
    """The machine, or None where something is missing or faulty (which is told)."""
    reading = builder.reading
    bodies = builder.bodies(machine.bodies or (), None)
    table_axes = tuple(_table_axis(axis) for axis in machine.table_axes or ())
    _tell_equal_letters(machine, reading)
    home = _home(machine, table_axes, reading)
    control = _control(machine, table_axes, reading)
    if machine.operator is None and node.get("operator") is None:
        reading.assume("operator stands at -Y (default)")
    if machine.linear_axes is None or machine.spindle is None or machine.title is None:
        return None
    x, y, z = (
        LinearAxis(letter, axis.limits, axis.moves)  # type: ignore[arg-type]  # the model allows these words only
        for letter, axis in (("x", machine.linear_axes.x), ("y", machine.linear_axes.y), ("z", machine.linear_axes.z))
    )
    built = Machine(
        name=name,
        title=machine.title,
        linear_axes=(x, y, z),
        table_axes=table_axes,
        operator=_OPERATOR[machine.operator or "-Y"],
        home_deg=home,
        control=control,
        spindle_nose=tuple(SpindleStep(row.d1, row.d2, row.length) for row in machine.spindle.nose),
        bodies=bodies,
        not_modelled=_not_modelled(machine, bodies),
        sources=machine.sources or "",
        origin=Mark(reading.document, node),
    )
    _tell_home_outside(built, machine, reading)
    return built


def _table_axis(axis: model.TableAxis) -> TableAxis:
    return TableAxis(
        name=axis.name,
        letter=axis.letter,
        carries=axis.carries,
        origin=axis.origin,
        axis=axis.axis,
        limits=None if axis.limits == "endless" else axis.limits,
        way=axis.way or "either",  # type: ignore[arg-type]  # the model allows these words only
    )


def _tell_equal_letters(machine: model.Machine, reading: Reading) -> None:
    axes = machine.table_axes or ()
    for axis in axes[1:]:
        if axis.letter == axes[0].letter:
            node = axis.node.get("letter") or axis.node
            reading.tell(node, f"the letter {axis.letter} is that of table axis {axes[0].name} too; expected another")


def _home(machine: model.Machine, axes: tuple[TableAxis, ...], reading: Reading) -> tuple[tuple[str, float], ...]:
    given = machine.home or {}
    _tell_unknown_axes(machine, "home", axes, reading)
    for axis in axes:
        if axis.name not in given:
            reading.assume(f"home {axis.name} 0 (default)")
    return tuple((axis.name, given.get(axis.name, 0.0)) for axis in axes)


def _control(machine: model.Machine, axes: tuple[TableAxis, ...], reading: Reading) -> Control | None:
    control = machine.control
    if control is None:
        return None
    signs = control.signs or {}
    _tell_unknown_axes(machine, "control/signs", axes, reading)
    for axis in axes:
        if axis.name not in signs:
            reading.assume(f"control counts {axis.name} as the table turns (default)")
    chosen = tuple((axis.name, int(signs.get(axis.name, "1"))) for axis in axes)
    return Control(control.zero, chosen, control.work_offset)  # type: ignore[arg-type]  # the model allows these words only


def _tell_unknown_axes(machine: model.Machine, path: str, axes: tuple[TableAxis, ...], reading: Reading) -> None:
    node: Node | None = machine.node
    for key in path.split("/"):
        node = node.get(key) if isinstance(node, MapNode) else None
    names = [axis.name for axis in axes]
    for entry in node.entries if isinstance(node, MapNode) else ():
        if entry.key.text not in names:
            near = nearest(entry.key.text, names)
            hint = f"nearest: {near}" if near else f"table axes: {', '.join(names) or 'none'}"
            reading.tell_key(node, entry, f"no table axis '{entry.key.text}'; {hint}") if node else None


def _tell_home_outside(machine: Machine, given: model.Machine, reading: Reading) -> None:
    for axis, angle_deg in machine.home_deg:
        try:
            check_angles(machine, {axis: angle_deg})
        except TravelError as error:
            home = given.node.get("home")
            node = home.get(axis) if isinstance(home, MapNode) else None
            reading.tell(node or given.node, error.message)


def _not_modelled(machine: model.Machine, bodies: tuple[object, ...]) -> tuple[str, ...]:
    if machine.not_modelled is not None:
        return machine.not_modelled
    names = {getattr(body, "name", "") for body in bodies}
    return tuple(thing for thing in NOT_MODELLED if thing not in names)
