"""A version of the clinic's notice is stored whole, in every language or not at all, and never changes."""

import hashlib
import json
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from server.fields.check import in_english
from server.models import AuditEntry, ClinicNotice, Link
from server.queries.clinic_notices import NoticeVersion, in_force, is_altered, notice_versions, paragraphs
from server.queries.clock import the_clinic
from server.texts.notices import (
    LONGEST_CONTENT,
    NoticeRefused,
    Wording,
    add_languages,
    end_version,
    install_version,
)
from tests.clinic_case import NOW, Case

EN = Wording("Your data", "# Who we are\nA clinic.\n\nWe keep answers.")
ES = Wording("Sus datos", "# Quiénes somos\nUna clínica.\n\nGuardamos respuestas.")
BOTH = {"en": EN, "es": ES}


def install(case: Case, version: str = "1", *, kind: str = "privacy", replaces: str = "", **changes: Any) -> None:
    texts = changes.pop("texts", BOTH)
    with case.store.writing() as session:
        install_version(session, kind, version, texts, replaces=replaces, now=case.now, by_id=None)


def standing(case: Case, kind: str = "privacy") -> NoticeVersion | None:
    with case.store.reading() as session:
        return in_force(notice_versions(session), kind)


def rows(case: Case) -> int:
    with case.store.reading() as session:
        return len(session.scalars(select(ClinicNotice)).all())


def stale(case: Case) -> list[bool]:
    with case.store.reading() as session:
        return list(session.scalars(select(Link.sheet_stale)))


def test_a_version_stands_in_every_language_from_one_moment_with_the_hash_of_its_words(case: Case) -> None:
    install(case)
    found = standing(case)
    assert found is not None and set(found.texts) == {"en", "es"}
    assert {row.made_at for row in found.texts.values()} == {NOW}
    as_file = "Sus datos\n\n# Quiénes somos\nUna clínica.\n\nGuardamos respuestas."
    assert found.texts["es"].sha256 == hashlib.sha256(as_file.encode()).digest()
    with case.store.reading() as session:
        [entry] = session.scalars(select(AuditEntry).where(AuditEntry.action == "notice:installed"))
    detail = json.loads(entry.detail or "{}")
    assert (detail["kind"], detail["version"], set(detail["sha256"])) == ("privacy", "1", {"en", "es"})


def test_a_version_that_lacks_a_language_is_not_stored_at_all(case: Case) -> None:
    for texts in ({"en": EN}, {"en": EN, "es": Wording("Sus datos", " \n ")}):
        with pytest.raises(NoticeRefused) as refused:
            install(case, texts=texts)
        assert "content-es" in refused.value.errors
    assert rows(case) == 0


def test_the_next_version_replaces_the_one_before_and_leaves_its_words(case: Case) -> None:
    install(case)
    case.now += timedelta(days=30)
    install(case, "2", replaces="1", texts={"en": Wording("Your data", "New words."), "es": ES})
    with case.store.reading() as session:
        newer, older = notice_versions(session)
    assert (newer.version, newer.until, newer.texts["en"].content) == ("2", None, "New words.")
    assert (older.version, older.until, older.texts["en"].content) == ("1", case.now, EN.content)


def test_the_same_words_twice_are_one_version(case: Case) -> None:
    install(case)
    install(case, " 1 ", texts={"en": Wording(" Your  data", f"{EN.content}\r\n\n\n"), "es": ES})
    assert rows(case) == 2


def test_the_word_of_a_version_is_used_once_whatever_its_capitals(case: Case) -> None:
    install(case, "A")
    install(case, "B", replaces="A")
    for taken in ("a", "B"):
        with pytest.raises(NoticeRefused, match="never changes"):
            install(case, taken, replaces="B", texts={"en": Wording("Other", "words"), "es": ES})


def test_of_two_who_write_the_next_version_the_second_is_told(case: Case) -> None:
    install(case)
    install(case, "2", replaces="1")
    with pytest.raises(NoticeRefused, match="Somebody else"):
        install(case, "3", replaces="1")
    found = standing(case)
    assert found is not None and found.version == "2"


def test_the_database_keeps_one_text_in_force_of_a_kind_and_language(case: Case) -> None:
    install(case)
    again = ClinicNotice(kind="privacy", version="9", language="en", title="t", content="c", sha256=b"", made_at=NOW)
    with pytest.raises(IntegrityError), case.store.writing() as session:
        session.add(again)


def test_the_longest_text_is_taken_and_one_sign_more_is_refused_in_words(case: Case) -> None:
    install(case, texts={"en": Wording("t", "ß" * LONGEST_CONTENT), "es": ES})
    longer = {"en": Wording("t", "ß" * (LONGEST_CONTENT + 1)), "es": ES}
    with pytest.raises(NoticeRefused) as refused:
        install(case, "2", replaces="1", texts=longer)
    assert "20001" in in_english(refused.value.errors["content-en"])[0]


def test_signs_that_cannot_be_shown_are_refused_and_marks_of_direction_are_kept(case: Case) -> None:
    with pytest.raises(NoticeRefused):
        install(case, texts={"en": Wording("t", "a\x07b"), "es": ES})
    install(case, texts={"en": Wording("t", "a \N{RIGHT-TO-LEFT MARK} b"), "es": ES})
    assert rows(case) == 2


def test_a_language_that_the_clinic_adds_later_is_added_to_the_version_in_force(case: Case) -> None:
    install(case)
    case.now += timedelta(days=3)
    with case.store.writing() as session:
        the_clinic(session).languages = "en,es,de"
    german = {"de": Wording("Ihre Daten", "Worte."), "en": Wording("Changed", "words")}
    with case.store.writing() as session:
        add_languages(session, "privacy", "1", german, now=case.now, by_id=None)
    found = standing(case)
    assert found is not None and set(found.texts) == {"en", "es", "de"}
    assert found.texts["en"].title == "Your data", "what is installed never changes"
    assert found.since == NOW


def test_a_consent_text_is_ended_with_a_reason_and_a_privacy_notice_is_not(case: Case) -> None:
    install(case)
    install(case, kind="linkage")
    with case.store.writing() as session:
        with pytest.raises(NoticeRefused):
            end_version(session, "linkage", "1", why=" ", now=case.now, by_id=None)
        end_version(session, "linkage", "1", why="no register any more", now=case.now, by_id=None)
        with pytest.raises(NoticeRefused):
            end_version(session, "privacy", "1", why="we want none", now=case.now, by_id=None)
    assert standing(case, "linkage") is None and standing(case, "privacy") is not None
    with case.store.reading() as session:
        [ended] = notice_versions(session, "linkage")
    assert {row.ended_why for row in ended.texts.values()} == {"no register any more"}


def test_a_new_privacy_notice_marks_the_sheets_and_a_new_consent_text_leaves_them(case: Case) -> None:
    case.enrol()
    install(case, kind="contact")
    assert stale(case) == [False]
    install(case)
    assert stale(case) == [True]


def test_a_text_that_was_altered_in_the_database_is_seen(case: Case) -> None:
    install(case)
    with case.store.writing() as session:
        for row in session.scalars(select(ClinicNotice)):
            assert not is_altered(row)
            row.content += " And we sell it."
    found = standing(case)
    assert found is not None and all(is_altered(row) for row in found.texts.values())


def test_a_heading_is_a_line_of_its_own_and_lines_of_a_paragraph_stay_lines() -> None:
    read = paragraphs("first\n# One\na\n- b\n\n## two\n#three\n# Last")
    assert [(each["heading"], each["text"]) for each in read] == [
        (False, "first"),
        (True, "One"),
        (False, "a\n- b"),
        (False, "## two\n#three"),
        (True, "Last"),
    ]
