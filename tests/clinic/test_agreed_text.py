"""A consent says to which text of the clinic it was given, or which version stood on a paper that is not here."""

from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.agreed_text import IN_FORCE, TYPED
from server.clinic.consents import correct_consent, give_consent
from server.clinic.history import read_changes
from server.fields.check import EntryRefused, in_english
from server.fields.field import Value
from server.models import ClinicNotice, Consent, Patient
from server.queries.clock import the_clinic
from server.texts.notices import Wording, add_languages, end_version, install_version
from server.words.language import Words
from tests.clinic_case import Case

WORDS = {"en": Wording("Research", "We ask."), "es": Wording("Investigación", "Preguntamos.")}
WHY = "read again"


def install(case: Case, version: str, replaces: str = "", kind: str = "research") -> None:
    with case.store.writing() as session:
        install_version(session, kind, version, WORDS, replaces=replaces, now=case.now, by_id=None)


def two_versions(case: Case) -> None:
    """1 in force on the day of the case, 2 from forty days later, which is now."""
    install(case, "1")
    case.now += timedelta(days=40)
    install(case, "2", replaces="1")


def text_id(case: Case, version: str, language: str = "en", kind: str = "research") -> str:
    wanted = select(ClinicNotice.id).where(
        ClinicNotice.kind == kind, ClinicNotice.version == version, ClinicNotice.language == language
    )
    with case.store.reading() as session:
        return str(session.scalars(wanted).one())


def give(case: Case, patient: int, given_on: date, notice: str, version: str | None = None) -> tuple[str, int | None]:
    """Version and text of the new consent to research."""
    said: dict[str, Value] = {"kind": "research", "version": version, "given_on": given_on, "given_by": "self"}
    said["notice"] = notice
    when: dict[str, Any] = {"now": case.now, "today": case.today, "by_id": None}
    with case.store.writing() as session:
        found = session.get_one(Patient, patient)
        consent = give_consent(session, found, said, the_clinic(session), **when)
        return consent.version, consent.notice_id


def refusal(case: Case, *given: Any) -> dict[str, list[str]]:
    with pytest.raises(EntryRefused) as refused:
        give(case, *given)
    return {name: in_english(found) for name, found in refused.value.errors.items()}


def test_enrolment_records_the_text_in_force_in_the_patients_language(case: Case) -> None:
    install(case, "2026-06")
    patient = case.enrol(language="es")
    with case.store.reading() as session:
        consents = {each.kind: each for each in session.get_one(Patient, patient).consents}
        assert (consents["research"].version, consents["contact"].version) == ("2026-06", "1")
        assert str(consents["research"].notice_id) == text_id(case, "2026-06", "es")
        assert consents["contact"].notice_id is None, "the clinic has no text about contact"


def test_the_version_in_force_on_the_day_of_the_consent_is_recorded(case: Case) -> None:
    first_day = case.today
    two_versions(case)
    patient = case.enrol(consents=())
    assert give(case, patient, first_day, IN_FORCE) == ("1", int(text_id(case, "1")))
    assert give(case, patient, case.today, IN_FORCE) == ("2", int(text_id(case, "2")))


def test_an_older_version_that_was_still_signed_can_be_named_and_a_later_one_cannot(case: Case) -> None:
    first_day = case.today
    two_versions(case)
    patient = case.enrol(consents=())
    assert "came into force" in refusal(case, patient, first_day, text_id(case, "2"))["notice"][0]
    assert give(case, patient, case.today, text_id(case, "1", "es")) == ("1", int(text_id(case, "1", "es")))


def test_a_text_about_something_else_or_none_is_refused(case: Case) -> None:
    install(case, "1")
    install(case, "1", kind="contact")
    patient = case.enrol(consents=())
    wrong = (text_id(case, "1", kind="contact"), "987", "x")
    assert [list(refusal(case, patient, case.today, each)) for each in wrong] == [["notice"]] * 3


def test_a_paper_from_before_the_texts_keeps_the_version_that_is_typed(case: Case) -> None:
    before = case.today - timedelta(days=900)
    install(case, "1")
    patient = case.enrol(consents=())
    assert "no text of the clinic" in refusal(case, patient, before, IN_FORCE)["version"][0]
    assert give(case, patient, before, IN_FORCE, "B-7") == ("B-7", None)
    assert give(case, patient, case.today, TYPED, "B-8") == ("B-8", None)


def test_a_refusal_is_said_in_the_language_of_its_page(case: Case) -> None:
    install(case, "1")
    patient, before = case.enrol(consents=()), date(2024, 3, 1)
    with pytest.raises(EntryRefused) as refused:
        give(case, patient, before, IN_FORCE)
    [said] = refused.value.errors["version"]
    assert Words("staff", "es").say(said).startswith("El 1 de marzo de 2024 no había aquí en vigor ningún texto")
    assert Words("staff", "en").say(said).startswith("On 1 March 2024 no text of the clinic was in force here")


def test_a_typed_version_beside_another_one_in_force_is_asked_about(case: Case) -> None:
    install(case, "2")
    patient = case.enrol(consents=())
    assert "version 2 was in force" in refusal(case, patient, case.today, IN_FORCE, "1")["version"][0]
    assert "version" in refusal(case, patient, case.today, TYPED)
    assert give(case, patient, case.today, IN_FORCE, "2") == ("2", int(text_id(case, "2")))


def test_a_language_without_a_text_asks_which_was_read(case: Case) -> None:
    install(case, "1")
    with case.store.writing() as session:
        the_clinic(session).languages = "en,es,de"
    patient = case.enrol(language="de", consents=())
    assert "Choose the text that was read" in refusal(case, patient, case.today, IN_FORCE)["notice"][0]
    assert give(case, patient, case.today, text_id(case, "1", "es"))[0] == "1"


def test_after_a_text_was_ended_its_version_is_typed_again(case: Case) -> None:
    install(case, "1")
    with case.store.writing() as session:
        end_version(session, "research", "1", why="the study is over", now=case.now, by_id=None)
    case.now += timedelta(days=2)
    with case.store.reading() as session:
        patient = session.get_one(Patient, case.enrol())
        assert {(each.version, each.notice_id) for each in patient.consents} == {("1", None)}


def test_from_the_day_on_which_a_text_was_ended_no_consent_is_given_to_it_by_itself(case: Case) -> None:
    first_day = case.today
    two_versions(case)
    with case.store.writing() as session:
        end_version(session, "research", "2", why="the study is over", now=case.now, by_id=None)
    patient = case.enrol(consents=())
    assert "no text of the clinic" in refusal(case, patient, case.today, IN_FORCE)["version"][0]
    assert give(case, patient, first_day, IN_FORCE) == ("1", int(text_id(case, "1")))
    assert give(case, patient, case.today, IN_FORCE, "B-7") == ("B-7", None)


def test_enrolling_on_the_day_on_which_a_text_was_ended_records_none(case: Case) -> None:
    install(case, "5")
    with case.store.writing() as session:
        end_version(session, "research", "5", why="the study is over", now=case.now, by_id=None)
    with case.store.reading() as session:
        patient = session.get_one(Patient, case.enrol())
        assert {(each.kind, each.version, each.notice_id) for each in patient.consents} == {
            ("contact", "1", None),
            ("research", "1", None),
        }


def test_a_language_that_was_added_later_is_no_text_of_a_consent_before_it(case: Case) -> None:
    install(case, "1")
    first_day = case.today
    case.now += timedelta(days=40)
    with case.store.writing() as session:
        the_clinic(session).languages = "en,es,de"
        add_languages(session, "research", "1", {"de": Wording("Forschung", "Wir fragen.")}, now=case.now, by_id=None)
    patient = case.enrol(language="de", consents=())
    german = text_id(case, "1", "de")
    assert "after the consent" in refusal(case, patient, first_day, german)["notice"][0]
    assert "had no text in the patient's language" in refusal(case, patient, first_day, IN_FORCE)["notice"][0]
    assert give(case, patient, first_day, text_id(case, "1")) == ("1", int(text_id(case, "1")))
    assert give(case, patient, case.today, IN_FORCE) == ("1", int(german))


def test_another_version_typed_beside_a_chosen_text_is_refused(case: Case) -> None:
    install(case, "2")
    patient = case.enrol(consents=())
    assert "Version 2 is chosen" in refusal(case, patient, case.today, text_id(case, "2"), "B-7")["version"][0]
    assert give(case, patient, case.today, text_id(case, "2"), "2") == ("2", int(text_id(case, "2")))


def corrected(case: Case, notice: str | None, **changes: Value) -> tuple[str, int | None]:
    when: dict[str, Any] = {"now": case.now, "today": case.today, "by_id": None}
    with case.store.writing() as session:
        consent = session.scalars(select(Consent).where(Consent.kind == "research")).one()
        kept = {name: getattr(consent, name) for name in ("version", "given_on", "given_by")}
        correct_consent(session, consent, {**kept, **changes, "notice": notice}, the_clinic(session), why=WHY, **when)
        return consent.version, consent.notice_id


def test_a_correction_keeps_the_text_changes_it_or_takes_it_away_and_the_history_says_so(case: Case) -> None:
    install(case, "1")
    case.enrol()
    assert corrected(case, None, withdrawn_on=case.today, withdrawn_by="self") == ("1", int(text_id(case, "1")))
    assert corrected(case, text_id(case, "1", "es")) == ("1", int(text_id(case, "1", "es")))
    assert corrected(case, None, version="paper 3") == ("paper 3", None)
    with case.store.reading() as session:
        consent = session.scalars(select(Consent).where(Consent.kind == "research")).one()
        changes = read_changes(session, [("consent", consent.id)], most=20)
    about_text = [(each.old, each.new) for each in changes if each.field == "notice_id"]
    assert about_text == [("version 1, Spanish", ""), ("version 1, English", "version 1, Spanish")]


def test_a_day_before_the_text_came_into_force_is_refused_as_a_correction(case: Case) -> None:
    install(case, "1")
    case.enrol()
    with pytest.raises(EntryRefused, match="came into force"):
        corrected(case, None, given_on=case.today - timedelta(days=5))
    assert corrected(case, TYPED, given_on=case.today - timedelta(days=5), version="0") == ("0", None)


def test_a_correction_that_leaves_the_text_and_types_another_version_is_refused(case: Case) -> None:
    install(case, "1")
    case.enrol()
    with pytest.raises(EntryRefused, match="Version 1 is chosen"):
        corrected(case, text_id(case, "1"), version="B-7")
    assert corrected(case, TYPED, version="B-7") == ("B-7", None)


def test_a_text_chosen_in_place_of_a_typed_version_takes_its_place(case: Case) -> None:
    case.enrol()
    install(case, "7")
    assert corrected(case, text_id(case, "7")) == ("7", int(text_id(case, "7")))


def test_a_withdrawal_needs_no_text_that_fits_the_day_by_a_corrected_time_zone(case: Case) -> None:
    install(case, "1")
    case.enrol()
    with case.store.writing() as session:
        the_clinic(session).time_zone = "Pacific/Kiritimati"  # there the text came on the day after the consent
        for text in session.scalars(select(ClinicNotice)):
            text.made_at = case.now.replace(hour=20)
    first = text_id(case, "1")
    ended: dict[str, Value] = {"withdrawn_on": case.today, "withdrawn_by": "self", "version": None}
    assert corrected(case, first, **ended) == ("1", int(first))
    with pytest.raises(EntryRefused, match="after the consent"):
        corrected(case, first, given_on=case.today - timedelta(days=1))
