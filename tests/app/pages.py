"""An HTML page taken apart, to ask what is in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "br", "wbr"}


@dataclass
class Element:
    """An element with its attributes and the text inside, that of its children included."""

    tag: str
    attributes: dict[str, str]
    parents: tuple[str, ...]
    text: str = ""

    def __getitem__(self, name: str) -> str:
        return self.attributes[name]


@dataclass
class Page(HTMLParser):
    """All elements of a page in order. An end that fits no beginning is an error."""

    html: str
    elements: list[Element] = field(default_factory=list)
    _open: list[Element] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()
        self.feed(self.html)
        self.close()
        if self._open:
            raise ValueError(f"never closed: {[element.tag for element in self._open]}")

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        parents = tuple(element.tag for element in self._open)
        element = Element(tag, {name: value or "" for name, value in attrs}, parents)
        self.elements.append(element)
        if tag not in VOID:
            self._open.append(element)

    def handle_endtag(self, tag: str) -> None:
        if self._open.pop().tag != tag:
            raise ValueError(f"closed out of turn: {tag}")

    def handle_data(self, data: str) -> None:
        for element in self._open:
            element.text += data

    def all(self, *tags: str) -> list[Element]:
        return [element for element in self.elements if element.tag in tags]

    def texts(self, tag: str) -> list[str]:
        """The texts of all elements of a kind, each with single blanks."""
        return [" ".join(element.text.split()) for element in self.all(tag)]
