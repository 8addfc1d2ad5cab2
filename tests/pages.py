"""Pages as a reader finds them: numbered points, boxes to tick, and what a page is built of."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import NamedTuple


class Point(NamedTuple):
    """A numbered sentence of a page or of a plain text."""

    number: int
    text: str
    about: str | None = None
    rule: str | None = None


class Box(NamedTuple):
    """Something to tick: the number of the point that it is about, and what it says."""

    number: int | None
    text: str


class Element(NamedTuple):
    """An element with its attributes and the texts within it, in their order."""

    tag: str
    attributes: dict[str, str | None]
    texts: list[str]

    @property
    def text(self) -> str:
        return re.sub(r"[ \t\r\n]+", " ", "".join(self.texts)).strip(" ")


class _Reader(HTMLParser):
    """Every element in the order in which it begins, with all text inside it."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[Element] = []
        self.open: list[Element] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append(Element(tag, dict(attrs), []))
        self.open.append(self.found[-1])

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop().tag != tag:
            pass

    def handle_data(self, data: str) -> None:
        for element in self.open:
            element.texts.append(data)


def elements(page: str) -> list[Element]:
    """All elements of a page; void ones take what follows them and are not asked for it."""
    reader = _Reader()
    reader.feed(page)
    reader.close()
    return reader.found


def points(page: str) -> list[Point]:
    """The numbered sentences of a page, by what a reader sees: a number and a sentence."""
    return list(_points(elements(page)))


def _points(found: list[Element]) -> Iterator[Point]:
    for element in found:
        if re.fullmatch(r"p\d+", element.attributes.get("id") or ""):
            number, *text = [text for text in element.texts if text.strip()]
            assert element.attributes["id"] == f"p{number}"
            attributes = element.attributes
            yield Point(
                int(number), "".join(text), attributes["data-about"], attributes.get("data-rule")
            )


def text_points(text: str) -> list[Point]:
    """The numbered sentences of a plain text."""
    found = re.findall(r"^(\d+)\. (.*)$", text, re.MULTILINE)
    return [Point(int(number), sentence) for number, sentence in found]


def boxes(page: str) -> list[Box]:
    """Everything on a page that a buyer may tick, by the words beside it."""
    return [_box(element.text) for element in elements(page) if element.tag == "label"]


def _box(line: str) -> Box:
    found = re.fullmatch(r"(?:(\d+)\.? )?(.*)", line)
    assert found
    number, text = found.groups()
    return Box(int(number) if number else None, text)


def inputs(page: str) -> list[dict[str, str | None]]:
    """The attributes of everything on a page that takes an answer."""
    asking = ("input", "select", "textarea", "button")
    return [e.attributes for e in elements(page) if e.tag in asking]


def text_boxes(text: str) -> list[Box]:
    """The lines to accept in a plain text."""
    return [_box(line) for line in re.findall(r"^\[ \] (.*)$", text, re.MULTILINE)]


def map_numbers(drawing: str) -> list[int]:
    """The numbers that a drawing of the device shows, in its own words for who cannot see it."""
    described = next((e.text for e in elements(drawing) if e.tag == "desc"), "")
    return sorted(int(n) for n in re.findall(r"(?:^|[:;] )(\d+) ", described))
