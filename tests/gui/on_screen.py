"""Real widgets for tests of panels: shown for a while, looked at pixel by pixel, and gone again."""

from contextlib import contextmanager

from PySide6.QtCore import QCoreApplication, QEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.window import fonts
from app.window.panels import painted
from app.window.theme import apply_to, theme_of


def application():
    """The application; without a screen it draws into memory, which is enough for what paints itself."""
    return QApplication.instance() or QApplication(["tests"])


def theme_for(palette):
    """The look of a palette, given to the application too."""
    app = application()
    fonts.load_fonts()
    theme = theme_of(palette)
    apply_to(app, theme)
    return theme


@contextmanager
def on_screen(widget, size):
    """The widget is on the screen at this size, has the focus if it takes it, and is deleted afterwards."""
    widget.resize(*size)
    widget.show()
    widget.activateWindow()
    QTest.qWaitForWindowActive(widget, 5000)  # a busy screen gives the keyboard late
    settle()
    try:
        yield widget
    finally:
        widget.close()
        widget.deleteLater()
        settle()


def settle():
    """Let everything that waits be done."""
    for _ in range(3):
        QApplication.processEvents()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def picture(widget):
    settle()
    return widget.grab().toImage()


def colours(image):
    """How many pixels there are of each colour, as #rrggbb."""
    found = {}
    for y in range(image.height()):
        for x in range(image.width()):
            name = image.pixelColor(x, y).name()
            found[name] = found.get(name, 0) + 1
    return found


@contextmanager
def written(monkeypatch):
    """Every text that a painted panel writes meanwhile: (text as it was meant, as it is shown, where it stands)."""
    found = []
    write = painted.Painted.write

    def spying(self, painter, rect, text, font, colour, align=painted.LEFT):
        where = write(self, painter, rect, text, font, colour, align)
        if text:
            found.append((text, painted.fitted(text, font, rect.width()), where))
        return where

    with monkeypatch.context() as patch:
        patch.setattr(painted.Painted, "write", spying)
        yield found


def check_legible(found, widget, *, may_be_shortened=()):
    """No text is cut off at an edge, stands over another, or is shortened unless it may be."""
    area = widget.rect()
    for text, shown, where in found:
        assert where.left() >= -1.0, text
        assert where.right() <= area.width() + 1.0, text
        assert where.top() >= -2.0, text
        assert where.bottom() <= area.height() + 2.0, text
        assert shown == text or text in may_be_shortened, f"{text} is shown as {shown}"
    for i, (text, _, where) in enumerate(found):
        for other, _, there in found[:i]:
            overlap = where.intersected(there)
            assert overlap.width() <= 1.5 or overlap.height() <= 3.5, f"{text} stands over {other}"
