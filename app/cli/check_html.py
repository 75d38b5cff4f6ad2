"""`tightside check --html FILE`: the page for a tablet, written beside what a check prints."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from app.cli.progress import Progress
    from app.scenes.reader import SceneFile
    from kinematics.prepared import Prepared

SUFFIXES = (".html", ".htm")


def why_not(file: Path, *, has_second_opinion: bool) -> str | None:
    """What stands against a page, before anything is checked; None if nothing does."""
    if not has_second_opinion:
        return f"--html {file}: a page for the machine has a second opinion; expected it without --no-second-opinion"
    if file.suffix.lower() not in SUFFIXES:
        return f"--html {file}: expected a file name that ends in .html"
    if not file.absolute().parent.is_dir():
        return f"--html {file}: there is no folder {file.absolute().parent}; expected a folder that exists"
    return None


def write_page(file: Path, scene_file: SceneFile, prepared: Prepared, progress: Progress) -> None:
    """Make the page of a set-up that was checked with a second opinion, and write it. Raises SaveError."""
    from app.jobs.sheet.facts import facts_of, gather
    from app.jobs.sheet.lengths import Lengths
    from app.jobs.sheet.made import sheet_content
    from app.jobs.tablet_page import tablet_page
    from app.scenes.saving import save
    from app.view3d.page_pictures import page_orders, page_pictures

    progress.at("finding out how far stick-outs may be off")
    facts = facts_of(scene_file, list(gather(scene_file, prepared)))
    lengths = Lengths("inch" if scene_file.units == "inch" else "mm")
    orders = page_orders(prepared, facts, lengths)
    now = datetime.now().astimezone()
    date = f"{now.day} {now:%b %Y %H:%M}"
    content = sheet_content(facts, prepared, lengths, date=date, looks=orders.looks)
    progress.at("drawing pictures")
    save(file, tablet_page(content, page_pictures(orders)))
