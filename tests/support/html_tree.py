"""A small tree of an HTML page, strict where a browser would guess: what is opened is closed, in order."""

from collections.abc import Iterator, Mapping
from html.parser import HTMLParser
from pathlib import Path

VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


class Element:
    """An element with its attributes, and children that are elements or text."""

    def __init__(self, tag: str, attributes: dict[str, str]) -> None:
        self.tag, self.attributes = tag, attributes
        self.children: list[Element | str] = []

    def all(self, *tags: str) -> Iterator["Element"]:
        """The elements below this one, in the order of the page; of some tags only, if any are named."""
        for child in self.children:
            if isinstance(child, Element):
                if not tags or child.tag in tags:
                    yield child
                yield from child.all(*tags)

    def classed(self, name: str) -> list["Element"]:
        """The elements below this one that have a class."""
        return [element for element in self.all() if name in element.attributes.get("class", "").split()]

    @property
    def text(self) -> str:
        """The text in this element, with white space as a browser shows it."""
        return " ".join("".join(self._texts()).split())

    def _texts(self) -> Iterator[str]:
        for child in self.children:
            if isinstance(child, str):
                yield child
            else:
                yield from child._texts()
                yield "" if child.tag in ("b", "a", "span", "text", "title") else " "


class _Builder(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.root = Element("", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(set(names)) == len(names), f"line {self.getpos()[0]}: <{tag}> has an attribute twice"
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"line {self.getpos()[0]}: </{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def parse(page: str) -> Element:
    """The tree of a page. Fails where the page is not closed properly."""
    builder = _Builder()
    builder.feed(page)
    builder.close()
    assert [element.tag for element in builder.open] == [""], "the page ends inside an element"
    return builder.root


class Pages(Mapping[str, Element]):
    """The pages of a site by name; one is parsed when it is asked for."""

    def __init__(self, site: Path) -> None:
        self.paths = {path.name: path for path in site.glob("*.html")}

    def __getitem__(self, name: str) -> Element:
        return parse(self.paths[name].read_text(encoding="utf-8"))

    def __iter__(self) -> Iterator[str]:
        return iter(self.paths)

    def __len__(self) -> int:
        return len(self.paths)
