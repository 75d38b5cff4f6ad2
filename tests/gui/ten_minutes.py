"""The ten-minute story, walked through the real widgets: from a part file to a saved set-up with numbers.

    python -m tests.gui.ten_minutes OUT [--dark] [--size 1280x800] [--part FILE]

Clicks and typed fields are counted as a person would do them; a picture is kept after each step.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from PySide6.QtCore import QDeadlineTimer, QEventLoop, QPoint, QSettings, Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QWidget

from app.window.fonts import load_fonts
from app.window.main_window import MainWindow
from app.window.panels.new_setup import NewSetupPage
from app.window.theme import DARK, LIGHT, apply_to, theme_of

MOST = 60
TOOLS = (
    "1 end mill d10 flute 22 out 35 holder collet_16_jis30",
    "2 end mill d6 flute 13 out 20 holder collet_11_jis30",
    "4 drill d4.2 flute 30 out 40 holder collet_11_jis30",
)
Wait = Callable[[Callable[[], bool], str], None]


@dataclass
class Walk:
    """A person at the window. `clicks` and `typed` say what was clicked and typed, in order."""

    window: MainWindow
    wait: Wait
    out: Path | None = None
    clicks: list[str] = field(default_factory=list)
    typed: list[str] = field(default_factory=list)
    pictures: list[Path] = field(default_factory=list)

    @property
    def page(self) -> NewSetupPage:
        return self.window.new_page

    # ---- hands ----

    def click(self, widget: QWidget, what: str, at: QPoint | None = None) -> None:
        """Bring it into view, as a wheel does, and click it."""
        QApplication.processEvents()
        assert widget.isVisible(), f"{what} can't be seen"
        assert widget.isEnabled(), f"{what} can't be clicked"
        if self.page.isAncestorOf(widget) and self.page.area.isAncestorOf(widget):
            self.page.area.ensureWidgetVisible(widget, 0, 8)
            QApplication.processEvents()
        spot = at or widget.rect().center()
        seen = widget.mapTo(self.window, spot)
        assert self.window.rect().contains(seen), f"{what} is outside the window"
        found = self.window.childAt(seen)
        assert found is widget or widget.isAncestorOf(found), f"{what} is under {found}"
        QTest.mouseClick(widget, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, spot)
        self.clicks.append(what)

    def type(self, widget: QWidget, text: str, what: str) -> None:
        """Type into the field that has the focus, key by key, and Enter."""
        focused = self.window.focusWidget()  # of the window, which a bare screen may not have made the active one
        assert focused is widget or widget.isAncestorOf(focused), f"{what} has not the focus"
        QTest.keyClicks(widget, text)
        QTest.keyClick(widget, Qt.Key.Key_Return)
        self.typed.append(what)

    def face(self, direction: tuple[float, float, float]) -> None:
        """Turn the part until its outermost face that looks that way is seen, and click its middle."""
        picture = self.page.orientations.picture
        self.page.area.ensureWidgetVisible(picture, 0, 8)
        picture.turn_deg, picture.lean_deg = 210.0 if direction[1] > 0 else 30.0, 30.0
        picture.orbit(0.0, 0.0)
        seen: list[tuple[float, int, int]] = []
        for y in range(20, picture.height() - 20, 4):
            for x in range(20, picture.width() - 20, 4):
                found = picture.facet_at(x, y)
                if found is None:
                    continue
                normal = picture.normal_of(found[0])
                if max(abs(a - b) for a, b in zip(normal, direction, strict=True)) < 1e-3:
                    seen.append((round(sum(a * b for a, b in zip(found[1], direction, strict=True)), 2), x, y))
        assert seen, f"no face looks to {direction}"
        outermost = [(x, y) for height, x, y in seen if height == max(seen)[0]]
        mx, my = (sum(v) / len(outermost) for v in zip(*outermost, strict=True))
        x, y = min(outermost, key=lambda at: (at[0] - mx) ** 2 + (at[1] - my) ** 2)
        self.click(picture, f"face {direction}", QPoint(x, y))

    def look(self, name: str) -> None:
        """Keep a picture of the window."""
        for _ in range(6):
            QApplication.processEvents()
        if self.window.view.place is not None:
            self.wait(lambda: self.window.view.canvas.is_settled, "the picture is drawn")
        if self.out is not None:
            path = self.out / f"{len(self.pictures):02d}_{name}.png"
            self.window.grab().save(str(path))
            self.pictures.append(path)

    @property
    def is_checked(self) -> bool:
        now = self.window.session.snapshot
        if self.window.session.is_about_to_tell:
            return False
        return now.second_opinion is not None and now.is_fresh and bool(now.cuts)

    def is_compared(self, n: int) -> bool:
        """Whether each position of an orientation says what it leaves."""
        return all(p.word for p in self.page.orientations.papers[n].positions if p.isVisible() and p.isEnabled())

    # ---- the story ----

    def go(self, part: Path) -> Path:
        """From the empty window to the saved set-up; where that is."""
        page, window = self.page, self.window
        window.new_setup.part.ask_file = lambda: part
        self.look("empty")
        new = next(key for key in window.start.findChildren(QAbstractButton) if key.text() == "New set-up")
        self.click(new, "New set-up")
        self.look("new")
        self.click(page.part.choose, "Choose a file")
        self.clicks += ["the file, in the system's dialog", "Open, in the system's dialog"]
        self.wait(lambda: page.part.part.isVisible(), "the part is read")
        self.wait(lambda: window.view.place is not None, "the set-up is drawn")
        self.look("part")
        self.click(page.machine.key_of("compact_ac"), "machine")
        self.look("machine")
        for paper in page.machine.papers:
            assert paper.question is not None, "the questions come one after the other"
            self.click(
                next(c for c in paper.choices if c.text() == paper.question.says), f"sign of {paper.question.letter}"
            )
        self.look("signs")
        self.click(page.machine.on, "Go on to the holding")
        self.click(next(iter(page.holding.choices.values())), "dovetail")
        row = page.holding.fields["riser"]
        self.click(row.field, "the riser's field")
        self.type(row.field, "30", "riser")
        self.look("holding")
        self.click(page.holding.on, "Go on to the tools")
        for i, line in enumerate(TOOLS):
            self.type(page.tools.field, line, f"tool {i + 1}")
        self.wait(lambda: page.orientations.is_open, "the last block unfolds")
        self.look("tools")
        self.face((0.0, 0.0, 1.0))
        self.wait(lambda: bool(window.session.snapshot.cuts), "there is a cut")
        self.wait(lambda: self.is_checked, "the first number is there")
        self.look("first_number")
        self.face((0.0, 1.0, 0.0))
        self.wait(
            lambda: all(p.word for p in page.orientations.papers[1].positions if p.isEnabled()), "both are checked"
        )
        self.wait(lambda: self.is_checked, "the second orientation is checked")
        self.look("two_positions")
        paper = page.orientations.papers[1]
        paper.tool.setFocus()
        self.page.area.ensureWidgetVisible(paper, 0, 8)
        QTest.keyClick(paper.tool, Qt.Key.Key_Down)
        paper.tool.activated.emit(paper.tool.currentIndex())
        self.typed.append("tool of V2")
        self.click(paper.depth_field, "the depth's field")
        self.type(paper.depth_field, "2", "depth of V2")
        self.wait(lambda: self.is_checked, "the depth is checked")
        self.look("depth")
        self.click(page.done_key, "Done")
        self.wait(lambda: not window.new_setup.is_open, "the page is closed")
        self.wait(lambda: self.is_checked, "the saved set-up is checked")
        self.look("done")
        path = window.session.document.path
        assert path is not None, "it was saved under a name"
        return path

    def counted(self) -> str:
        """What was done, in words."""
        lines = [f"{len(self.clicks)} clicks: {', '.join(self.clicks)}"]
        lines.append(f"{len(self.typed)} typed fields: {', '.join(self.typed)}")
        lines.append(f"together {len(self.clicks) + len(self.typed)} of at most {MOST}")
        return "\n".join(lines)


def waiting(is_so: Callable[[], bool], what: str) -> None:
    """Run the event loop until something is true."""
    deadline = QDeadlineTimer(120_000)
    alarm = QTimer()
    alarm.start(20)
    while not is_so():
        if deadline.hasExpired():
            raise AssertionError(f"{what}: not so after 120 s")
        QApplication.processEvents(QEventLoop.ProcessEventsFlag.WaitForMoreEvents)


def main() -> int:
    """Walk, keep pictures, print the counts."""
    parser = argparse.ArgumentParser(description="the ten-minute story through the real widgets")
    parser.add_argument("out", type=Path)
    parser.add_argument("--dark", action="store_true")
    parser.add_argument("--size", default="1280x800")
    parser.add_argument("--part", type=Path)
    asked = parser.parse_args()
    parts = os.environ.get("TIGHTSIDE_PARTS", "")
    source: Path = asked.part or Path(parts) / "featuretype.STEP"
    work = asked.out / "work"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    part = Path(shutil.copy(source, work))
    application = QApplication(["ten minutes"])
    load_fonts()
    theme = theme_of(DARK if asked.dark else LIGHT)
    apply_to(application, theme)
    os.environ.setdefault("TIGHTSIDE_STATE", str(work))
    window = MainWindow(QSettings(str(work / "settings.ini"), QSettings.Format.IniFormat), theme)
    width, height = (int(n) for n in asked.size.split("x"))
    window.resize(width, height)
    window.show()
    window.activateWindow()
    walk = Walk(window, waiting, asked.out)
    raised: list[BaseException] = []
    usual, sys.excepthook = sys.excepthook, lambda _kind, error, _trace: raised.append(error)
    try:
        saved = walk.go(part)
    except AssertionError as error:
        raise (raised[0] if raised else error) from error
    else:
        sys.stdout.write(f"{walk.counted()}\nsaved: {saved.name}\n")
    finally:
        window.session.document.stack.setClean()
        window.close()
        sys.excepthook = usual
    if raised:
        raise raised[0]
    return 0


if __name__ == "__main__":
    sys.exit(main())
