"""The main path in a second engine: WebKit, as on every iPhone.

Its driver starts the small browser without a profile that stays, so that killing it and starting it again would lose all by design of
the driver; that part of the path is shown in Chromium only. Here the server goes away in the middle, which to the page is the same as no
network, and the page is loaded again without it.
"""

import pytest
from selenium.webdriver.webkitgtk.webdriver import WebDriver

from server.texts.notices import Wording, install_version
from tests.journeys.phone import WEEK_6, WEEK_6_DAYS
from tests.journeys.site import BORN, Site
from tests.journeys.webkit import WebKitPhone

pytestmark = [
    pytest.mark.xdist_group("webkit"),
    # Selenium's own class for this browser still calls another of its classes in the old way.
    pytest.mark.filterwarnings("ignore:setting remote_server_addr:DeprecationWarning"),
]


def test_in_webkit_too_a_form_begun_online_is_finished_without_the_server_and_received_later(
    site: Site, webkit: WebDriver
) -> None:
    patient_id = site.enrol(operated_days_ago=WEEK_6_DAYS)
    phone = WebKitPhone(webkit)
    phone.come_in(site.link(patient_id), BORN)
    phone.do("start-form")
    half = dict(list(WEEK_6.items())[:3])
    phone.answer_all(half)
    site.kill()
    webkit.get(f"{site.address}/p/")
    phone.screen("forms")
    phone.do("carry-on")
    phone.answer_all({key: code for key, code in WEEK_6.items() if key not in half})
    phone.click('[data-code="patient"]')
    phone.do("next")
    phone.screen("review")
    phone.do("send")
    phone.screen("saved")
    phone.wait.until(lambda _driver: "Not sent yet." in phone.words)
    assert "Saved on this phone" in phone.words
    site.start()
    # The phone tries by itself too, and may have sent before the button could be pressed.
    phone.there('[data-do="send-now"], main[data-screen="received"]')
    for button in webkit.find_elements("css selector", '[data-do="send-now"]'):
        button.click()
    phone.screen("received")
    assert "The clinic will read it in the next days." in phone.words
    site.wait_for_response(patient_id)


def test_in_webkit_too_the_clinics_notice_is_read_without_the_server_and_the_question_is_there_again(
    site: Site, webkit: WebDriver
) -> None:
    notice = Wording("How we use your answers", "Invented.\n\n# What we keep\nYour answers.")
    with site.case.store.writing() as session:
        texts = {"en": notice, "es": notice}
        install_version(session, "privacy", "1", texts, replaces="", now=site.case.now, by_id=None)
    phone = WebKitPhone(webkit)
    phone.come_in(site.link(site.enrol("left", operated_days_ago=WEEK_6_DAYS, first_name="Bea")), BORN)
    site.kill()
    phone.do("start-form")
    phone.there('main[data-item="early@2/1"]')
    phone.do("privacy")
    phone.screen("privacy_text")
    headings = [each.text for each in webkit.find_elements("css selector", "main h1, main h2")]
    assert headings == [notice.title, "What we keep"]
    phone.do("back")
    phone.there('main[data-item="early@2/1"]')
    site.start()
