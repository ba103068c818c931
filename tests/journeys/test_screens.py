"""What the phone shows when it matters: call-now page, Spanish, two windows on one form, a phone that keeps nothing."""

import pytest
from playwright.sync_api import BrowserContext, Page
from sqlalchemy import select

from server.models import Flag, Response
from tests.journeys.phone import WEEK_6, WEEK_6_DAYS, YEAR_1, Phone
from tests.journeys.site import BORN, Site, until

pytestmark = pytest.mark.xdist_group("chromium")

NO_DATABASE = "IDBFactory.prototype.open = () => { throw new DOMException('denied', 'SecurityError'); };"
NO_KEYS = """const put = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (value, ...rest) {
  if (Object.values(value).some(each => each instanceof CryptoKey)) throw new DOMException('no keys', 'DataCloneError');
  return put.call(this, value, ...rest);
};"""
DEAD = "() => { IDBDatabase.prototype.transaction = IDBFactory.prototype.open = () => { throw new DOMException('lost'); }; }"
COUNT_ROWS = """table => new Promise(resolve => {
  const opening = indexedDB.open("yearmark");
  opening.onupgradeneeded = () => opening.transaction.abort();
  opening.onerror = () => resolve(0);
  opening.onsuccess = () => {
    const counting = opening.result.transaction(table).objectStore(table).count();
    counting.onsuccess = () => { opening.result.close(); resolve(counting.result); };
  };
})"""
UNDRAWABLE_DATES = "() => { Intl.DateTimeFormat = () => { throw new Error('no dates'); }; }"
ROOM = 2_000_000
FILL_UP = """() => new Promise((resolve, reject) => {
  const opening = indexedDB.open("filler", 1);
  opening.onupgradeneeded = () => opening.result.createObjectStore("rows", { autoIncrement: true });
  opening.onerror = reject;
  opening.onsuccess = () => {
    const more = size => {
      const writing = opening.result.transaction("rows", "readwrite");
      writing.objectStore("rows").add("x".repeat(size));
      writing.oncomplete = () => more(size);
      writing.onabort = () => size > 64 ? more(size / 8) : resolve(writing.error.name);
    };
    more(2 ** 17);
  };
})"""
FULL = "() => { IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); }; }"


@pytest.fixture
def patient_id(site: Site) -> int:
    return site.enrol(operated_days_ago=WEEK_6_DAYS)


def test_a_warning_answer_shows_whom_to_call_now_offline_too_and_reaches_the_nurse(
    site: Site, phone: Phone, patient_id: int
) -> None:
    phone.come_in(site.link(patient_id), BORN)
    phone.page.context.set_offline(True)
    phone.start_form()
    phone.answer_all({"early@2/1": 2, "early@2/6": 0, "early@2/3": 2})
    phone.screen("warning")
    assert "This form calls nobody. Call 112 now." in phone.words
    assert (called(phone), said(phone)) == (["tel:112", "tel:5550100", "tel:5550101"], ["early@2/3"])
    phone.do("continue")
    phone.answer_all({"early@2/4": 1, "early@2/2": 1, "early@2/7": 0, "early@2/5": 0})
    phone.screen("warning")
    assert "This form calls nobody. Please call now." in phone.words
    assert (called(phone), said(phone)) == (["tel:5550100", "tel:5550101", "tel:112"], ["early@2/4", "early@2/2"])
    phone.do("continue")
    phone.answer_all({"pain@1/1": 2, "pass@1/1": 1})
    phone.say_who()
    phone.send()
    for last, title in (("saved", "Saved on this phone"), ("received", "Received by the clinic")):
        phone.screen(last)
        words = phone.words
        assert words.index("Call 112 now.") < words.index("What you answered:") < words.index(title)
        assert called(phone) == ["tel:112", "tel:5550100", "tel:5550101"]
        assert said(phone) == ["early@2/3", "early@2/4", "early@2/2"]
        phone.page.context.set_offline(False)
    site.wait_for_response(patient_id)
    with site.case.store.reading() as session:
        flags = session.execute(select(Flag.kind, Flag.item).where(Flag.patient_id == patient_id)).all()
    assert [tuple(each) for each in flags] == [("safety_answer", f"early@2/{item}") for item in (3, 4, 2)]


def called(phone: Phone) -> list[str]:
    found: list[str] = phone.page.locator(".calls a").evaluate_all("all => all.map(each => each.getAttribute('href'))")
    return found


def said(phone: Phone) -> list[str]:
    """The answers that the call-now page names."""
    found: list[str] = phone.page.locator("[data-said]").evaluate_all("all => all.map(each => each.dataset.said)")
    return found


def test_that_it_is_the_wrong_side_is_said_in_the_form_offline_too_and_the_form_goes_on(
    site: Site, phone: Phone, patient_id: int
) -> None:
    phone.come_in(site.link(patient_id), BORN)
    phone.start_form()
    phone.item("early@2/1")
    phone.page.context.set_offline(True)
    for tap in ("menu", "wrong", "wrong-wrong_side"):
        phone.do(tap)
    assert "The clinic looks up which shoulder it is." in phone.screen("notice").inner_text()
    phone.page.click('[data-code="left"]')
    phone.do("tell")
    phone.screen("told")
    phone.page.get_by_text("Not sent yet.").wait_for()
    phone.do("close-menu")
    phone.answer("early@2/1", 2)
    phone.item("early@2/6")
    phone.page.context.set_offline(False)
    until(lambda: flags_of(site, patient_id) == [("said_wrong_side", "left")], "the notice has become a flag")


def flags_of(site: Site, patient_id: int) -> list[tuple[str, str | None]]:
    with site.case.store.reading() as session:
        query = select(Flag.kind, Flag.true_side).where(Flag.patient_id == patient_id)
        return [(kind, true_side) for kind, true_side in session.execute(query)]


def test_the_whole_way_in_spanish_offline_too(site: Site, phone: Phone) -> None:
    patient_id = site.enrol(operated_days_ago=WEEK_6_DAYS, language="es", first_name="Inés")
    phone.come_in(site.link(patient_id), BORN)
    assert "Hola, Inés" in phone.words
    phone.page.context.set_offline(True)
    phone.page.reload()
    phone.screen("forms")
    assert "Hola, Inés" in phone.words and phone.page.get_attribute("html", "lang") == "es"
    phone.fill_form(WEEK_6)
    phone.send()
    phone.screen("saved")
    assert "Guardado en este teléfono" in phone.words
    phone.page.context.set_offline(False)
    phone.screen("received")
    assert "Recibido por la clínica" in phone.words
    site.wait_for_response(patient_id)
    with site.case.store.reading() as session:
        assert session.scalars(select(Response.language).where(Response.patient_id == patient_id)).all() == ["es"]


def test_the_language_can_be_changed_by_hand_and_stays(site: Site, phone: Phone, patient_id: int) -> None:
    phone.open(site.link(patient_id))
    phone.page.click('[data-language="es"]')
    phone.page.get_by_text("¿Cómo está su hombro?").wait_for()
    phone.do("begin")
    phone.give_birth_date(BORN)
    phone.screen("forms")
    phone.page.reload()
    phone.screen("forms")
    assert "Hola, Ada" in phone.words


def test_of_two_windows_on_one_form_the_first_to_finish_sends_it_and_the_other_says_so(
    site: Site, phone: Phone, context: BrowserContext, patient_id: int
) -> None:
    phone.come_in(site.link(patient_id), BORN)
    phone.start_form()
    phone.answer("early@2/1", 2)
    other = Phone(context.new_page())
    other.page.goto(f"{site.address}/p/")
    other.screen("forms")
    other.do("carry-on")
    other.answer("early@2/6", 0)
    other.answer("early@2/3", 0)
    phone.page.bring_to_front()  # a window behind another draws once a second
    phone.answer_all({key: value for key, value in WEEK_6.items() if key != "early@2/1"})
    phone.say_who()
    phone.send()
    phone.screen("received")
    other.page.bring_to_front()
    other.page.click('main [data-code="0"]')
    other.screen("forms")
    assert "This form was finished in another window." in other.words
    site.wait_for_response(patient_id)


def test_a_phone_that_keeps_nothing_can_answer_and_send_and_says_to_keep_the_page_open(
    site: Site, phone: Phone, patient_id: int
) -> None:
    phone.page.add_init_script(NO_DATABASE)
    phone.come_in(site.link(patient_id), BORN)
    phone.start_form()
    phone.item("early@2/1")
    assert "This phone saves nothing. Keep this page open." in phone.words
    phone.answer_all(WEEK_6)
    phone.say_who()
    phone.page.context.set_offline(True)
    phone.send()
    phone.screen("unsaved")
    assert "Keep this page open" in phone.words and "Saved on this phone" not in phone.words
    phone.page.context.set_offline(False)
    phone.screen("received")
    site.wait_for_response(patient_id)


def test_a_phone_that_cannot_keep_keys_still_keeps_the_sealed_form(site: Site, phone: Phone, patient_id: int) -> None:
    phone.page.add_init_script(NO_KEYS)
    phone.come_in(site.link(patient_id), BORN)
    phone.start_form()
    phone.item("early@2/1")
    assert "This phone keeps no half-done form. Keep this page open." in phone.words
    phone.answer_all(WEEK_6)
    phone.say_who()
    phone.page.context.set_offline(True)
    phone.send()
    phone.screen("saved")
    phone.page.reload()
    phone.page.get_by_text("Saved on this phone, not sent yet").wait_for()
    phone.page.context.set_offline(False)
    site.wait_for_response(patient_id)


def test_a_phone_whose_disk_fills_up_in_the_middle_and_then_dies_says_so_and_still_sends(
    site: Site, phone: Phone, patient_id: int
) -> None:
    phone.come_in(site.link(patient_id), BORN)
    phone.start_form()
    phone.answer("early@2/1", 2)
    phone.page.evaluate(FULL)
    phone.answer("early@2/6", 0)
    phone.item("early@2/3")
    assert "Not saved. Keep this page open." in phone.words and "Saved on this phone" not in phone.words
    phone.answer_all({key: value for key, value in WEEK_6.items() if key not in ("early@2/1", "early@2/6")})
    phone.say_who()
    phone.page.evaluate(DEAD)
    phone.page.context.set_offline(True)
    phone.send()
    phone.screen("unsaved")
    assert "If this page closes first, answers are lost." in phone.words
    phone.page.context.set_offline(False)
    phone.screen("received")
    site.wait_for_response(patient_id)


def test_a_phone_without_room_still_sends_what_it_kept_before_and_what_is_answered_now(
    site: Site, phone: Phone
) -> None:
    patient_id = site.enrol("left", "right", operated_days_ago=WEEK_6_DAYS)
    session = phone.page.context.new_cdp_session(phone.page)
    session.send("Storage.overrideQuotaForOrigin", {"origin": site.address, "quotaSize": ROOM})
    phone.come_in(site.link(patient_id), BORN)
    phone.fill_form(WEEK_6, side="left")
    phone.page.context.set_offline(True)
    phone.send()
    phone.screen("saved")
    assert phone.page.evaluate(FILL_UP) == "QuotaExceededError"
    phone.page.reload()
    phone.page.locator("[data-standing=waiting]").wait_for()
    phone.fill_form(WEEK_6, side="right")
    assert "Not saved. Keep this page open." in phone.words
    phone.send()
    phone.screen("unsaved").get_by_text("This phone has no network right now.").wait_for()
    phone.page.context.set_offline(False)
    phone.page.evaluate("dispatchEvent(new Event('online'))")  # not said by the browser after a reload without network
    phone.screen("received")
    site.wait_for_response(patient_id, 2)


def test_answers_come_back_to_a_phone_whose_browser_deletes_what_it_kept_while_the_form_is_open(
    site: Site, phone: Phone, patient_id: int
) -> None:
    session = phone.page.context.new_cdp_session(phone.page)
    everything = {"origin": site.address, "storageTypes": "all"}
    phone.come_in(site.link(patient_id), BORN)
    phone.start_form()
    phone.answer("early@2/1", 2)
    session.send("Storage.clearDataForOrigin", everything)
    phone.answer_all({key: value for key, value in WEEK_6.items() if key != "early@2/1"})
    session.send("Storage.clearDataForOrigin", everything)
    until(lambda: kept(phone.page, "drafts") == 1, "the page has written its answers again")
    phone.page.reload()
    phone.do("carry-on")
    phone.say_who()
    phone.page.route("**/api/envelopes", lambda route: route.abort())
    phone.send()
    phone.screen("saved").get_by_text("Not sent yet.").wait_for()
    session.send("Storage.clearDataForOrigin", everything)
    until(lambda: kept(phone.page, "outbox") == 1, "the page has written the sealed form again")
    phone.page.unroute("**/api/envelopes")
    phone.page.reload()
    site.wait_for_response(patient_id)


def kept(page: Page, table: str) -> int:
    rows: int = page.evaluate(COUNT_ROWS, table)
    return rows


def test_after_a_fault_of_the_app_the_phone_names_the_number_and_sends_what_is_there(
    site: Site, phone: Phone, patient_id: int
) -> None:
    phone.come_in(site.link(patient_id), BORN)
    phone.start_form()
    phone.answer("early@2/1", 2)
    phone.page.evaluate(UNDRAWABLE_DATES)
    phone.do("back")
    phone.do("back")
    phone.screen("broken")
    assert phone.page.get_attribute('[data-do="call-clinic"]', "href") == "tel:5550100"
    assert "What you saved is still on this phone." in phone.words
    phone.do("reload")
    phone.do("carry-on")
    phone.item("early@2/1")
    phone.page.evaluate("() => { Promise.reject(new Error('nobody expected this')); }")
    phone.screen("broken")
    phone.do("send")
    phone.screen("received")
    site.wait_for_response(patient_id)


def test_a_form_that_was_begun_still_counts_among_those_that_wait(site: Site, context: BrowserContext) -> None:
    phone = Phone(context.new_page())
    phone.come_in(site.link(site.enrol("left", "right")), BORN)
    phone.start_form("left")
    phone.answer("since@2/1", 0)
    again = come_back(site, context.new_page())
    assert again.page.locator('[data-standing="carry_on"]').count() == 1
    assert "There are 2 forms for you." in again.words


def come_back(site: Site, page: Page) -> Phone:
    phone = Phone(page)
    page.goto(f"{site.address}/p/")
    phone.screen("forms")
    return phone


def test_after_five_tries_the_way_on_is_the_telephone(site: Site, phone: Phone) -> None:
    phone.open(site.link(site.enrol()))
    phone.do("begin")
    for _ in range(5):
        phone.give_birth_date(BORN.replace(year=1953, day=28))
        phone.screen("check")
        kind = phone.page.get_attribute('[data-do="again"]', "class")
        if "You have tried five times." in phone.words:
            break
        assert kind == "main"
        phone.do("again")
    assert kind == "plain"
    assert phone.page.get_attribute('[data-do="call-clinic"]', "href") == "tel:5550100"


def test_a_field_for_a_new_number_says_who_sees_it_and_can_be_passed_over_at_once(site: Site, phone: Phone) -> None:
    phone.come_in(site.link(site.enrol()), BORN)
    phone.start_form()
    phone.answer_all({key: value for key, value in YEAR_1.items() if key.startswith("since@2")} | {"since@2/6": 1})
    phone.item("since@2/6a")
    assert "Only the clinic's staff see this." in phone.words and "left" not in phone.page.inner_text("#item-left")
    phone.page.fill("main textarea", "555 0123, or in the evening 555 0124")
    phone.page.get_by_text("4 letters left").wait_for()
    assert "Only the clinic's staff see this." in phone.words
    phone.page.fill("main textarea", "")
    phone.do("decline")
    phone.item("since@2/6b")
