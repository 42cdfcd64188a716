"""What the tests of pages share: hostile text, and a reader that checks nesting."""

from __future__ import annotations

from collections import Counter
from html.parser import HTMLParser

EVIL = '<script>alert("x")</script>&{{7*7}}</style>'
VOID = {"meta", "br", "path", "circle", "rect", "polyline", "polygon"}


class Page(HTMLParser):
    """Checks nesting and gathers what the tests ask about."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: Counter[str] = Counter()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.text: list[str] = []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        found = dict(attrs)
        if found.get("id"):
            self.ids.append(str(found["id"]))
        if tag == "a":
            self.links.append(str(found["href"]))
        for name in found:
            assert not name.startswith("on"), name
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text.append(data)
