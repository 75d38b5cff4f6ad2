"""A page taken apart by the standard library's parser: its tags, its words, its tables."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = frozenset({"meta", "img", "source", "br"})


@dataclass
class Page(HTMLParser):
    """What stands on a page. `cells`: rows of cells as (data-label, text); `faults`: tags that do not close."""

    tags: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    rows: list[list[tuple[str, str]]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    styles: list[str] = field(default_factory=list)
    _open: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag == "td":
            self.rows[-1].append((dict(attrs).get("data-label") or "", ""))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self._open or self._open.pop() != tag:
            self.faults.append(f"</{tag}> in line {self.getpos()[0]}")

    def handle_data(self, data: str) -> None:
        if "style" in self._open:
            self.styles.append(data)
            return
        self.words.append(data)
        if "td" in self._open:
            label, text = self.rows[-1][-1]
            self.rows[-1][-1] = (label, text + data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def row(self, first: str) -> dict[str, str]:
        """The row whose first cell says this, by the headings of its cells."""
        return next(dict(row) for row in self.rows if row and row[0][1] == first)


def read_page(text: str) -> Page:
    page = Page()
    page.feed(text)
    page.close()
    page.faults += [f"<{tag}> is not closed" for tag in page._open]
    return page
