"""Room for the page of a new set-up: as wide as it wants to be, and what does not fit beside it gives way meanwhile."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QObject, QTimer, Slot
from PySide6.QtWidgets import QSplitter, QWidget

from app.window.arrangement import MAIN, Size
from app.window.panels.new_setup import WIDTH, NewSetupPage

if TYPE_CHECKING:
    from app.window.main_window import MainWindow


class PageRoom(QObject):
    """Takes room from the splitters and gives it back."""

    def __init__(self, window: MainWindow, page: NewSetupPage) -> None:
        super().__init__(window)
        self._window, self._page = window, page
        self._board_width = 0
        self._soon = QTimer(self, singleShot=True, interval=0)
        self._soon.timeout.connect(self._fit)
        window.arrangement.installEventFilter(self)

    def take(self) -> None:
        """The page is there."""
        splitter = self._splitter()
        if splitter is not None and not self._board_width:
            size = self._window.arrangement.size_now or Size.NORMAL
            self._board_width = max(splitter.sizes()[0], MAIN[size][0])
        self._fit()

    def give_back(self) -> None:
        """The board as wide as it was, and everything beside it."""
        if not self._board_width:
            return
        width, self._board_width = self._board_width, 0
        for widget in self._giving_way():
            widget.show()
        splitter = self._splitter()
        if splitter is not None:
            sizes = splitter.sizes()
            splitter.setSizes([width, sizes[1] + sizes[0] - width, *sizes[2:]])

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() is QEvent.Type.Resize and self._board_width:
            self._soon.start()
        return super().eventFilter(watched, event)

    @Slot()
    def _fit(self) -> None:
        if not self._board_width:
            return
        is_narrow = self._window.arrangement.size_now in (Size.SMALL, Size.NORMAL)
        for widget in self._giving_way():
            widget.setVisible(not is_narrow)
        splitter = self._splitter()
        if splitter is not None and splitter.sizes()[0] < WIDTH:
            sizes = splitter.sizes()
            splitter.setSizes([WIDTH, max(200, sizes[1] - (WIDTH - sizes[0])), *sizes[2:]])

    def _giving_way(self) -> tuple[QWidget, ...]:
        """What a narrow window has no room for beside the page."""
        small = self._window.arrangement.size_now is Size.SMALL
        drawer = self._window.side_on.parentWidget()
        plots = drawer.parentWidget() if drawer is not None else None
        return (self._window.uses_up, plots) if small and plots is not None else (self._window.uses_up,)

    def _splitter(self) -> QSplitter | None:
        column = self._page.parentWidget()
        splitter = column.parentWidget() if column is not None else None
        return splitter if isinstance(splitter, QSplitter) else None
