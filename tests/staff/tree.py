"""A page as a tree: what stands within a link, what an element holds."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = frozenset({"meta", "link", "input", "br", "img", "hr"})


@dataclass
class Node:
    tag: str
    attributes: dict[str, str]
    parts: list["Node | str"] = field(default_factory=list)

    def all(self, tag: str = "", *, klass: str = "") -> Iterator["Node"]:
        """Itself and everything below it."""
        if tag in ("", self.tag) and (not klass or klass in self.attributes.get("class", "").split()):
            yield self
        for part in self.parts:
            if isinstance(part, Node):
                yield from part.all(tag, klass=klass)

    def by_id(self, name: str) -> "Node | None":
        return next((each for each in self.all() if each.attributes.get("id") == name), None)

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.texts()).split())

    def texts(self, *, without: frozenset[str] = frozenset()) -> Iterator[str]:
        """Its texts in order, without what stands in these elements."""
        for part in self.parts:
            if isinstance(part, str):
                yield part
            elif part.tag not in without:
                yield from part.texts(without=without)

    @property
    def links(self) -> list[str]:
        return [each.attributes["href"] for each in self.all("a")]


class _Builder(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("page", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        node = Node(tag, {name: value or "" for name, value in attrs})
        self.open[-1].parts.append(node)
        if tag not in VOID:
            self.open.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].parts.append(Node(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        while len(self.open) > 1 and self.open.pop().tag != tag:
            continue

    def handle_data(self, data: str) -> None:
        self.open[-1].parts.append(data)


def read_tree(html: str) -> Node:
    builder = _Builder()
    builder.feed(html)
    builder.close()
    return builder.root
