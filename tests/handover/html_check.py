"""A strict look at a page with the standard library alone: tags closed in order, ids unique, nothing fetched."""

from __future__ import annotations

from html.parser import HTMLParser

VOID = {"meta", "input", "br", "link", "img", "hr"}
OUTSIDE = ("http:", "https:", "//", "file:")


class Page(HTMLParser):
    """Parsed page: ``faults`` is empty where it is well formed."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.faults: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.headings: list[int] = []
        self.feed(text)
        self.close()
        self.faults += [f"<{tag}> is never closed" for tag in self.open]
        ids = [attributes["id"] for _, attributes in self.tags if "id" in attributes]
        self.faults += [f"id {item} stands twice" for item in sorted({i for i in ids if ids.count(i) > 1}, key=str)]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = dict(attrs)
        self.tags.append((tag, attributes))
        if len(attributes) != len(attrs):
            self.faults.append(f"<{tag}> names an attribute twice")
        for key, value in attributes.items():
            if key in ("src", "href", "action") and (value or "").startswith(OUTSIDE):
                self.faults.append(f"<{tag}> fetches {value}")
            if key.startswith("on"):
                self.faults.append(f"<{tag}> carries a script in {key}")
        if tag in ("script", "iframe", "object", "link", "base"):
            self.faults.append(f"<{tag}> does not belong in a page of ours")
        if len(tag) == 2 and tag[0] == "h" and tag[1].isdigit():
            self.headings.append(int(tag[1]))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> closes {self.open[-1] if self.open else 'nothing'}")
        if tag in self.open:
            while self.open.pop() != tag:
                pass

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text += data
