"""The pictures of the page for a tablet: the set-up with what holds the part, and each watched place, light and dark.

They are those of the bench sheet, larger for a screen and in its colours. Where nothing can be drawn, every picture
says why and the page is made all the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from app.jobs.results import CutResult
from app.jobs.sheet.facts import CutName, Facts
from app.jobs.sheet.lengths import Lengths
from app.jobs.sheet.watching import gap_of, watched
from app.jobs.tablet_page import NotDrawn, PageLabel, PagePicture, PagePictures, Shown
from app.view3d.picture_order import NoPicture, Picture, PictureOrder
from app.view3d.pictures import draw_pictures
from app.view3d.scene_meshes import MeshCache
from app.view3d.sheet_pictures import SetUpOrder, WatchOrder, set_up_order, watch_order
from app.view3d.styles import Style
from kinematics.errors import TightsideError
from kinematics.prepared import Prepared

SET_UP_SIZE, WATCH_SIZE = (960, 720), (800, 600)  # twice and more what a phone is wide, in its own pixels
SCALE = 2.0  # pixels of a picture for one of the design: letters stay readable when it is shown half as large
STYLES = (Style.LIGHT, Style.DARK)
SET_UP = "the set-up, seen from the door"


@dataclass(frozen=True, slots=True)
class PageOrders:
    """What is to be drawn; what cannot be shown at all is there with the reason."""

    set_up: SetUpOrder | NotDrawn
    watched: Mapping[CutName, WatchOrder | NotDrawn]

    @property
    def looks(self) -> dict[CutName, str]:
        """From where the gap of a cut is seen that is hidden from the door, where there is such a place."""
        found = {name: order.look for name, order in self.watched.items() if isinstance(order, WatchOrder)}
        return {name: look for name, look in found.items() if look is not None}


def page_orders(prepared: Prepared, facts: Facts, lengths: Lengths) -> PageOrders:
    """The orders for all pictures of a page."""
    meshes = MeshCache()
    set_up: SetUpOrder | NotDrawn
    try:
        set_up = set_up_order(prepared, size=SET_UP_SIZE, meshes=meshes)
    except TightsideError as error:
        set_up = NotDrawn(SET_UP, error.message)
    results = watched(facts.check)
    return PageOrders(set_up, {(r.orientation, r.cut): _watch(prepared, r, lengths, meshes) for r in results})


def _watch(prepared: Prepared, result: CutResult, lengths: Lengths, meshes: MeshCache) -> WatchOrder | NotDrawn:
    name = (result.orientation, result.cut)
    orientation, cut = next((o, c) for o, c in prepared.scene.cuts() if (o.name, c.name) == name)
    number = gap_of(result, lengths)
    try:
        return watch_order(prepared, orientation, cut, result, size=WATCH_SIZE, number=number, meshes=meshes)
    except TightsideError as error:
        return NotDrawn(f"{name[0]} {name[1]}", error.message)


def page_pictures(orders: PageOrders) -> PagePictures:
    """Draw them, all in one process of their own."""
    wanted: list[PictureOrder] = []
    if isinstance(orders.set_up, SetUpOrder):
        wanted.append(orders.set_up.order)
    for order in orders.watched.values():
        if isinstance(order, WatchOrder):
            wanted += [order.across, order.door]
    drawn = draw_pictures([replace(order, style=style, scale=SCALE) for order in wanted for style in STYLES])
    found = {id(order): drawn[2 * i : 2 * i + 2] for i, order in enumerate(wanted)}

    def shown(order: PictureOrder, about: str) -> Shown:
        return _shown(found[id(order)], about)

    set_up: Shown = orders.set_up if isinstance(orders.set_up, NotDrawn) else shown(orders.set_up.order, SET_UP)
    if isinstance(set_up, PagePicture) and isinstance(orders.set_up, SetUpOrder):
        set_up = _labelled(set_up, orders.set_up)
    of_cuts: dict[CutName, tuple[Shown, ...]] = {}
    for name, watch in orders.watched.items():
        if isinstance(watch, NotDrawn):
            of_cuts[name] = (watch,)
        else:
            across = shown(watch.across, f"across the gap, seen {watch.seen_from}")
            of_cuts[name] = (across, shown(watch.door, watch.door.about or "seen through the door"))
    return PagePictures(set_up, of_cuts)


def _shown(drawn: tuple[Picture | NoPicture, ...], about: str) -> Shown:
    light, dark = drawn
    if isinstance(light, NoPicture):
        return NotDrawn(about, light.why)
    return PagePicture(light.png, dark.png if isinstance(dark, Picture) else None, light.size, about)


def _labelled(picture: PagePicture, order: SetUpOrder) -> PagePicture:
    """The set-up with its numbers; places of an order count from the lower left corner."""
    labels = tuple(
        PageLabel(f"{label.name} (hidden here)" if label.is_hidden else label.name, label.at[0], 1.0 - label.at[1])
        for label in order.labels
    )
    x, y = order.to_operator
    return replace(picture, labels=labels, to_operator=(x, -y))
