"""What the core raises: one base, and one class per thing that a caller can do differently.

A message has the form "where: what is wrong, with the value; what was expected". The `origin` is
whatever the domain object carried: only the reader that made the object understands it, so that a
fault found in geometry can still point at its line in a file. `key` names the number below it.
"""

from __future__ import annotations


class TightsideError(Exception):
    """Base of every error that Tightside raises on purpose.

    Parameters
    ----------
    message : what is wrong, lower case, without a full stop.
    origin : opaque mark of the object at fault, as the reader set it, or None.
    key : keys below that object, outermost first, for example ``("stick_out",)``.
    """

    def __init__(self, message: str, *, origin: object = None, key: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.origin = origin
        self.key = key


class FrameError(TightsideError):
    """Two poses were joined whose frames do not meet."""


class TravelError(TightsideError):
    """An axis position is outside its limits."""


class UnreachableError(TightsideError):
    """No position of the table axes turns a direction to the spindle."""


class PlacementError(TightsideError):
    """A body stands on something that does not exist, on a group, or on itself."""


class ShapeError(TightsideError):
    """The numbers of a shape do not describe a solid."""


class ToolError(TightsideError):
    """The numbers of a tool or holder do not fit together."""


class FeatureError(TightsideError):
    """A cut cannot be made with its tool (pocket smaller than the cutter, no way out)."""


class MeshFileError(TightsideError):
    """A mesh file cannot be read, is empty, or holds no usable triangle."""


class EngineError(TightsideError):
    """A distance could not be established: the pair is not checked."""
