"""One answer travels from an offline phone to the surgeon's export, and leaves no trace in the phone's browser on the way."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page

from server.models import Patient
from tests.journeys.chromium import Chromium
from tests.journeys.exported import answers, export, rows
from tests.journeys.phone import DECLINE, NOT_APPLICABLE, SST, Answer, Phone
from tests.journeys.site import BORN, Site, make_site, until
from tests.journeys.staff import listed_today, settle_first, sign_in
from tests.journeys.traces import traces
from tests.stranger import Stranger

pytestmark = pytest.mark.xdist_group("chromium")

CANARY = "qJ7xw-zephyrus-Vx93k-kumquats"
NAME = "Adelheid-Ottoline Wexcombe"
# Where Chromium puts what a page keeps. The address that was tapped it also notes in its own history, before any page can run.
KEPT_BY_PAGES = {"IndexedDB", "Local Storage", "Session Storage", "Service Worker", "Cache", "Code Cache", "WebStorage"}
KEEP_IN_CLEAR = """word => new Promise((resolve, reject) => {
  localStorage.setItem("control", word);
  const opening = indexedDB.open("control", 1);
  opening.onupgradeneeded = () => opening.result.createObjectStore("words");
  opening.onerror = reject;
  opening.onsuccess = () => {
    const writing = opening.result.transaction("words", "readwrite", {durability: "strict"});
    writing.objectStore("words").put({ typed: word }, "one");
    writing.oncomplete = resolve;
  };
})"""
FIRST_HALF: dict[str, Answer] = {
    "since@2/1": 0,
    "since@2/2": 1,
    **{f"since@2/{n}": 0 for n in range(7, 11)},
    "since@2/3": 26,
    "since@2/4": 2,
    "since@2/5": NOT_APPLICABLE,
    "since@2/6": 1,
    "since@2/6a": CANARY,
    "since@2/6b": DECLINE,
}
SECOND_HALF: dict[str, Answer] = {
    "since@2/6c": DECLINE,
    "since@2/6d": DECLINE,
    "pass@1/1": 1,
    "pain@1/1": 3,
    "sane@1/1": 80,
    **SST,
}
NOT_ASKED = {f"since@2/{n}a": ("", "skipped") for n in (1, 7, 8, 9, 10)}
# What identifies a person goes to staff and into no export: since@2/1b and 6a to 6d.
IDENTIFYING = {"since@2/1b", "since@2/6a", "since@2/6b", "since@2/6c", "since@2/6d"}


@pytest.fixture
def clinic(database_url: str, tmp_path: Path) -> Iterator[Site]:
    made = make_site(tmp_path / "clinic", database_url)
    yield made
    made.kill()
    made.case.store.engine.dispose()


def expected() -> dict[str, tuple[str, str]]:
    """What the export must say of the answers given."""
    missing = {DECLINE: ("", "declined"), NOT_APPLICABLE: ("", "not_applicable")}
    given = {key: missing.get(str(value), (str(value), "")) for key, value in {**FIRST_HALF, **SECOND_HALF}.items()}
    return {key: said for key, said in {**given, **NOT_ASKED}.items() if key not in IDENTIFYING}


def secrets_of(site: Site, patient_id: int) -> list[str]:
    """What must stand nowhere in clear: what was typed, whole and in pieces, birth date, name, and the words of every question."""
    stranger = Stranger(site.token(patient_id), BORN, site.case.post)
    stranger.fetch()
    texts = [
        words
        for by_language in stranger.sheet["texts"].values()
        for item in by_language["en"]["items"].values()
        for words in (item["stem"], item.get("hint", ""), *item.get("options", {}).values())
    ]
    # Shorter words stand in the app itself and in the browser's own files.
    long_enough = {text.replace("{side}", "right") for text in texts if len(text) > 12}
    names = [*stranger.sheet["texts"], "sane@1/1", "since@2/6a"]
    return [CANARY, *CANARY.split("-"), BORN.isoformat(), NAME.split()[0], *names, *sorted(long_enough)]


def test_one_answer_travels_from_an_offline_phone_to_the_surgeons_export(
    clinic: Site, chromium: Chromium, shared_chromium: Chromium, tmp_path: Path
) -> None:
    patient_id = clinic.enrol(first_name=NAME.split()[0], last_name=NAME.split()[1])
    link, hidden = clinic.link(patient_id), secrets_of(clinic, patient_id)
    clinic.start()
    nurse = sign_in(shared_chromium.browser, clinic, "nurse")
    assert listed_today(nurse, clinic) == [(NAME, "open")]

    phone = Phone(chromium.start())
    phone.come_in(link, BORN)
    chromium.context.set_offline(True)
    clinic.kill()
    phone.start_form()
    phone.answer_all(FIRST_HALF)
    phone.item("since@2/6c")
    chromium.kill()

    phone = Phone(chromium.start(offline=True))
    phone.page.goto(f"{clinic.address}/p/")
    tell_again_that_there_is_no_network(phone.page)
    resume(phone)
    phone.answer_all(SECOND_HALF)
    phone.say_who("patient_with_help")
    phone.send()
    phone.screen("saved")
    phone.page.get_by_text("Not sent yet").wait_for()  # a try to send comes first
    assert "Saved on this phone" in phone.words
    assert traces(chromium.profile, hidden) == []

    clinic.start()
    chromium.context.set_offline(False)
    phone.screen("received", within_ms=30_000)
    assert "Received by the clinic" in phone.words and "The clinic will read it in the next days." in phone.words
    assert traces(chromium.profile, hidden) == []
    chromium.close()
    assert traces(chromium.profile, hidden) == []
    assert traces_in_storage(chromium.profile, clinic.token(patient_id)) == {}

    the_list_loses_the_name(nurse, clinic)
    surgeon = sign_in(shared_chromium.browser, clinic, "surgeon")
    surgeon.goto(f"{clinic.address}/patients/{patient_id}")
    assert surgeon.locator('[data-word="SST"]').all_text_contents() == ["9"]
    the_export_holds_what_was_answered(clinic, patient_id, tmp_path / "out")


def tell_again_that_there_is_no_network(page: Page) -> None:
    """Nobody answers meanwhile, as the server is dead. A page that is the first of its process was never told, and would not hear
    that the network is back either: it would try only when its next wait is over, after a minute or more."""
    page.context.set_offline(False)
    page.context.set_offline(True)
    assert page.evaluate("navigator.onLine") is False


def resume(phone: Phone) -> None:
    """At the item where it was, with what was answered before."""
    phone.screen("forms")
    phone.do("carry-on")
    phone.item("since@2/6c")
    phone.do("back")
    phone.item("since@2/6b")
    assert "You chose not to answer this." in phone.words
    phone.do("back")
    phone.item("since@2/6a")
    assert phone.page.input_value("main textarea") == CANARY
    phone.do("next")
    phone.item("since@2/6b")
    phone.do("next")


def traces_in_storage(profile: Path, word: str) -> dict[str, str]:
    """Of a word that the browser itself may know: where it lies in what the page keeps, by kind of storage."""
    places = (Path(trace.split(" in ", 1)[1]) for trace in traces(profile, [word]))
    return {kind: str(place) for place in places for kind in KEPT_BY_PAGES.intersection(place.parts)}


def the_list_loses_the_name(nurse: Page, clinic: Site) -> None:
    """The form is off it; what the patient wrote about contact stays until a person has seen to it."""
    until(lambda: listed_today(nurse, clinic) == [(NAME, "contact changed")], "the open form is off the list")
    assert CANARY in settle_first(nurse, "New number entered.")
    assert listed_today(nurse, clinic) == []


def the_export_holds_what_was_answered(clinic: Site, patient_id: int, out: Path) -> None:
    with clinic.case.store.reading() as session:
        study_number = session.get_one(Patient, patient_id).study_number
    export(clinic, out)
    assert answers(out, study_number, "year-1") == expected()
    assert traces(out, [CANARY, NAME.split()[0], BORN.isoformat()]) == []
    form = rows(out, "long.csv", study_number=study_number, timepoint="year-1", row_kind="form")[0]
    assert (form["answered_by"], form["mode"], form["language"]) == ("patient_with_help", "own_phone", "en")
    assert (form["answered_on"], form["window_state"]) == (str(clinic.case.today), "in")


def test_a_word_that_a_page_keeps_in_clear_would_be_found(site: Site, chromium: Chromium) -> None:
    page = chromium.start()
    page.goto(f"{site.address}/p/")
    page.evaluate(KEEP_IN_CLEAR, CANARY)
    chromium.close()
    assert set(traces_in_storage(chromium.profile, CANARY)) == {"IndexedDB", "Local Storage"}
