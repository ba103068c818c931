"""The page of the clinic's privacy notice and consent texts: entered, checked, put in force, read, ended."""

import hashlib
import io
from typing import Any

import pytest
from werkzeug.test import TestResponse

from server.queries.clinic_notices import NoticeVersion, in_force, notice_versions
from server.queries.clock import the_clinic
from tests.staff.html_page import read_page
from tests.staff.sent_form import inputs_of
from tests.staff.staff_case import Staff, StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

FIRST = {
    "version": "1",
    "title-en": "Your data",
    "content-en": "# Who we are\n\nA clinic.\n\nWe keep answers.",
    "title-es": "Sus datos",
    "content-es": "# Quiénes somos\n\nUna clínica.\n\nGuardamos respuestas.",
}


def check(manager: Staff, kind: str, fields: dict[str, Any], page: str = "new") -> TestResponse:
    """The form of the page, with what was changed."""
    shown = inputs_of(manager.get(f"/notices/{kind}/{page}").text, "/notices/check")
    return manager.post("/notices/check", {**shown, **fields}, content_type="multipart/form-data")


def confirm(manager: Staff, checked: TestResponse, **changed: str) -> TestResponse:
    """The button of a checked page, which sends the same form to another address."""
    fields = inputs_of(checked.text, "/notices/check")
    return manager.post("/notices/install", {**fields, **changed})


def install(staff: StaffCase, kind: str, **fields: str) -> Staff:
    manager = staff.sign_in("data_manager")
    done = confirm(manager, check(manager, kind, {**FIRST, **fields}))
    assert done.status_code == 302, done.text
    return manager


def standing(staff: StaffCase, kind: str) -> NoticeVersion | None:
    with staff.case.store.reading() as session:
        return in_force(notice_versions(session), kind)


def test_an_empty_clinic_says_what_is_missing_and_who_can_enter_it(staff: StaffCase) -> None:
    nurse, manager = staff.sign_in("nurse").get("/notices"), staff.sign_in("data_manager").get("/notices")
    assert nurse.text.count('class="state warn">no text') == 2, "the privacy notice and the consent to contact"
    assert "phones show none" in nurse.text
    assert "/notices/privacy/new" in manager.text and "/notices/privacy/new" not in nurse.text


def test_a_version_is_shown_as_it_will_be_read_and_then_put_in_force(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    checked = check(manager, "privacy", FIRST)
    page = read_page(checked.text)
    assert checked.status_code == 200 and page.unlabelled() == []
    assert [each.text for each in page.all("h4")] == ["Who we are", "Quiénes somos"]
    assert standing(staff, "privacy") is None, "a check installs nothing"
    assert checked.text.count("The first text in this language") == 2 and "no text in this language" not in checked.text
    done = confirm(manager, checked)
    listed = manager.get(done.location).text
    assert "version 1" in listed and "Sus datos" in listed and "It is in force." in listed
    assert "Version of the privacy notice" in manager.get("/audit").text


def test_the_next_version_begins_with_the_words_in_force_and_shows_what_changes(staff: StaffCase) -> None:
    manager = install(staff, "privacy")
    changed = FIRST["content-en"].replace("A clinic.", "A clinic in Larken.")
    checked = check(manager, "privacy", {"version": "2", "content-en": changed})
    cells = [each.text.strip() for each in read_page(checked.text).all("td")]
    assert cells == ["A clinic.", "A clinic in Larken."]
    assert "The words are the same as those in force." in checked.text, "the Spanish ones"
    confirm(manager, checked)
    page = manager.get("/notices").text
    assert "One older version" in page and "Version 1" in page


def test_words_that_were_changed_after_the_check_are_checked_again(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    again = confirm(manager, check(manager, "privacy", FIRST), **{"content-en": "Something else."})
    assert again.status_code == 200 and "Something else." in again.text
    assert standing(staff, "privacy") is None


def test_a_file_stands_in_for_what_was_typed(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    file = io.BytesIO("\ufeffFrom a file\r\n\r\n# One\r\nwords\r\n".encode())
    checked = check(manager, "privacy", {**FIRST, "file-en": (file, "notice.txt")})
    shown = inputs_of(checked.text, "/notices/check")
    assert (shown["title-en"], shown["content-en"].splitlines()) == ("From a file", ["# One", "words"])
    assert shown["title-es"] == "Sus datos"
    wrong = check(manager, "privacy", {**FIRST, "file-en": (io.BytesIO("señal".encode("latin-1")), "a.txt")})
    assert wrong.status_code == 422 and "no plain text in UTF-8" in wrong.text


def test_half_a_version_is_refused_and_what_was_typed_stays(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    refused = check(manager, "privacy", {**FIRST, "version": "", "content-es": ""})
    assert refused.status_code == 422
    assert "every language of the clinic at once" in refused.text and "word of its own" in refused.text
    assert inputs_of(refused.text, "/notices/check")["title-en"] == "Your data"


def test_of_two_data_managers_the_second_is_told_and_loses_nothing(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    mine = check(manager, "privacy", {**FIRST, "version": "2"})
    install(staff, "privacy")
    refused = confirm(manager, mine)
    assert refused.status_code == 422 and "Somebody else changed this meanwhile" in refused.text
    found = standing(staff, "privacy")
    assert found is not None and found.version == "1"
    assert inputs_of(refused.text, "/notices/check")["version"] == "2"


def test_a_text_is_read_by_everybody_and_its_file_has_the_hash_that_is_told(staff: StaffCase) -> None:
    install(staff, "research")
    found = standing(staff, "research")
    assert found is not None
    nurse, text_id = staff.sign_in("nurse"), found.texts["es"].id
    page = nurse.get(f"/notices/{text_id}")
    assert [each.text for each in read_page(page.text).all("h2")] == ["Quiénes somos"]
    file = nurse.get(f"/notices/{text_id}.txt")
    assert hashlib.sha256(file.data).hexdigest() in page.text
    assert file.headers["Content-Disposition"] == "attachment; filename=research-1-es.txt"
    assert nurse.get("/notices/999").status_code == 404


def test_markup_in_a_text_is_shown_as_it_was_typed(staff: StaffCase) -> None:
    install(staff, "privacy", **{"content-en": "<script>alert(1)</script> & **bold**"})
    found = standing(staff, "privacy")
    assert found is not None
    page = staff.sign_in("nurse").get(f"/notices/{found.texts['en'].id}").text
    assert "<script>alert" not in page and "&lt;script&gt;alert(1)&lt;/script&gt; &amp; **bold**" in page


def test_a_consent_text_is_ended_with_a_reason(staff: StaffCase) -> None:
    manager = install(staff, "linkage")
    assert "Take it out of force" in manager.get("/notices").text
    wrong = manager.post("/notices/end", {"kind": "linkage", "version": "1", "why-linkage": ""})
    assert wrong.status_code == 422 and "Say why" in wrong.text
    done = manager.post("/notices/end", {"kind": "linkage", "version": "1", "why-linkage": "no register any more"})
    page = manager.get(done.location).text
    assert "Ended: no register any more" in page and standing(staff, "linkage") is None
    assert manager.post("/notices/end", {"kind": "privacy", "version": "1", "why-privacy": "none"}).status_code == 422
    assert manager.post("/notices/end", {"kind": "nothing"}).status_code == 404


def test_a_language_that_was_added_is_asked_for_and_entered_for_the_same_version(staff: StaffCase) -> None:
    manager = install(staff, "privacy")
    with staff.case.store.writing() as session:
        the_clinic(session).languages = "en,es,ar"
    assert "There is no text in Arabic" in manager.get("/notices").text
    checked = check(manager, "privacy", {"title-ar": "بياناتك", "content-ar": "نص"}, page="more")
    assert read_page(checked.text).all("div", lang="ar", dir="rtl")
    assert confirm(manager, checked).status_code == 302
    found = standing(staff, "privacy")
    assert found is not None and (found.version, set(found.texts)) == ("1", {"en", "es", "ar"})
    assert manager.get("/notices/privacy/more").status_code == 404


def test_a_language_that_is_missing_is_named_in_the_reader_s_own(staff: StaffCase) -> None:
    manager = staff.sign_in("data_manager")
    install(staff, "privacy")
    with staff.case.store.writing() as session:
        the_clinic(session).languages = "en,es,de"
    assert "German" in manager.get("/notices").text
    manager.post("/account/language", {"language": "es"})
    page = manager.get("/notices").text
    assert "alemán" in page and "German" not in page
