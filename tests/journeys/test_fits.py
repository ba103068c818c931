"""What a phone shows fits on it: on the narrowest screen, in letters twice as large, in the longer language."""

from itertools import pairwise, takewhile

import pytest
from playwright.sync_api import Locator, Page

from tests.fonts import SANS, SERIF
from tests.journeys.phone import WEEK_6, WEEK_6_DAYS, YEAR_1, Phone
from tests.journeys.site import BORN, Site

pytestmark = pytest.mark.xdist_group("chromium")

# As with a browser set to letters of 32 pixels in place of 16: the app takes 112.5 % of them.
LARGE = "document.documentElement.style.fontSize = '36px'"
TOO_WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
SMALLEST_TARGET = 43.5


@pytest.fixture(scope="module", params=["wide", "narrow"])
def fonts(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def fonts_drawn(page: Page, css: str) -> set[str]:
    """The families in which the browser drew an element's words; Roboto's half-bold face has a family name of its own."""
    session = page.context.new_cdp_session(page)
    session.send("DOM.enable")
    session.send("CSS.enable")
    document = session.send("DOM.getDocument")["root"]["nodeId"]
    node = session.send("DOM.querySelector", {"nodeId": document, "selector": css})["nodeId"]
    drawn = session.send("CSS.getPlatformFontsForNode", {"nodeId": node})["fonts"]
    return {font["familyName"].removesuffix(" SemiBold") for font in drawn}


def test_the_pages_are_drawn_in_the_fonts_that_the_tests_bring(site: Site, phone: Phone, fonts: str) -> None:
    phone.open(site.link(site.enrol()))
    assert fonts_drawn(phone.page, '[data-do="begin"]') == {SANS[fonts]}
    assert fonts_drawn(phone.page, "h1") == {SERIF[fonts]}


def boxes(place: Locator) -> list[tuple[float, float, float, float]]:
    """Left, top, right and bottom of each, in the order of the document; there must be one at least."""
    found: list[tuple[float, float, float, float]] = place.evaluate_all(
        """all => all.map(each => each.getBoundingClientRect()).map(box => [box.left, box.top, box.right, box.bottom])"""
    )
    assert found, place
    return [(left, top, right, bottom) for left, top, right, bottom in found]


def overlapping(found: list[tuple[float, float, float, float]]) -> list[tuple[int, int]]:
    def apart(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
        return one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]

    pairs = [(one, other) for one in range(len(found)) for other in range(one)]
    return [(one, other) for one, other in pairs if not apart(found[one], found[other])]


def to_the_weeks(site: Site, phone: Phone) -> None:
    """In Spanish, at the number that may not apply."""
    phone.come_in(site.link(site.enrol(language="es")), BORN)
    phone.start_form()
    phone.answer_all({"since@2/1": 0, "since@2/2": 1, **{f"since@2/{n}": 0 for n in range(7, 11)}})
    phone.item("since@2/3")


def test_in_large_letters_no_button_lies_on_another_or_beside_the_screen(site: Site, phone: Phone) -> None:
    phone.page.set_viewport_size({"width": 360, "height": 740})
    to_the_weeks(site, phone)
    phone.page.evaluate(LARGE)
    assert phone.page.evaluate(TOO_WIDE) == 0
    assert overlapping(boxes(phone.page.locator("main button, main label label, main .amount label"))) == []
    assert all(0 <= left < right <= 360 for left, _, right, _ in boxes(phone.page.locator("main button")))
    signs = phone.page.locator(".amount button").evaluate_all(
        "all => all.map(each => each.scrollWidth - each.clientWidth)"
    )
    assert signs == [0, 0, 0]


def test_on_the_narrowest_screen_the_number_and_its_buttons_stand_in_one_row(site: Site, phone: Phone) -> None:
    phone.page.set_viewport_size({"width": 320, "height": 900})  # so high that no scroll bar takes of the width
    to_the_weeks(site, phone)
    assert len({top for _, top, _, _ in boxes(phone.page.locator(".amount > *"))}) == 1
    assert phone.page.evaluate(TOO_WIDE) == 0


def test_in_large_letters_the_review_gives_a_question_the_whole_width(site: Site, phone: Phone) -> None:
    phone.page.set_viewport_size({"width": 360, "height": 740})
    phone.come_in(site.link(site.enrol(operated_days_ago=WEEK_6_DAYS)), BORN)
    phone.fill_form(WEEK_6)
    row = phone.page.locator('[data-answer="pain@1/1"]')
    assert row_widths(row) == pytest.approx((0.77, 1.0), abs=0.08), "beside each other in letters of ordinary size"
    phone.page.evaluate(LARGE)
    assert row_widths(row) == pytest.approx((1.0, 1.0), abs=0.01)


def test_both_ends_of_a_scale_are_named_from_the_edge_at_which_its_rows_begin(site: Site, phone: Phone) -> None:
    """The last row is not full, so at the other edge no number would stand above the words."""
    phone.page.set_viewport_size({"width": 360, "height": 740})
    phone.come_in(site.link(site.enrol(operated_days_ago=WEEK_6_DAYS)), BORN)
    phone.start_form()
    phone.answer_all({key: value for key, value in WEEK_6.items() if key.startswith("early@2")})
    phone.item("pain@1/1")
    starts = phone.page.locator(".end").evaluate_all(
        """all => all.map(each => {
            const words = document.createRange()
            words.selectNodeContents(each)
            return words.getBoundingClientRect().left
        })"""
    )
    edge = min(left for left, *_ in boxes(phone.page.locator(".scale .cell")))
    assert starts == pytest.approx([edge, edge], abs=1)


def row_widths(row: Locator) -> tuple[float, float]:
    """The share of the row that its question takes, and how far to the right its button reaches."""
    [(left, _, right, _)] = boxes(row)
    [(start, _, end, _)] = boxes(row.locator("> div"))
    [(_, _, reach, _)] = boxes(row.locator("button"))
    return (end - start) / (right - left), (reach - left) / (right - left)


def test_the_menu_stands_beside_the_name_of_the_side_whatever_period_is_asked_about(site: Site, phone: Phone) -> None:
    phone.page.set_viewport_size({"width": 360, "height": 740})
    phone.come_in(site.link(site.enrol("left", language="es")), BORN)
    phone.start_form("left")
    before = list(takewhile(lambda key: key != "pass@1/1", YEAR_1))
    phone.answer_all({key: YEAR_1[key] for key in before})
    phone.item("pass@1/1")
    assert phone.page.locator(".head .recall").inner_text() == "Ahora"
    [(_, top, _, bottom)] = boxes(phone.page.locator(".head .side"))
    [(_, above, right, below)] = boxes(phone.page.locator(".head .menu"))
    assert top < (above + below) / 2 < bottom and right <= 360


@pytest.mark.parametrize("width", [320, 360])
def test_every_link_of_the_first_page_is_high_enough_for_a_thumb(site: Site, phone: Phone, width: int) -> None:
    phone.page.set_viewport_size({"width": width, "height": 740})
    phone.open(site.link(site.enrol()))
    heights = [bottom - top for _, top, _, bottom in boxes(phone.page.locator("main a, main button"))]
    assert len(heights) == 4 and min(heights) >= SMALLEST_TARGET
    assert phone.page.evaluate(TOO_WIDE) == 0


def test_begin_is_in_view_on_the_lowest_phone(site: Site, phone: Phone) -> None:
    phone.page.set_viewport_size({"width": 360, "height": 560})
    phone.open(site.link(site.enrol()))
    [(_, _, _, bottom)] = boxes(phone.page.locator('[data-do="begin"]'))
    assert bottom <= 560


def test_help_lies_apart_from_the_main_button_and_not_where_a_right_thumb_rests(site: Site, phone: Phone) -> None:
    phone.page.set_viewport_size({"width": 360, "height": 560})
    phone.open(site.link(site.enrol()))
    phone.do("begin")
    phone.screen("birth")
    [(_, _, _, end)] = boxes(phone.page.locator('[data-do="open"]'))
    [(_, top, right, _)] = boxes(phone.page.locator('[data-do="help"]'))
    assert top - end >= 12 and right <= 360 / 2
    assert ink_of(phone.page, "#birth-why") != ink_of(phone.page, "h1")
    phone.page.emulate_media(contrast="more")
    assert ink_of(phone.page, "#birth-why") == ink_of(phone.page, "h1")


def ink_of(page: Page, css: str) -> str:
    return str(page.locator(css).evaluate("element => getComputedStyle(element).color"))


def test_every_question_can_be_skipped_and_the_list_is_two_taps_away(site: Site, phone: Phone) -> None:
    phone.page.set_viewport_size({"width": 360, "height": 560})
    phone.come_in(site.link(site.enrol(operated_days_ago=WEEK_6_DAYS)), BORN)
    phone.start_form()
    for key in ("early@2/1", "early@2/6", "early@2/3", "early@2/4", "early@2/2"):
        phone.item(key)
        [(_, _, _, bottom)] = boxes(phone.page.locator('[data-do="decline"]'))
        assert bottom <= 560, key
        phone.do("decline")
    phone.item("early@2/7")
    assert phone.page.locator('footer [data-do="help"]').count() == 0, "help is in the menu"
    assert phone.page.title() == "Question 6 of 9 – Yearmark"
    phone.do("menu")
    assert phone.page.locator('main [data-do="help"]').get_attribute("href") == "tel:5550100"
    phone.do("stop")
    phone.page.get_by_text("It is safe to close this page.").wait_for()
    phone.do("close-menu")
    phone.item("early@2/7")
    phone.do("menu")
    phone.do("to-list")
    phone.screen("forms")
    assert phone.page.locator('[data-standing="carry_on"]').count() == 1


def gaps(found: list[tuple[float, float, float, float]]) -> list[float]:
    """How far each is from its neighbour in the same row, and each row from the next."""
    return [nxt[0] - one[2] if abs(nxt[1] - one[1]) < 1 else nxt[1] - one[3] for one, nxt in pairwise(found)]


def test_the_keys_of_a_number_are_large_and_lie_apart(site: Site, phone: Phone) -> None:
    phone.page.set_viewport_size({"width": 320, "height": 900})
    to_the_weeks(site, phone)
    keys, signs = (boxes(phone.page.locator(css)) for css in (".pad button", ".amount button"))
    assert all(round(box[2] - box[0]) >= 44 and round(box[3] - box[1]) >= 44 for box in [*keys, *signs])
    assert min(map(round, [*gaps(keys), *gaps(signs)])) >= 8


@pytest.mark.parametrize("width", [320, 360, 412, 768])
def test_the_months_stand_in_three_rows_of_four(site: Site, phone: Phone, width: int) -> None:
    phone.page.set_viewport_size({"width": width, "height": 740})
    phone.come_in(site.link(site.enrol()), BORN)
    phone.start_form()
    phone.answer("since@2/1", 1)
    phone.item("since@2/1a")
    tops = [top for _, top, _, _ in boxes(phone.page.locator(".months > *"))]
    assert [tops.count(top) for top in sorted(set(tops))] == [4, 4, 4]


def test_the_number_for_when_the_clinic_is_closed_is_read_before_begin_without_scrolling(
    site: Site, phone: Phone
) -> None:
    """On a clinic's own page, which has no line about a demo; 15 px are the scroll bar, which phones lay over the page."""
    phone.page.set_viewport_size({"width": 360 + 15, "height": 740})
    phone.open(site.link(site.enrol()))
    phone.page.locator(".demo").evaluate("element => element.remove()")
    [(_, _, _, below)] = boxes(phone.page.locator("[data-cautions] a[href^='tel:']").last)
    [(_, above, _, foot)] = boxes(phone.page.locator("[data-do='begin']"))
    assert below <= above and foot <= 740
