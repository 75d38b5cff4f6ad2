"""Everything that can be done by a key or from the menu, one row each. Menu, keys card, finder and tests all read it.

A handler is a function of the window. `where` says which pane a key is heard in; elsewhere a key that is also text
goes to the field that has the focus.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from app.window.results import Order

if TYPE_CHECKING:
    from app.window.main_window import MainWindow

Where = Literal["window", "board", "view"]
Group = Literal["File", "Edit", "Board", "View", "Dials", "Window"]


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to do.

    Parameters
    ----------
    key : names it.
    words : in the menu and on the keys card.
    keys : shortcuts, the first is shown.
    """

    key: str
    words: str
    keys: tuple[str, ...]
    group: Group
    run: Callable[[MainWindow], object]
    where: Where = "window"
    is_in_menu: bool = True


def _nth(n: int) -> Callable[[MainWindow], None]:
    def pick(window: MainWindow) -> None:
        window.board.pick_nth(n)

    return pick


def _dial(n: int) -> Callable[[MainWindow], None]:
    def focus(window: MainWindow) -> None:
        window.dials.focus_dial(n)

    return focus


def _card(step: int) -> Callable[[MainWindow], None]:
    def move(window: MainWindow) -> None:
        window.board.focus_card(step)

    return move


def _cut(step: int) -> Callable[[MainWindow], None]:
    def move(window: MainWindow) -> None:
        window.wiring.step_cut(step)

    return move


def _not_clear(step: int) -> Callable[[MainWindow], None]:
    def move(window: MainWindow) -> None:
        window.wiring.step_not_clear(step)

    return move


def _pane(step: int) -> Callable[[MainWindow], None]:
    def move(window: MainWindow) -> None:
        window.step_pane(step)

    return move


def _toggle_order(window: MainWindow) -> None:
    other = Order.MACHINING if window.wiring.order is Order.TIGHTEST else Order.TIGHTEST
    window.wiring.set_order(other)


def _turn_side_plot_over(window: MainWindow) -> None:
    window.arrangement.turn_side_plot_over()


FILE: tuple[Action, ...] = (
    Action("file.new", "New set-up", ("Ctrl+N",), "File", lambda w: w.new_setup.start()),
    Action("file.open", "Open", ("Ctrl+O",), "File", lambda w: w.files.ask_open()),
    Action("file.sample", "Open the sample", (), "File", lambda w: w.files.open_sample()),
    Action("file.save", "Save", ("Ctrl+S",), "File", lambda w: w.files.save()),
    Action("file.save_as", "Save as", ("Ctrl+Shift+S",), "File", lambda w: w.files.ask_save_as()),
    Action("file.sheet", "Print the sheet", ("Ctrl+P",), "File", lambda w: w.sheets.make()),
    Action("file.reread", "Read the file again", ("F5",), "File", lambda w: w.files.reread()),
    Action("file.close", "Close the window", ("Ctrl+W",), "File", lambda w: w.leave()),
)

EDIT: tuple[Action, ...] = (
    Action("edit.undo", "Undo", ("Ctrl+Z",), "Edit", lambda w: w.session.document.undo()),
    Action("edit.redo", "Redo", ("Ctrl+Y", "Ctrl+Shift+Z"), "Edit", lambda w: w.session.document.redo()),
    Action("edit.open", "Edit what is picked, or the set-up", ("E",), "Edit", lambda w: w.toggle_editor()),
    Action("edit.ways", "What would make it clear", ("A",), "Edit", lambda w: w.ways.open()),
    Action("edit.stop", "Stop computing, or leave what is open", ("Esc",), "Edit", lambda w: w.escape()),
    Action("edit.go_on", "Go on computing", ("Ctrl+Return",), "Edit", lambda w: w.session.recompute()),
    Action("edit.fault", "Next fault", ("F8",), "Edit", lambda w: w.faults.next_fault()),
)

BOARD: tuple[Action, ...] = (
    *(
        Action(f"board.{n + 1}", f"Card {n + 1} from the top", (str(n + 1),), "Board", _nth(n), is_in_menu=False)
        for n in range(9)
    ),
    Action("board.next", "Next card", ("Down",), "Board", _card(1), "board", is_in_menu=False),
    Action("board.last", "Last card", ("Up",), "Board", _card(-1), "board", is_in_menu=False),
    Action("board.next_cut", "Next cut of the card", ("Right",), "Board", _cut(1), "board", is_in_menu=False),
    Action("board.last_cut", "Last cut of the card", ("Left",), "Board", _cut(-1), "board", is_in_menu=False),
    Action("board.next_bad", "Next that is not clear", ("N",), "Board", _not_clear(1)),
    Action("board.last_bad", "Last that is not clear", ("Shift+N",), "Board", _not_clear(-1)),
    Action("board.order", "Tightest first, or machining order", ("O",), "Board", _toggle_order),
)

VIEW: tuple[Action, ...] = (
    Action("view.gap", "Look across the gap", ("G",), "View", lambda w: w.view.look_across_gap()),
    Action("view.door", "Look through the door", ("D",), "View", lambda w: w.view.look_through_door()),
    Action("view.tool", "Look along the tool", ("T",), "View", lambda w: w.view.look_along_tool()),
    Action("view.fit", "Fit the whole set-up", ("F",), "View", lambda w: w.view.fit()),
    Action("view.hide", "Hide what is picked", ("H",), "View", lambda w: w.view.hide_picked()),
    Action("view.show_all", "Show all", ("Shift+H",), "View", lambda w: w.view.show_all()),
    Action("view.through", "See through the part", ("P",), "View", lambda w: w.view.toggle_see_through()),
    Action("view.swept", "Swept room of the next swing", ("W",), "View", lambda w: w.view.toggle_swept()),
)

DIALS: tuple[Action, ...] = tuple(
    Action(f"dial.{n + 1}", f"Dial {n + 1}", (f"Alt+{n + 1}",), "Dials", _dial(n), is_in_menu=False) for n in range(8)
)

WINDOW: tuple[Action, ...] = (
    Action(
        "window.side", "Side-on, or round the tool", ("Q",), "Window", lambda w: w.arrangement.turn_side_plot_over()
    ),
    Action("window.unit", "mm, or inch", ("U",), "Window", lambda w: w.wiring.toggle_unit()),
    Action("window.look", "Light, or dark", ("Ctrl+D",), "Window", lambda w: w.toggle_look()),
    Action("window.next_pane", "Next pane", ("F6",), "Window", _pane(1), is_in_menu=False),
    Action("window.last_pane", "Last pane", ("Shift+F6",), "Window", _pane(-1), is_in_menu=False),
    Action("window.find", "Find anything by name", ("Ctrl+K",), "Window", lambda w: w.open_finder()),
    Action("window.layout", "Layout as it was at first", (), "Window", lambda w: w.arrangement.reset()),
    Action("window.keys", "Keys", ("F1",), "Window", lambda w: w.open_keys()),
    Action("window.about", "About, and cautions", (), "Window", lambda w: w.open_about()),
)

ACTIONS: tuple[Action, ...] = (*FILE, *EDIT, *BOARD, *VIEW, *DIALS, *WINDOW)

# what a pane hears itself; only told on the keys card
HEARD_BY_PANES: tuple[tuple[Group, str, str], ...] = (
    ("View", "Shift+arrows, Ctrl+arrows", "go round, move; + and - go nearer, away"),
    ("Dials", "arrows, Shift, Ctrl", "in a dial: by 0.1, 1, 0.01 (0.005, 0.05, 0.0005 inch)"),
    ("Dials", "[  ]", "edge of the last, next range"),
    ("Dials", "Backspace, Enter", "saved value, keep"),
)
