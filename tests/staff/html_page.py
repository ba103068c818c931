"""Reads a page as a browser would, far enough to ask about headings, labels and what is inline."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "input", "br", "img", "hr"}
HIDDEN_INPUTS = {"hidden", "submit"}


@dataclass
class Element:
    tag: str
    attributes: dict[str, str]
    text: str = ""


@dataclass
class Page(HTMLParser):
    elements: list[Element] = field(default_factory=list)
    _open: list[Element] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.elements.append(element)
        if tag not in VOID:
            self._open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop().tag != tag:
            continue

    def handle_data(self, data: str) -> None:
        for element in self._open:
            element.text += data

    def all(self, tag: str, **attributes: str) -> list[Element]:
        wanted = {name.rstrip("_").replace("_", "-"): value for name, value in attributes.items()}
        return [
            element
            for element in self.elements
            if element.tag == tag and all(element.attributes.get(name) == value for name, value in wanted.items())
        ]

    @property
    def inputs(self) -> list[Element]:
        """Everything that a person fills in."""
        found = [element for element in self.elements if element.tag in ("input", "select", "textarea")]
        return [element for element in found if element.attributes.get("type") not in HIDDEN_INPUTS]

    @property
    def words(self) -> str:
        """All that is read, links and emphasis taken off, each run of blanks as one."""
        return " ".join(self.all("html")[0].text.split())

    def unlabelled(self) -> list[str]:
        labelled = {label.attributes.get("for") for label in self.all("label") if label.text.strip()}
        return [
            element.attributes.get("name", "?")
            for element in self.inputs
            if element.attributes.get("id") not in labelled and not element.attributes.get("aria-label")
        ]


def read_page(html: str) -> Page:
    page = Page()
    page.feed(html)
    page.close()
    return page
