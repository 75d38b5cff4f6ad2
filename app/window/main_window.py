"""The main window: which panels there are and where they stand. What they are shown is the wiring's.

Nothing here knows geometry, verdicts or processes.
"""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from platform import python_version
from typing import Protocol

from PySide6.QtCore import QSettings, QSize, Qt, Slot
from PySide6.QtGui import QAction, QCloseEvent, QDragEnterEvent, QDropEvent, QKeySequence, QResizeEvent
from PySide6.QtWidgets import QApplication, QMainWindow, QMenu, QStackedWidget, QVBoxLayout, QWidget

from app.scenes.faults import Fault
from app.window.actions import ACTIONS, HEARD_BY_PANES, Action
from app.window.answers import Outline
from app.window.arrangement import Arrangement, Panels
from app.window.beside import Beside
from app.window.card_pictures import CardPictures
from app.window.editing import Editing
from app.window.files import Files
from app.window.keeper import Keeper
from app.window.measuring import Measuring
from app.window.new_setup import NewSetup
from app.window.panels.about import About
from app.window.panels.board import Board
from app.window.panels.dials import Dials
from app.window.panels.editor import Editor
from app.window.panels.empty_start import EmptyStart
from app.window.panels.faults_strip import FaultsStrip
from app.window.panels.find_anything import Entry, FindAnything
from app.window.panels.headline import HeadlinePanel
from app.window.panels.keys_card import KeysCard
from app.window.panels.new_setup import NewSetupPage
from app.window.panels.new_setup_part import dropped_part
from app.window.panels.overlay import Overlay
from app.window.panels.room_line import RoomLine
from app.window.panels.round_the_tool import RoundToolPlot
from app.window.panels.side_on import SideOnPlot
from app.window.panels.status_line import StatusLine
from app.window.panels.tight_view import TightView
from app.window.panels.uses_up import UsesUpBar
from app.window.session import Session
from app.window.sheets import Sheets
from app.window.theme import DARK, LIGHT, Theme, apply_to, theme_of
from app.window.units import Unit
from app.window.ways import Ways
from app.window.wiring import Wiring

FIRST_SIZE = QSize(1280, 800)
LEAST_SIZE = QSize(960, 600)
WAYS = (("file.new", "New set-up"), ("file.open", "Open"), ("file.sample", "Open the sample"))
LIBRARIES = ("tightside", "PySide6-Essentials", "vtk", "numpy", "numba", "python-fcl", "trimesh", "cascadio", "shapely")


class Looks(Protocol):
    """What has a look."""

    def set_theme(self, theme: Theme) -> None: ...


class Shown(Looks, Protocol):
    """What shows lengths."""

    def set_unit(self, unit: Unit) -> None: ...


class MainWindow(QMainWindow):
    """One window, one document."""

    # what actions use; said here, since they and this file know each other
    arrangement: Arrangement
    board: Board
    dials: Dials
    faults: FaultsStrip
    files: Files
    new_setup: NewSetup
    session: Session
    sheets: Sheets
    view: TightView
    ways: Ways
    wiring: Wiring

    def __init__(self, settings: QSettings, theme: Theme, session: Session | None = None) -> None:
        super().__init__()
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setAcceptDrops(True)
        self.setMinimumSize(LEAST_SIZE)
        self.settings, self.theme = settings, theme
        self.session = session or Session(self)
        self.session.setParent(self)
        self.files = Files(self.session.document, settings, self)
        self.headline = HeadlinePanel(theme, self)
        self.faults = FaultsStrip(theme, self)
        self.room_line = RoomLine(theme, self)
        self.board = Board(theme, self)
        self.view = TightView(theme, self)
        self.dials = Dials(theme, self)
        self.uses_up = UsesUpBar(theme, self)
        self.side_on = SideOnPlot(theme, self)
        self.round_tool = RoundToolPlot(theme, self)
        self.editor = Editor(theme, self)
        self.editor.hide()
        self.status = StatusLine(theme, self)
        self.new_page = NewSetupPage(theme, self)
        self.new_page.hide()
        self.start = EmptyStart(theme, WAYS, self)
        self.arrangement = self._arranged()
        self._pages = QStackedWidget(self)
        self._lay_out()
        self.wiring = Wiring(self, self.session, settings)
        self.pictures = CardPictures(theme, self)
        self.beside = Beside(self, self.session)
        self.editing = Editing(self, self.session, self.editor)
        self.ways = Ways(self, self.session)
        self.measuring = Measuring(self, self.session)
        self.keeper = Keeper(self, self.session)
        self.sheets = Sheets(self, self.session)
        self.new_setup = NewSetup(self, self.session, self.new_page)
        self._actions = {action.key: self._added(action) for action in ACTIONS}
        self._overlays: tuple[Overlay, ...] = ()
        self._fill_menu()
        self.start.chosen.connect(self.trigger)
        self.start.recent_wanted.connect(self._open_recent)
        self.files.offered.connect(self.headline.show_offer)
        self.files.recent_changed.connect(self._show_recent)
        self.headline.offer_taken.connect(self.files.take_offer)
        self.status.keys_wanted.connect(self.open_keys)
        self._show_recent()
        self.wiring.set_unit(self.wiring.unit)
        self.wiring.show_all()
        self._recall_size()

    # ---- layout ----

    def _arranged(self) -> Arrangement:
        column = QWidget(self)
        rows = QVBoxLayout(column)
        rows.setContentsMargins(0, 4, 0, 0)
        rows.setSpacing(4)
        rows.addWidget(self.room_line)
        rows.addWidget(self.board, 1)
        rows.addWidget(self.new_page, 1)
        self._panes = (
            self.new_page,
            self.room_line,
            self.board,
            self.view,
            self.dials,
            self.uses_up,
            self.side_on,
            self.round_tool,
        )
        panels = Panels(column, self.view, self.dials, self.uses_up, self.side_on, self.round_tool, self.editor)
        return Arrangement(panels, self.settings, self)

    def _lay_out(self) -> None:
        body = QWidget(self)
        rows = QVBoxLayout(body)
        rows.setContentsMargins(0, 0, 0, 0)
        rows.setSpacing(0)
        rows.addWidget(self.headline)
        rows.addWidget(self.faults)
        rows.addWidget(self.arrangement, 1)
        rows.addWidget(self.status)
        self._pages.addWidget(self.start)
        self._pages.addWidget(body)
        self.setCentralWidget(self._pages)

    def _recall_size(self) -> None:
        self.resize(FIRST_SIZE)
        state = self.settings.value("geometry")
        if state is not None:
            self.restoreGeometry(state)

    def plain_panels(self) -> tuple[Shown, ...]:
        """The panels that show lengths."""
        return (self.view, self.dials, self.uses_up, self.side_on, self.round_tool, self.new_page)

    # ---- what is shown ----

    def show_start(self, *, is_empty: bool) -> None:
        """The start, or the set-up."""
        self._pages.setCurrentIndex(0 if is_empty and self.new_page.isHidden() else 1)

    def show_outline(self, outline: Outline) -> None:
        """Another set-up, or another text of it."""
        self.dials.show_paths(tuple(number.path for number in outline.numbers))

    def jump_to(self, fault: Fault) -> None:
        """Go to what a fault is about."""
        self.go_to_path(fault.path)
        self.editing.open(fault.path)

    def go_to_path(self, path: str) -> None:
        """Go to a number by its path, or to the cut or orientation that it belongs to."""
        for cut in self.session.snapshot.cuts:
            if path.startswith("/".join(cut.key)) or path.split("/")[0] == cut.key[0]:
                self.wiring.pick(cut.key)
                return

    # ---- actions ----

    def _added(self, action: Action) -> QAction:
        made = QAction(action.words, self)
        made.setShortcuts([QKeySequence(key) for key in action.keys])
        made.setData(action.key)
        made.triggered.connect(self._triggered)
        owner: QWidget = {"window": self, "board": self.board, "view": self.view}[action.where]
        context = Qt.ShortcutContext.WindowShortcut
        if action.where != "window":
            context = Qt.ShortcutContext.WidgetWithChildrenShortcut
        made.setShortcutContext(context)
        owner.addAction(made)
        return made

    @Slot()
    def _triggered(self) -> None:
        made = self.sender()
        if isinstance(made, QAction):
            self.trigger(str(made.data()))

    @Slot(str)
    def trigger(self, key: str) -> None:
        """Do what an action does."""
        next(action for action in ACTIONS if action.key == key).run(self)

    def action(self, key: str) -> QAction:
        """The menu's action."""
        return self._actions[key]

    def _fill_menu(self) -> None:
        menu = QMenu(self)
        group = ""
        for action in ACTIONS:
            if not action.is_in_menu:
                continue
            if group and action.group != group:
                menu.addSeparator()
            group = action.group
            menu.addAction(self._actions[action.key])
        self.headline.menu.setMenu(menu)
        self.headline.sheet.setToolTip("Print the bench sheet (Ctrl+P)")
        self.headline.sheet.clicked.connect(self.sheets.make)

    def step_pane(self, step: int) -> None:
        """The focus goes to the next or last pane that can be seen."""
        panes = [pane for pane in self._panes if pane.isVisible()]
        if not panes:
            return
        focus = QApplication.focusWidget()
        at = next((i for i, pane in enumerate(panes) if focus is pane or (focus and pane.isAncestorOf(focus))), -1)
        pane = panes[(at + step) % len(panes)]
        if pane is self.board and self.board.cards:
            next((c for c in self.board.cards if c.is_picked), self.board.cards[0]).setFocus()
        elif pane is self.dials:
            self.dials.focus_dial(0)
        else:
            pane.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def escape(self) -> None:
        """Close what is laid over, withdraw what is offered, leave the field, or stop computing."""
        for overlay in self._overlays:
            if overlay.is_open:
                overlay.shut()
                return
        if self.files.withdraw():
            return
        if self.session.held:
            self.session.let_go()
        elif self.session.snapshot.doing:
            self.session.stop()
        else:
            self.board.setFocus()

    def toggle_look(self) -> None:
        """Light, or dark."""
        self.set_theme(theme_of(LIGHT if self.theme.palette.is_dark else DARK))
        self.settings.setValue("look", str(self.theme.palette.style))

    def set_theme(self, theme: Theme) -> None:
        """Another look for everything."""
        self.theme = theme
        application = QApplication.instance()
        if isinstance(application, QApplication):
            apply_to(application, theme)
        for panel in self._with_a_look():
            panel.set_theme(theme)
        self.update()

    def _with_a_look(self) -> tuple[Looks, ...]:
        own = (self.headline, self.faults, self.room_line, self.board, self.status, self.start, self.editor)
        return (*own, *self._overlays, *self.plain_panels(), self.pictures)

    @Slot(str)
    def edit(self, path: str) -> None:
        """Open the editor at a thing or one of its values."""
        self.editing.open(path)

    def toggle_editor(self) -> None:
        """Open the editor at what is picked in the view, or close it."""
        if self.editing.is_open:
            self.editing.shut()
        else:
            self.editing.open(self.view.picked_body)

    def add_by(self, kind: str) -> None:
        """Add something that takes more than a form."""
        if kind == "measured":
            self.measuring.open()

    # ---- laid over ----

    def open_keys(self) -> None:
        """All keys as one card."""
        groups: dict[str, list[tuple[str, str]]] = {}
        for action in ACTIONS:
            if action.keys and not action.key.startswith(("board.2", "board.3", "dial.2", "dial.3")):
                if action.key[:-1] in ("board.", "dial.") and action.key[-1] in "456789":
                    continue
                keys, words = _keys(action)
                groups.setdefault(action.group, []).append((keys, words))
        for group, keys, words in HEARD_BY_PANES:
            groups.setdefault(group, []).append((keys, words))
        self.lay_over(KeysCard(self.theme, tuple((g, tuple(rows)) for g, rows in groups.items()), self))

    def open_about(self) -> None:
        """Purpose, cautions and versions."""
        versions = [("Python", python_version())]
        for name in LIBRARIES:
            try:
                versions.append((name, version(name)))
            except PackageNotFoundError:
                versions.append((name, "not installed"))
        self.lay_over(About(self.theme, tuple(versions), self))

    def open_finder(self) -> None:
        """Find anything by name."""
        finder = FindAnything(self.theme, self)
        names = self.wiring.entries()
        actions = tuple(Entry("action", a.words, a.keys[0] if a.keys else "", a.key) for a in ACTIONS if a.is_in_menu)
        finder.show_entries((*names, *actions))
        finder.chosen.connect(self._go_to)
        self.lay_over(finder)

    def lay_over(self, overlay: Overlay) -> None:
        """Show a card over the window, in place of the one that is there."""
        for other in self._overlays:
            other.shut()
            other.deleteLater()
        self._overlays = (overlay,)
        overlay.open()

    @property
    def overlay(self) -> Overlay | None:
        """What is laid over, if anything."""
        return next((o for o in self._overlays if o.is_open), None)

    @Slot(object)
    def _go_to(self, entry: Entry) -> None:
        match entry.kind, entry.key:
            case "action", str(key):
                self.trigger(key)
            case (("cut" | "swing"), key):
                self.wiring.pick(key)  # type: ignore[arg-type]  # entries of these kinds have such keys
            case "tool", str(tool):
                first = self.wiring.first_cut_of_tool(tool)
                if first is not None:
                    self.wiring.pick(first)
            case _, str(path):
                self.go_to_path(path)

    # ---- files ----

    @Slot()
    def _show_recent(self) -> None:
        self.start.show_recent(self.files.recent())

    @Slot(str)
    def _open_recent(self, name: str) -> None:
        self.files.open(Path(name))

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        if _dropped(event) is not None or dropped_part(event):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        path, part = _dropped(event), dropped_part(event)
        if path is not None:
            event.acceptProposedAction()
            self.files.open(path)
        elif part:
            event.acceptProposedAction()
            self.new_setup.start(part)

    # ---- the window itself ----

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.arrangement.fit(event.size())
        self.pictures.set_ratio(self.devicePixelRatioF())

    def leave(self) -> None:
        """Close the window, once nothing unsaved is in the way."""
        self.close()

    def closeEvent(self, event: QCloseEvent) -> None:
        if not self.files.may_close(self.leave):
            event.ignore()
            return
        self.new_setup.room.give_back()
        self.arrangement.remember()
        self.settings.setValue("geometry", self.saveGeometry())
        self.hide()  # processes take a moment to end
        self.view.shut_down()
        self.pictures.shut_down()
        self.keeper.close()
        self.sheets.close()
        self.session.close()
        super().closeEvent(event)


def _dropped(event: QDropEvent) -> Path | None:
    """The one scene file that is dropped."""
    urls = event.mimeData().urls()
    if len(urls) == 1 and urls[0].isLocalFile() and urls[0].toLocalFile().endswith((".yaml", ".yml")):
        return Path(urls[0].toLocalFile())
    return None


def _keys(action: Action) -> tuple[str, str]:
    if action.key == "board.1":
        return "1 .. 9", "nth card from the top"
    if action.key == "dial.1":
        return "Alt+1 .. 8", "dial n"
    return ", ".join(action.keys), action.words
