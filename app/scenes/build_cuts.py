"""Orientation and cut models -> those of the core."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import NamedTuple

from app.scenes import cut_model as model
from app.scenes.located import Node
from app.scenes.origins import Mark
from app.scenes.points import MAX_POINTS_BYTES, read_points
from app.scenes.reading import Reading, Told
from app.scenes.side_files import SideFileFault, side_bytes
from app.scenes.sources import Sources
from app.scenes.values import NumberRule
from kinematics import scene as core

DEFAULT_RETRACT = 50.0  # mm, an assumption
ANGLE = NumberRule("an angle", "deg", at_least=-360.0, at_most=360.0)


class _Points(NamedTuple):
    """What a file of points holds; None where it is faulty."""

    file: Path
    digest: str
    points: tuple[tuple[float, float, float], ...] | None


class CutBuilder:
    """Builds orientations. `retract` and `leave` are those of the scene, where it gives them."""

    def __init__(
        self,
        reading: Reading,
        sources: Sources,
        folder: Path,
        allowed: tuple[Path, ...],
        retract: float | None,
        leave: model.LeaveTo | str | None,
    ) -> None:
        self.reading = reading
        self.sources = sources
        self.folder = folder
        self.allowed = allowed
        self.retract = retract
        self.leave = leave

    def orientations(self, models: tuple[model.Orientation, ...]) -> tuple[core.Orientation, ...]:
        """The orientations in machining order; cuts that are faulty are left out."""
        return tuple(self._orientation(orientation) for orientation in models)

    def _orientation(self, orientation: model.Orientation) -> core.Orientation:
        cuts = [cut for one in orientation.cuts or () if (cut := self._cut(one)) is not None]
        angles: list[tuple[str, float]] = []
        for name, value in orientation.angle_nodes().items():
            try:
                angles.append((name, ANGLE.read(value, self.reading)))
            except Told:
                continue
        mark = Mark(self.reading.document, orientation.node)
        return core.Orientation(orientation.name, tuple(angles), tuple(cuts), mark)

    def _cut(self, cut: model.Cut) -> core.Cut | None:
        feature = self._feature(cut)
        if feature is None:
            return None
        retract = cut.retract if cut.retract is not None else self.retract
        if retract is None:
            self.reading.assume(f"retract {DEFAULT_RETRACT:g} (default)")
        leave = cut.leave if cut.leave is not None else self.leave
        return core.Cut(
            name=cut.name,
            tool=cut.tool,
            state=cut.state,
            feature=feature,
            retract=DEFAULT_RETRACT if retract is None else retract,
            leave_to=leave.to if isinstance(leave, model.LeaveTo) else None,
            workpiece=cut.workpiece,
            origin=Mark(self.reading.document, cut.node),
        )

    def _feature(self, cut: model.Cut) -> core.Feature | None:
        if cut.hole is not None:
            return core.Hole(cut.hole.at, cut.hole.depth)
        if cut.pocket is not None:
            return core.Pocket(cut.pocket.at, cut.pocket.size, cut.pocket.along, cut.pocket.depth)
        if cut.slot is not None:
            return core.Slot(cut.slot.start, cut.slot.to, cut.slot.depth)
        if cut.profile is not None:
            return self._profile(cut.profile)
        if cut.face is not None:
            return core.Face(cut.face.at, cut.face.size, cut.face.along)
        assert cut.path is not None, "a cut without a feature is a fault of its model"
        return self._path(cut.path)

    def _profile(self, profile: model.Profile) -> core.Profile | None:
        if profile.rectangle is not None:
            a, b = (side / 2.0 for side in profile.rectangle)
            corners: tuple[tuple[float, float], ...] = ((-a, -b), (a, -b), (a, b), (-a, b))
        else:
            corners = profile.outline or ()
            least = 2 if profile.side == "on" else 3
            if len(corners) < least:
                node: Node = profile.node.get("outline") or profile.node
                few = f"{len(corners)} corner{'' if len(corners) == 1 else 's'}"
                self.reading.tell(node, f"{few}; expected at least {least} for side {profile.side}")
                return None
        return core.Profile(
            outline=corners,
            at=profile.at,
            side=profile.side,  # type: ignore[arg-type]  # the model allows these words only
            depth=profile.depth or 0.0,
            along=profile.along,
            is_rectangle=profile.rectangle is not None,
        )

    def _path(self, path: model.Path) -> core.Path | None:
        if path.points is not None:
            return core.Path(path.points)
        node = path.node.get("file")
        assert path.file is not None and node is not None, "a path without positions is a fault of its model"
        key = ("points", path.file)
        kept: _Points | None = self.reading.kept.made(key)
        if kept is None:
            try:
                file, data = side_bytes(path.file, self.folder, self.allowed, at_most=MAX_POINTS_BYTES)
            except SideFileFault as fault:
                self.reading.tell(node, str(fault))
                return None
            points = read_points(data, str(file), self.reading, self.reading.document.path_of(path.node))
            kept = _Points(file, hashlib.sha256(data).hexdigest(), points)
            if points is not None:
                self.reading.kept.keep(key, kept)
        self.sources.add_digest("points", path.file, kept.digest, str(kept.file))
        return None if kept.points is None else core.Path(kept.points)
