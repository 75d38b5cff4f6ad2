"""What one object of a scene says about another: that it exists, and that it makes sense."""

from __future__ import annotations

from collections.abc import Iterable

from app.scenes.document import child_of, nearest
from app.scenes.located import short
from app.scenes.names import NameUse, state_scope
from app.scenes.origins import Mark
from app.scenes.reading import Reading
from kinematics.machine import BED, HEAD, TABLE, P
from kinematics.scene import Body, Orientation, Placement, Workpiece

MOST_STACKED = 100  # bodies on top of each other; the highest sample has four


class References:
    """Checks references by the names that the files give, also of objects that are faulty themselves.

    Parameters
    ----------
    frames : frames of the machine, or None where the machine is not known.
    """

    def __init__(self, reading: Reading, uses: Iterable[NameUse], frames: tuple[str, ...] | None) -> None:
        self.reading = reading
        self.frames = frames
        self.by_kind: dict[str, list[str]] = {}
        self.states: dict[str, list[str]] = {}  # by the scope of a workpiece
        self.unreadable: set[str] = set()  # kinds of which one has no name that can be read
        for use in uses:
            if not use.name:
                self.unreadable.add(use.what)
                continue
            self.by_kind.setdefault(use.what, []).append(use.name)
            if use.what == "state":
                self.states.setdefault(use.scope, []).append(use.name)

    def bodies(self, bodies: tuple[Body, ...], n_workpieces: int) -> None:
        """Bodies of a machine or scene stand on frames or on bodies with a shape."""
        names = {*self.by_kind.get("body", ()), *self.by_kind.get("body of the machine", ())}
        p = (P,) if n_workpieces == 1 else ()
        self._supports(bodies, names, p, self.unreadable & {"body", "body of the machine"})

    def state(self, name: str, bodies: tuple[Body, ...]) -> None:
        """Bodies of a state stand in P or on bodies of the same state."""
        kind = f"body of state {name}"
        self._supports(bodies, set(self.by_kind.get(kind, ())), (P,), self.unreadable & {kind})

    def zero(self, workpiece: Workpiece, bodies: tuple[Body, ...]) -> None:
        """Part zero stands on a frame or on a body of the scene or machine."""
        names = {*self.by_kind.get("body", ()), *self.by_kind.get("body of the machine", ())}
        groups = {body.name for body in bodies if body.shape is None}
        if self.unreadable & {"body", "body of the machine"}:
            names.add(workpiece.zero.rides_on)
        self._side(workpiece.zero, workpiece.origin, ("zero", "rides_on"))
        self._support(workpiece.zero.rides_on, workpiece.origin, ("zero", "rides_on"), names, groups, ())

    def _supports(
        self, bodies: tuple[Body, ...], names: set[str], others: tuple[str, ...], unreadable: set[str]
    ) -> None:
        if unreadable:  # it may be the body that is meant
            names = names | {body.placement.rides_on for body in bodies}
        groups = {body.name for body in bodies if body.shape is None}
        for body in bodies:
            foreign = groups - {body.group}
            self._side(body.placement, body.origin, ("rides_on",))
            self._support(body.placement.rides_on, body.origin, ("rides_on",), names, foreign, others)
        self._rings(bodies)

    def _side(self, placement: Placement, origin: object, key: tuple[str, ...]) -> None:
        if placement.face != "+Z" and placement.rides_on in (*(self.frames or ()), P):
            message = f"'{placement.rides_on}' is a frame and has no side {placement.face}; expected a body"
            self._tell(origin, key, message)

    def _support(
        self,
        support: str,
        origin: object,
        key: tuple[str, ...],
        names: set[str],
        groups: set[str],
        others: tuple[str, ...],
    ) -> None:
        if self.reading.is_flooded:
            return
        if support in groups:
            message = f"'{support}' is a group and has no face to stand on; expected one of its bodies"
        elif support in names or support in others or support in (self.frames or (support,)):
            return
        else:
            frames = self.frames or (BED, TABLE, HEAD)
            near = nearest(support, (*frames, *others, *names))
            hint = f"nearest: {near}" if near else f"frames: {', '.join(frames)}"
            message = f"nothing is called '{support}' to stand on; {hint}"
        self._tell(origin, key, message)

    def _rings(self, bodies: tuple[Body, ...]) -> None:
        """Bodies that stand on each other in a ring, each ring told once; and stacks higher than any real one."""
        by_name = {body.name: body for body in bodies}
        frames = self.frames or ()
        height: dict[str, int] = {}
        for body in bodies:
            chain: dict[str, None] = {}
            at = body.name
            while at in by_name and at not in height and at not in chain and (at not in frames or not chain):
                chain[at] = None
                at = by_name[at].placement.rides_on
            if at in chain and at not in frames:
                names = list(chain)
                inside = names[names.index(at) :]
                shown = inside if len(inside) <= 6 else [*inside[:5], "..."]
                ring = " > ".join(map(short, [*shown, at]))
                message = f"{ring}: bodies stand on each other in a ring; expected one on a frame"
                self._tell(by_name[at].origin, ("rides_on",), message)
            for n_below, name in enumerate(reversed(chain), start=height.get(at, 0)):
                height[name] = n_below + 1
                if n_below == MOST_STACKED:
                    message = f"stands on {n_below} bodies, one on the other; expected fewer"
                    self._tell(by_name[name].origin, ("rides_on",), message)

    def cuts(self, orientations: tuple[Orientation, ...], workpieces: tuple[Workpiece, ...]) -> None:
        """Tool, state and workpiece of each cut; the cuts that a state comes after."""
        for orientation in orientations:
            for cut in orientation.cuts:
                self._known(cut.origin, "tool", cut.tool, self.by_kind.get("tool", ()), "tool")
                workpiece = self._workpiece(cut.origin, cut.workpiece, workpieces)
                if workpiece is not None:
                    states = self.states.get(state_scope(workpiece.name), ())
                    self._known(cut.origin, "state", cut.state, states, "state")

    def after(self, workpieces: tuple[Workpiece, ...], known: tuple[str, ...]) -> None:
        """The cuts that states come after; `known`: all cuts as orientation/cut."""
        for workpiece in workpieces:
            for state in workpiece.states:
                for index, (orientation, cut) in enumerate(state.after):
                    name = f"{orientation}/{cut}" if cut else orientation
                    if name not in known and not self.unreadable & {"orientation", "cut"}:
                        near = nearest(name, known)
                        hint = f"nearest: {near}" if near else f"cuts: {', '.join(known) or 'none'}"
                        self._tell(state.origin, ("after", str(index + 1)), f"no cut '{name}'; {hint}")

    def _workpiece(self, origin: object, name: str | None, workpieces: tuple[Workpiece, ...]) -> Workpiece | None:
        named = [workpiece.name for workpiece in workpieces if workpiece.name is not None]
        if name is not None:
            if name in named:
                return next(workpiece for workpiece in workpieces if workpiece.name == name)
            if not self.by_kind.get("workpiece"):
                self._tell(origin, ("workpiece",), f"no workpiece '{name}': the scene has only one, without a name")
            else:
                self._known(origin, "workpiece", name, self.by_kind["workpiece"], "workpiece")
            return None
        if len(workpieces) > 1:
            self._tell(origin, ("workpiece",), f"is missing; expected one of {', '.join(map(str, named))}")
            return None
        return workpieces[0] if workpieces else None

    def _known(self, origin: object, key: str, name: str, known: Iterable[str], what: str) -> None:
        words = tuple(known)
        if self.reading.is_flooded:
            return
        if name in words or not words or what in self.unreadable:
            return
        near = nearest(name, words)
        hint = f"nearest: {near}" if near else f"known: {', '.join(words) or 'none'}"
        self._tell(origin, (key,), f"no {what} '{name}'; {hint}")

    def _tell(self, origin: object, key: tuple[str, ...], message: str) -> None:
        assert isinstance(origin, Mark), "the reader marks every object"
        node = origin.node
        for step in key:
            below = child_of(node, step)
            if below is None:
                self.reading.faults.append(origin.document.fault(node, message, step))
                return
            node = below
        self.reading.faults.append(origin.document.fault(node, message))
