"""No screen of the phone and no staff page has a barrier that axe-core can find. People and screen readers find more."""

import re

import pytest
from playwright.sync_api import BrowserContext, Dialog, Page, Route

from server.clinic.entries import ShoulderEntry
from server.links.make import end_links, replace_link
from server.models import Patient
from tests.journeys.axe import barriers
from tests.journeys.chromium import DESK, PHONE, Chromium
from tests.journeys.phone import NOT_APPLICABLE, WEEK_6, WEEK_6_DAYS, Phone
from tests.journeys.site import BORN, PASSWORD, ROLES, Site
from tests.journeys.staff import called_in_row, follow, log_call_by_keyboard, send_by_keyboard, sign_in
from tests.staff.staff_case import StaffCase, years_ago
from tests.staff.visited import Visited, fill_clinic

pytestmark = pytest.mark.xdist_group("chromium")
OTHERS_BIRTH = BORN.replace(year=1948)
LOOK_BAD = "() => { document.querySelector('main').innerHTML += '<img src=/p/icon.svg>'; }"


# By how much the middles of what stands in the head of a page lie apart, and whether the page is wider than the window.
# Words of links in rows of lists that are lower than 44 px.
TOO_LOW = """[...document.querySelectorAll(".row a, .row button, .stack a, .history a, .choices a, .filters a, .pages a, .acts a")]
    .filter(each => each.offsetParent && each.getBoundingClientRect().height < 43.5).map(each => each.textContent.trim())"""
HEAD = """() => {
  const apart = some => {
    const found = [...document.querySelectorAll(some)].map(each => each.getBoundingClientRect());
    const middles = found.map(box => (box.top + box.bottom) / 2);
    return Math.max(...middles) - Math.min(...middles);
  };
  const [menu, who] = ['.top nav a', '.who a, .who time, .who button'];
  const tooWide = document.documentElement.scrollWidth > innerWidth;
  return [apart(`${menu}, ${who}`), Math.max(apart(menu), apart(who)), tooWide];
}"""
A_LINE = 12
PRINTED_PAGE = re.compile(rb"/Type\s*/Page\b")
TOO_WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def look(phone: Phone, screen: str) -> None:
    phone.screen(screen)
    assert barriers(phone.page) == [], screen


def look_at_item(phone: Phone, key: str) -> None:
    """As it comes, and after Next without an answer, when the words for it and the way to decline stand there too."""
    phone.item(key)
    assert barriers(phone.page) == [], key
    phone.do("next")
    phone.page.locator('[data-do="decline"]').wait_for()
    assert barriers(phone.page) == [], f"{key}, not answered"


def test_a_barrier_would_be_found(site: Site, phone: Phone) -> None:
    phone.page.goto(f"{site.address}/p/")
    look(phone, "nolink")
    phone.page.evaluate(LOOK_BAD)
    assert [each.split(":")[0] for each in barriers(phone.page)] == ["image-alt"]


def test_the_screens_before_the_questions_have_no_barrier(site: Site, phone: Phone) -> None:
    link = site.link(site.enrol("left", "right"))
    phone.page.goto(f"{site.address}/p/#NOTALINK")
    look(phone, "mistyped")
    phone.do("code")
    look(phone, "code")
    phone.page.goto("about:blank")
    phone.open(link)
    look(phone, "start")
    phone.do("begin")
    look(phone, "birth")
    assert phone.page.get_by_role("group", name="Your date of birth").count() == 1
    phone.do("open")
    phone.page.get_by_text("Check the day: 1 to 31.").wait_for()
    look(phone, "birth")
    phone.give_birth_date(BORN.replace(year=1953, day=28))
    look(phone, "check")
    phone.do("again")
    phone.page.context.set_offline(True)
    phone.give_birth_date(BORN)
    look(phone, "offline")
    phone.page.context.set_offline(False)
    look(phone, "forms")
    phone.do("wrong")
    look(phone, "wrong")
    phone.do("wrong-wrong_side")
    look(phone, "notice")
    phone.do("tell")
    phone.screen("told")
    phone.page.get_by_text("Received by the clinic").wait_for()
    look(phone, "told")
    phone.do("close-menu")
    phone.screen("forms")
    phone.page.evaluate("() => { Promise.reject(new Error('nobody expected this')); }")
    look(phone, "broken")
    phone.page.goto("about:blank")
    phone.come_in(site.link(site.enrol(first_name="Benita", birth_on=OTHERS_BIRTH)), OTHERS_BIRTH)
    phone.page.reload()
    look(phone, "people")
    phone.page.locator('[data-do="person"]', has_text="Benita").click()
    look(phone, "birth")
    phone.give_birth_date(OTHERS_BIRTH)
    phone.screen("forms")
    phone.do("forget")
    look(phone, "forget")
    phone.do("forget-now")
    look(phone, "forgotten")


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_questions_of_a_year_have_no_barrier(site: Site, phone: Phone, language: str) -> None:
    phone.come_in(site.link(site.enrol(language=language)), BORN)
    phone.start_form()
    look_at_item(phone, "since@2/1")  # a choice
    phone.do("menu")
    look(phone, "menu")
    phone.do("stop")
    look(phone, "stopped")
    phone.do("close-menu")
    phone.answer("since@2/1", 1)
    look_at_item(phone, "since@2/1a")  # a month
    months = phone.page.get_by_role("radio").evaluate_all("all => all.map(each => each.getAttribute('aria-label'))")
    assert months[0] == {"en": "January 2026", "es": "enero 2026"}[language] and len(months) == 12
    phone.do("decline")
    look_at_item(phone, "since@2/1b")  # a text
    phone.do("decline")
    look_at_item(phone, "since@2/2")
    phone.answer("since@2/2", 1)
    phone.answer("since@2/7", 1)
    phone.answer_all({"since@2/7a": 1, "since@2/8": 0, "since@2/9": 0, "since@2/10": 0})
    look(phone, "warning")
    phone.do("continue")
    look_at_item(phone, "since@2/3")  # a number that may not apply
    phone.put(12)
    spoken = phone.page.locator(".number [role=status]")
    assert spoken.inner_text() == {"en": "12 weeks", "es": "12 semanas"}[language]
    phone.do("next")
    for key in ("since@2/4", "since@2/5"):
        phone.answer(key, NOT_APPLICABLE)
    phone.answer("since@2/6", 0)
    phone.answer("pass@1/1", 1)
    look_at_item(phone, "pain@1/1")  # a scale
    phone.answer("pain@1/1", 10)
    look_at_item(phone, "sane@1/1")
    phone.answer("sane@1/1", 55)
    phone.answer_all({f"sst@1/{n}": 1 for n in range(1, 13)})
    look(phone, "who")
    phone.do("next")
    look(phone, "who")
    phone.say_who()
    look(phone, "review")


def refuse(route: Route) -> None:
    receipts = [{"envelope_id": None, "status": "refused", "reason": "malformed", "sha256": None}]
    route.fulfill(status=200, json={"receipts": receipts})


def test_the_screens_after_the_questions_have_no_barrier(site: Site, phone: Phone) -> None:
    phone.come_in(site.link(site.enrol("left", "right", operated_days_ago=WEEK_6_DAYS)), BORN)
    phone.fill_form(WEEK_6, side="left")
    phone.page.route("**/api/envelopes", refuse)
    phone.send()
    look(phone, "refused")
    phone.page.unroute("**/api/envelopes")
    phone.page.context.set_offline(True)
    phone.do("next-form")
    look(phone, "forms")
    phone.fill_form(WEEK_6, side="right")
    phone.send()
    look(phone, "saved")
    phone.page.context.set_offline(False)
    look(phone, "received")


def test_the_ends_of_a_link_have_no_barrier(site: Site, context: BrowserContext) -> None:
    patients = {name: site.enrol() for name in ("ended", "replaced")}
    links = {name: site.link(patient_id) for name, patient_id in patients.items()}
    with site.case.store.writing() as session:
        end_links(session, session.get_one(Patient, patients["ended"]), now=site.case.now)
        replace_link(session, session.get_one(Patient, patients["replaced"]), now=site.case.now)
    links["nothing"] = site.link(site.enrol(operated_days_ago=200))
    for name, link in links.items():
        phone = Phone(context.new_page())
        phone.open(link)
        phone.do("begin")
        phone.give_birth_date(BORN)
        look(phone, name)


def test_a_phone_that_keeps_nothing_has_no_barrier(site: Site, phone: Phone) -> None:
    phone.page.add_init_script(
        "IDBFactory.prototype.open = () => { throw new DOMException('denied', 'SecurityError'); };"
    )
    phone.come_in(site.link(site.enrol(operated_days_ago=WEEK_6_DAYS)), BORN)
    phone.fill_form(WEEK_6)
    phone.page.context.set_offline(True)
    phone.send()
    look(phone, "unsaved")


def test_an_address_without_https_says_so_and_has_no_barrier(site: Site, chromium: Chromium) -> None:
    chromium.flags = ("--host-resolver-rules=MAP clinic.example 127.0.0.1",)
    phone = Phone(chromium.start())
    phone.page.goto(f"http://clinic.example:{site.port}/p/#{site.token(site.enrol())}")
    look(phone, "insecure")
    assert "This page needs a safe address" in phone.words


@pytest.fixture(scope="module")
def filled(site: Site) -> Visited:
    return fill_clinic(StaffCase(site.case, site.case.app))


@pytest.mark.parametrize("role", ROLES)
def test_staff_pages_have_no_barrier(site: Site, filled: Visited, shared_chromium: Chromium, role: str) -> None:
    page = sign_in(shared_chromium.browser, site, role)
    found = {}
    for path in filled.pages[role]:
        page.goto(f"{site.address}{path}")
        found[path] = barriers(page)
    whole, each_part, too_wide = page.evaluate(HEAD)
    # Ten words and who is signed in fit no one line, so a data manager's menu has one of its own.
    apart = each_part if role == "data_manager" else whole
    assert apart < A_LINE and not too_wide, "the head of the page is one line"
    assert found and {path: each for path, each in found.items() if each} == {}
    page.context.close()


def test_a_call_is_written_down_by_keyboard_and_the_next_row_is_at_hand(
    site: Site, filled: Visited, shared_chromium: Chromium
) -> None:
    silent = ShoulderEntry(side="left", surgery_on=years_ago(site.case, 2, days=100))
    for name in ("Bela", "Cleo", "Dora"):
        site.case.enrol(silent, first_name=name, last_name="Quiet")
    page = sign_in(shared_chromium.browser, site, "nurse")
    assert log_call_by_keyboard(page, site, "Bela Quiet", "Promised to answer") == "Cleo Quiet"
    assert "The contact attempt is written down." in page.inner_text(".said")
    assert log_call_by_keyboard(page, site, "Cleo Quiet", "Does not want to") == "Dora Quiet"
    called_in_row(page, "Dora Quiet").click()
    page.fill("textarea[name=note]", "not sent yet")
    asked: list[str] = []

    def stay(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    page.once("dialog", stay)
    with page.expect_event("dialog"):
        page.get_by_role("link", name="Patients", exact=True).click(no_wait_after=True)
    assert asked == ["beforeunload"] and page.input_value("textarea[name=note]") == "not sent yet"
    page.context.close()


@pytest.mark.parametrize("path", ["/sign-in", "/"])
def test_the_pages_before_sign_in_have_no_barrier(
    site: Site, filled: Visited, shared_chromium: Chromium, path: str
) -> None:
    assert shared_chromium.browser is not None
    context = shared_chromium.browser.new_context(viewport=DESK)
    page = context.new_page()
    page.goto(f"{site.address}{path}")
    assert barriers(page) == []
    context.close()


def test_staff_pages_have_no_barrier_on_a_small_screen_and_do_not_scroll_sideways(
    site: Site, filled: Visited, shared_chromium: Chromium
) -> None:
    page = sign_in(shared_chromium.browser, site, "nurse")
    page.set_viewport_size(PHONE)
    found, wide, low = {}, {}, set[str]()
    looked_at = ("/today", "/patients", f"/patients/{filled.patient_id}", "/patients/new")
    for path in dict.fromkeys((*looked_at, *filled.pages["nurse"])):
        page.goto(f"{site.address}{path}")
        wide[path] = page.evaluate(TOO_WIDE)
        low |= set(page.evaluate(TOO_LOW))
        if path in looked_at:
            found[path] = barriers(page)
    assert {path: each for path, each in found.items() if each} == {}
    assert len(wide) > len(looked_at) and {path: by for path, by in wide.items() if by} == {}
    assert low == set(), "links in the rows of a list that a thumb misses"
    page.context.close()


def test_the_ten_pages_of_a_data_manager_stand_in_one_line_of_a_phone(
    site: Site, filled: Visited, shared_chromium: Chromium
) -> None:
    page = sign_in(shared_chromium.browser, site, "data_manager")
    page.set_viewport_size(PHONE)
    page.goto(f"{site.address}/held")
    assert page.locator(".top nav a").count() == 10
    tops = page.locator(".top nav a").evaluate_all("all => all.map(each => each.getBoundingClientRect().top)")
    assert len(set(tops)) == 1
    page.context.close()


def look_at_both_sizes(page: Page) -> None:
    """Laid out anew without asking the server again, and left at the size of a desk."""
    for size in (PHONE, DESK):
        page.set_viewport_size(size)
        found = barriers(page), page.evaluate(TOO_WIDE), page.evaluate(TOO_LOW) if size == PHONE else []
        assert found == ([], 0, []), f"{page.url}, {size['width']} wide"


def test_a_data_manager_lets_in_looks_what_is_left_and_names_reader_and_holidays_by_keyboard(
    site: Site, filled: Visited, shared_chromium: Chromium
) -> None:
    page = sign_in(shared_chromium.browser, site, "data_manager")
    follow(page, ".top nav a[href='/accounts']")
    look_at_both_sizes(page)
    follow(page, "main a[href='/accounts/new']")
    look_at_both_sizes(page)
    typed = {"name": "Ida Keys", "email": "ida@clinic.example", "role": "n", "present_password": "not it"}
    send_by_keyboard(page, **typed)
    assert page.evaluate("document.activeElement.matches('[data-errors]')"), "what is wrong has the focus"
    look_at_both_sizes(page)
    send_by_keyboard(page, present_password=PASSWORD)
    assert "/invitation#" in page.inner_text("#invitation-link")
    look_at_both_sizes(page)
    follow(page, "main p.buttons a")
    look_at_both_sizes(page)

    follow(page, ".top nav a[href='/ready']")
    look_at_both_sizes(page)
    follow(page, "#safety_net a")
    look_at_both_sizes(page)
    send_by_keyboard(page, reader_id="Ida", why="")
    assert "Ida Keys" in page.inner_text("#history")
    follow(page, "main a[href='/settings/holidays']")
    look_at_both_sizes(page)
    send_by_keyboard(page, first_on="12252026", name="Christmas")
    assert "Christmas" in page.inner_text("#standing")
    look_at_both_sizes(page)
    follow(page, "#standing button")
    assert "Christmas" not in page.inner_text("#standing")
    page.context.close()


def test_a_patients_page_prints_on_two_pages_without_the_link(
    site: Site, filled: Visited, shared_chromium: Chromium
) -> None:
    page = sign_in(shared_chromium.browser, site, "nurse")
    page.goto(f"{site.address}/patients/{filled.patient_id}")
    secrets = [each for each in page.locator(".token").all_text_contents() if each]
    assert 1 <= len(PRINTED_PAGE.findall(page.pdf(format="A4"))) <= 2
    page.emulate_media(media="print")
    printed = page.inner_text("body")
    assert "Left shoulder" in printed and "To act" in printed
    assert len(secrets) == 2 and [each for each in secrets if each in printed] == []
    assert page.locator(".qr:visible").count() == 0
    page.context.close()
