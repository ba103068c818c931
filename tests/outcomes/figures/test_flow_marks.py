"""How the flow is drawn: one tick for one operation, kinds that differ by shape, words that can be read, links that can be reached."""

import re
import xml.etree.ElementTree as ElementTree

import pytest

from server.outcomes.figures.flow import FlowFigure, Loss, Step
from server.outcomes.figures.flow_drawing import draw_flow
from server.outcomes.figures.flow_marks import MARKS, Band, draw_answered, draw_lost
from tests.outcomes.figures.flow_case import LOSSES, flow
from tests.structure.test_contrast import LOOKS, STAFF

SVG = "{http://www.w3.org/2000/svg}"
TICKS, SOLID = Band(12, 2.5, 10, 0, 17), Band(60, 0.5, 10, 0, 17)
TOKEN = re.compile(r"var\(--([\w-]+)\)")


def strokes_of(drawn: str) -> int:
    return sum(path.count("M") for path in re.findall(r' d="(.+?)"', drawn))


def shape(drawn: str) -> str:
    """What a print in grey keeps: the drawing without its colours."""
    return re.sub(r' (?:fill|stroke|fill-opacity)="[^"]*"', "", drawn)


def test_one_tick_is_one_operation() -> None:
    assert strokes_of(draw_answered(TICKS)) == 12
    assert [strokes_of(draw_lost(TICKS, mark)) for mark in MARKS] == [12] * len(MARKS)


def test_ticks_closer_than_two_pixels_are_drawn_solid() -> None:
    assert Band(3, 2.0, 0, 0, 17).solid is False and Band(3, 1.99, 0, 0, 17).solid is True
    assert strokes_of(draw_answered(SOLID)) == 0 and "<rect" in draw_answered(SOLID)
    assert ["<rect" in draw_lost(SOLID, mark) for mark in MARKS] == [True] * len(MARKS)


@pytest.mark.parametrize("drawn", [draw_answered(TICKS), draw_lost(TICKS, "not_meant")], ids=["answered", "not meant"])
def test_ticks_of_operations_that_are_no_longer_looked_at_are_thinner(drawn: str) -> None:
    (wide,) = {float(each) for each in re.findall(r'<path .*?stroke-width="(.+?)"', drawn)}

    assert wide == (1.25 if drawn == draw_answered(TICKS) else 1)


def test_kinds_of_loss_differ_without_colour() -> None:
    assert len({shape(draw_lost(TICKS, mark)) for mark in MARKS}) == len(MARKS)
    # Solid, hollow and pale are the same box; what tells them apart in grey is that one is filled.
    solid = {mark: draw_lost(SOLID, mark) for mark in MARKS}
    assert len({shape(solid[mark]) for mark in ("missed", "not_expected", "never_asked")}) == 3
    assert 'fill="var(--sheet)"' in solid["never_asked"] and 'fill="var(--coming)"' in solid["not_meant"]


def test_hatching_ends_at_the_edges_of_its_box() -> None:
    (moves,) = re.findall(r' d="(.+?)"', draw_lost(SOLID, "not_expected"))
    points = [tuple(map(float, each.split())) for each in re.split("[ML]", moves)[1:]]

    assert len(points) > 10
    assert min(x for x, _y in points) >= SOLID.left and max(x for x, _y in points) <= SOLID.right
    assert min(y for _x, y in points) >= SOLID.top and max(y for _x, y in points) <= SOLID.bottom


def test_words_are_written_in_tokens_that_have_seven_to_one_on_paper() -> None:
    drawn = ElementTree.fromstring(draw_flow(flow(), 820))
    written = [each for name in ("text", "tspan") for each in drawn.iter(SVG + name)]
    inks = {ink for each in written for ink in TOKEN.findall(each.attrib["fill"])}
    _sheets, texts, _on_dark, _marks = LOOKS[STAFF / "look.css"]

    assert inks == {"soft", "ochre-ink", "ink"}
    assert inks <= set(texts)


def test_every_colour_is_a_token_of_the_style_sheet() -> None:
    sheet = (STAFF / "look.css").read_text(encoding="utf-8")
    drawn = draw_flow(flow(), 1152) + draw_flow(flow(), 320)

    assert set(re.findall(r' (?:fill|stroke)="(.*?)"', drawn)) - {"none"} <= {
        f"var(--{one})" for one in TOKEN.findall(drawn)
    }
    assert [name for name in set(TOKEN.findall(drawn)) if f"--{name}:" not in sheet] == []


def test_each_loss_leads_to_its_people_and_says_how_many_they_are() -> None:
    drawn = ElementTree.fromstring(draw_flow(flow(), 820))
    links = {link.attrib["href"]: link.attrib["aria-label"] for link in drawn.iter(SVG + "a")}

    assert list(links) == [loss.href for loss in reversed(LOSSES)]
    assert links["/lost/declined"] == "15 declined to take part, 14 people"


def test_whoever_may_not_see_the_people_gets_the_count_without_a_link() -> None:
    drawn = draw_flow(flow(losses=tuple(Loss(each.label, each.count, each.people, each.mark) for each in LOSSES)), 820)

    assert "<a" not in drawn and "underline" not in drawn
    assert ">15</tspan> declined to take part<" in drawn


def test_a_label_is_text_and_never_markup() -> None:
    figure = FlowFigure((Step("<b>", 1, 1), Step("left", 0, 0)), (Loss('"&', 1, 1, "missed", '/"'),), "<", str)
    drawn = ElementTree.fromstring(draw_flow(figure, 320))

    assert drawn.findtext(SVG + "title") == "<"
    assert {link.attrib["href"] for link in drawn.iter(SVG + "a")} == {'/"'}
