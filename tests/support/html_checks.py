"""A page read by the standard parser: a tree, its text, and what is wrong with its markup."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser

VOID = {"br", "col", "hr", "img", "input", "link", "meta"}


class Element:
    """One element with its attributes, its children and the text directly in it."""

    def __init__(self, tag: str, attributes: dict[str, str]) -> None:
        self.tag = tag
        self.attributes = attributes
        self.children: list[Element | str] = []

    def walk(self) -> Iterator[Element]:
        """This element and all below it, in the order of the page."""
        yield self
        for child in self.children:
            if isinstance(child, Element):
                yield from child.walk()

    def find(self, tag: str, *, style: str | None = None) -> list[Element]:
        """Elements of a tag, optionally of a class, below this one."""
        return [
            element
            for element in self.walk()
            if element.tag == tag
            and (style is None or style in element.attributes.get("class", "").split())
        ]

    def text(self) -> str:
        """All text in it, with single spaces."""
        parts = [child if isinstance(child, str) else child.text() for child in self.children]
        return re.sub(r"\s+", " ", " ".join(parts)).strip()


class _Reader(HTMLParser):
    """Builds the tree; every element must be closed in its turn."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("document", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), f"an attribute stands twice in <{tag}>: {names}"
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].children.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        place = self.getpos()
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}> at {place}"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def read_page(html: str) -> Element:
    """Tree of a page; fails if an element is not closed in its turn."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    assert [element.tag for element in reader.open] == ["document"]
    return reader.root


def ids_of(page: Element) -> list[str]:
    """Ids in the order of the page, repeated ones repeated."""
    return [e.attributes["id"] for e in page.walk() if "id" in e.attributes]


def heading_levels(page: Element) -> list[int]:
    """Levels of the headings in the order of the page."""
    return [int(e.tag[1]) for e in page.walk() if re.fullmatch(r"h[1-6]", e.tag)]


def numbers_in(text: str) -> set[str]:
    """Whole numbers of a text, with or without separators, as digits."""
    found = re.findall(r"(?<![\w.,-])\d{1,3}(?:,\d{3})+|(?<![\w.,-])\d+(?![\w.])", text)
    return {number.replace(",", "") for number in found}


def addresses_in(page: Element) -> list[str]:
    """Every address that a browser would load or lead to."""
    names = ("action", "href", "src", "xlink:href", "data", "poster", "srcset")
    return [e.attributes[name] for e in page.walk() for name in names if name in e.attributes]
