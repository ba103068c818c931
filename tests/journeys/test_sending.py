"""Sending, and everything that can go wrong with it. Until the right receipt is there, the phone keeps the form and says so."""

import hashlib
import json
from collections.abc import Callable

import pytest
from playwright.sync_api import Route

from server.links.make import unlock
from server.models import Patient
from tests.journeys.phone import WEEK_6, WEEK_6_DAYS, Phone
from tests.journeys.site import BORN, Site
from tests.stranger import Stranger

pytestmark = pytest.mark.xdist_group("chromium")
ENVELOPES = "**/api/envelopes"
KEPT = "Your answers are still saved on this phone."


@pytest.fixture
def patient_id(site: Site) -> int:
    return site.enrol(operated_days_ago=WEEK_6_DAYS)


@pytest.fixture
def filled(site: Site, phone: Phone, patient_id: int) -> Phone:
    """At the review of the form, everything answered."""
    phone.come_in(site.link(patient_id), BORN)
    phone.fill_form(WEEK_6)
    return phone


def send_in_vain(phone: Phone) -> None:
    phone.send()
    phone.screen("saved")
    phone.page.get_by_text("Not sent yet.").wait_for()


def send_again(phone: Phone) -> None:
    phone.do("send-now")
    phone.screen("received")


def test_with_the_server_gone_the_form_is_kept_and_later_received_once(
    site: Site, filled: Phone, patient_id: int
) -> None:
    site.kill()
    send_in_vain(filled)
    assert "Open this page again in the next days, with network." in filled.words
    filled.page.reload()
    assert filled.screen("forms").locator("[data-standing=waiting]").count() == 1
    assert "Saved on this phone, not sent yet" in filled.words
    site.start()
    filled.do("send-now")
    filled.page.locator("[data-standing=received]").wait_for()
    site.wait_for_response(patient_id)


def test_a_server_killed_between_storing_and_the_receipt_has_the_form_once(
    site: Site, filled: Phone, patient_id: int
) -> None:
    site.kill()
    site.start(when_stored="die")
    send_in_vain(filled)
    assert site.ended() == -9
    assert site.responses(patient_id) == 0
    site.start()
    site.wait_for_response(patient_id)
    send_again(filled)
    site.case.process()
    assert site.responses(patient_id) == 1


def test_a_server_killed_between_the_receipt_and_intake_still_records_the_form_once(
    site: Site, filled: Phone, patient_id: int
) -> None:
    site.kill()
    site.start(when_stored="leave")
    filled.send()
    filled.screen("received")
    assert site.responses(patient_id) == 0
    site.kill()
    site.start()
    site.wait_for_response(patient_id)


def with_another_hash(route: Route) -> None:
    answer = route.fetch()
    said = answer.json()
    said["receipts"][0]["sha256"] = hashlib.sha256(b"something else").hexdigest()
    route.fulfill(response=answer, body=json.dumps(said))


def test_a_receipt_for_something_else_is_not_believed(site: Site, filled: Phone, patient_id: int) -> None:
    filled.page.route(ENVELOPES, with_another_hash)
    filled.send()
    filled.screen("refused")
    assert "The clinic's receipt does not fit your answers." in filled.words and KEPT in filled.words
    assert "555 0100" in filled.words
    filled.page.unroute(ENVELOPES)
    send_again(filled)
    site.wait_for_response(patient_id)


def test_a_form_that_the_clinic_refuses_is_kept_and_goes_out_when_the_link_is_open_again(
    site: Site, filled: Phone, patient_id: int
) -> None:
    stranger = Stranger(site.token(patient_id), BORN.replace(year=BORN.year + 4), site.case.post)
    assert [stranger.fetch()[0] for _ in range(5)] == [403] * 5
    filled.send()
    filled.screen("refused")
    assert "The clinic's computer does not accept this link any more." in filled.words and KEPT in filled.words
    filled.page.reload()
    filled.screen("forms")
    assert "Saved on this phone. The clinic could not take it." in filled.words
    filled.page.locator(
        '[data-do="send-now"][aria-disabled="false"]'
    ).wait_for()  # the reload tried once more by itself
    assert "The clinic's computer does not accept this link any more." in filled.words
    with site.case.store.writing() as session:
        unlock(session, session.get_one(Patient, patient_id), now=site.case.now)
    filled.do("send-now")
    filled.page.locator("[data-standing=received]").wait_for()
    site.wait_for_response(patient_id)


def sign_in_page(route: Route) -> None:
    route.fulfill(status=200, content_type="text/html", body="<h1>Welcome to the station's network</h1>")


def to_sign_in_page(route: Route) -> None:
    route.fulfill(status=302, headers={"location": "/p/"})


def busy(route: Route) -> None:
    route.fulfill(status=503, headers={"retry-after": "300"}, content_type="application/json", body="{}")


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        (sign_in_page, "This network wants you to sign in first."),
        (to_sign_in_page, "This network wants you to sign in first."),
        (busy, "The clinic's computer is busy."),
    ],
    ids=["sign_in_page", "redirect", "busy"],
)
def test_an_answer_that_is_no_receipt_keeps_the_form_and_says_what_it_was(
    site: Site, filled: Phone, patient_id: int, answer: Callable[[Route], None], says: str
) -> None:
    filled.page.route(ENVELOPES, answer)
    send_in_vain(filled)
    filled.page.get_by_text(says).wait_for()
    filled.page.unroute(ENVELOPES)
    send_again(filled)
    site.wait_for_response(patient_id)


def test_behind_a_sign_in_page_a_new_link_does_not_open_and_the_phone_says_why(
    site: Site, phone: Phone, patient_id: int
) -> None:
    phone.page.route("**/api/due", sign_in_page)
    phone.open(site.link(patient_id))
    phone.do("begin")
    phone.give_birth_date(BORN)
    phone.screen("offline")
    assert "This network wants you to sign in first." in phone.words
    phone.page.unroute("**/api/due")
    phone.do("again")
    phone.screen("forms")


def test_two_shoulders_are_two_forms_and_both_arrive(site: Site, phone: Phone) -> None:
    patient_id = site.enrol("left", "right", operated_days_ago=WEEK_6_DAYS)
    phone.come_in(site.link(patient_id), BORN)
    assert "There are 2 forms for you. Each is for one side." in phone.words
    assert phone.page.locator('[data-do="start-form"]').all_inner_texts() == [
        "Start: left shoulder",
        "Start: right shoulder",
    ]
    phone.fill_form(WEEK_6, side="left")
    assert "Left shoulder" in phone.words and "Right shoulder" not in phone.words
    phone.send()
    phone.screen("received")
    assert "One more form waits for you." in phone.words and "Go on: right shoulder" in phone.words
    phone.do("next-form")
    phone.fill_form(WEEK_6, side="right")
    phone.send()
    phone.screen("received")
    phone.page.get_by_text("You can close this page.").wait_for()
    site.wait_for_response(patient_id, 2)
