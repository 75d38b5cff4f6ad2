"""A scene whose numbers are turned: text and side files are read once, every turn only reads what it changes.

1. `with_values` gives the scene, the faults and the text that a full read of the edited text would give.
2. The text is never parsed again. Of the tree, only what holds a turned number is read again; machine, tables of
   hardware, meshes and lists of points stay the same objects, however their files change meanwhile.
3. The scene that it was made from never changes; threads may share it.
4. What this file does not know: what a number means, what is computed from the scene.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from app.scenes.catalogues import Catalogues
from app.scenes.document import Document
from app.scenes.edits import EditError, edited
from app.scenes.faults import SceneFileError
from app.scenes.kept import Kept
from app.scenes.located import ScalarNode
from app.scenes.reader import SceneFile, read_document
from app.scenes.scalars import core_value
from app.scenes.spliced import Setting, SplicedDocument
from app.scenes.yaml_text import number_text

MOST_COMPLETED = 4  # sets of keys that the text does not give; each is a text of its own


@dataclass(frozen=True, slots=True)
class Number:
    """A number of a scene that can be turned.

    Parameters
    ----------
    path : as design section 6 names it.
    value : in the units of the file.
    unit : mm, inch or deg; empty for a plain number.
    line : where it stands, from 1.
    """

    path: str
    value: float
    unit: str
    line: int


class LiveScene:
    """A scene to turn numbers of. Raises SceneFileError where the text itself can't be understood.

    A scene with other faults can be turned too: until they are mended every turn raises them.
    """

    def __init__(self, text: str, path: Path, *, catalogues: Catalogues | None = None) -> None:
        self.path = path
        self._catalogues = catalogues or Catalogues()
        self._base = Document(str(path), text, "scene")
        if self._base.root is None or self._base.faults:
            raise SceneFileError(self._base.faults, str(path))
        self._kept = Kept()
        with contextlib.suppress(SceneFileError):  # every turn tells what is left of them
            self._read(())
        self._kept.close()
        self._turned = self._numbers_by_path()
        self._completed: dict[tuple[str, ...], LiveScene] = {}

    @property
    def text(self) -> str:
        """The text that it was made from."""
        return self._base.text

    def numbers(self) -> tuple[Number, ...]:
        """Every number that can be turned, in file order."""
        return tuple(
            Number(path, node.value, unit, self._base.position(node.start)[0])
            for path, (node, unit) in self._turned.items()
            if isinstance(node.value, float)
        )

    def with_values(self, values: Mapping[str, float]) -> SceneFile:
        """The scene with numbers set by their paths, in the units of the file, as `edited` would set them.

        A number that the format knows but the text does not give is put in first, which reads the text again,
        once for each such set of paths.

        Raises
        ------
        EditError : nothing is called that, or it is no number; or a value is none that can be measured.
        SceneFileError : everything that is wrong with the scene then.
        """
        for path, value in values.items():
            if not math.isfinite(value):
                raise EditError(f"{path}: {value} is no number that can be measured; expected a number")
        if any(path not in self._turned for path in values):
            return self._with_all(values).with_values(values)
        return self._read(tuple(_setting(self._turned[path][0], path, value) for path, value in values.items()))

    def _read(self, settings: tuple[Setting, ...]) -> SceneFile:
        document = SplicedDocument(self._base, settings)
        return read_document(document, document.text.encode(), self.path, self._catalogues, self._kept)

    def _numbers_by_path(self) -> dict[str, tuple[ScalarNode, str]]:
        """The numbers that were read as such, each with its unit."""
        found: dict[str, tuple[ScalarNode, str]] = {}
        for path, node in self._base.paths().items():
            number = self._kept.numbers.get(id(node))
            if number is not None and isinstance(number[0].value, float):
                found[path] = number
        return found

    def _with_all(self, values: Mapping[str, float]) -> LiveScene:
        """The scene with the numbers put in that its text does not give."""
        missing = tuple(path for path in values if path not in self._turned)
        completed = self._completed.get(missing)
        if completed is None:
            text = edited(self.text, [(path, float(values[path])) for path in missing])
            completed = LiveScene(text, self.path, catalogues=self._catalogues)
            for path in missing:
                if path not in completed._turned:
                    raise EditError(f"{path} is no number; expected the path of a number")
            for old in list(self._completed)[: -(MOST_COMPLETED - 1)]:
                self._completed.pop(old, None)
            self._completed[missing] = completed
        return completed


def _setting(node: ScalarNode, path: str, value: float) -> Setting:
    text = number_text(value)
    number = core_value(text)
    if not isinstance(number, float):
        raise EditError(f"{path}: {value:g} has too many digits to be written; expected fewer")
    return Setting(node, ScalarNode(text, number, "", node.start, node.end))
