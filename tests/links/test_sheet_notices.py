"""A due sheet carries the privacy notice in force and the very texts that the patient agreed to."""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from sqlalchemy import select

from server.clinic.agreed_text import IN_FORCE, TYPED
from server.clinic.consents import correct_consent, give_consent, set_consent_aside
from server.crypto.encoding import compact_json
from server.fields.field import Value
from server.fields.person import CONSENT_KINDS, NOTICE_KINDS
from server.jobs.intake import publish_stale_sheets
from server.models import ClinicNotice, Consent, Patient
from server.queries.clock import the_clinic
from server.queries.current import mark_sheets_stale
from server.texts.notices import LONGEST_CONTENT, LONGEST_TITLE, Wording, add_languages, install_version
from tests.clinic_case import Case

LARGEST_BY_PROTOCOL = 215_000  # bytes of a text in one language
WORDS = {"en": Wording("Privacy", "# Us\nA clinic."), "es": Wording("Privacidad", "# Nosotros\nUna clínica.")}


def install(case: Case, kind: str, version: str, replaces: str = "", texts: Mapping[str, Wording] = WORDS) -> None:
    with case.store.writing() as session:
        install_version(session, kind, version, texts, replaces=replaces, now=case.now, by_id=None)


def agree(case: Case, patient: int, kind: str, language: str = "en") -> None:
    """To the text of this kind that was installed last."""
    with case.store.writing() as session:
        newest = select(ClinicNotice).where(ClinicNotice.kind == kind, ClinicNotice.language == language)
        notice = session.scalars(newest.order_by(ClinicNotice.id.desc())).first()
        consent = session.scalars(select(Consent).where(Consent.patient_id == patient, Consent.kind == kind)).one()
        assert notice is not None
        consent.notice_id, consent.version = notice.id, notice.version
        mark_sheets_stale(session, {patient})


def told(case: Case, patient: int) -> list[dict[str, Any]]:
    publish_stale_sheets(case.runtime)
    phone = case.phone(patient)
    phone.fetch()
    notices: list[dict[str, Any]] = phone.sheet["notices"]
    return notices


def test_a_clinic_without_texts_sends_an_empty_list(case: Case) -> None:
    assert told(case, case.enrol()) == []


def test_the_privacy_notice_comes_in_the_clinics_languages_with_its_paragraphs(case: Case) -> None:
    patient = case.enrol()
    install(case, "privacy", "2026-06")
    [notice] = told(case, patient)
    assert notice == {
        "kind": "privacy",
        "version": "2026-06",
        "since": "2026-06-15",
        "given_on": None,
        "texts": {
            "en": {
                "title": "Privacy",
                "paragraphs": [{"heading": True, "text": "Us"}, {"heading": False, "text": "A clinic."}],
            },
            "es": {
                "title": "Privacidad",
                "paragraphs": [{"heading": True, "text": "Nosotros"}, {"heading": False, "text": "Una clínica."}],
            },
        },
    }


def test_a_new_privacy_notice_reaches_the_phone_and_an_agreed_text_stays_the_one_agreed_to(case: Case) -> None:
    patient = case.enrol()
    for kind in ("research", "privacy"):
        install(case, kind, "1")
    agree(case, patient, "research")
    case.now += timedelta(days=40)
    for kind in ("research", "privacy"):
        install(case, kind, "2", replaces="1")
    assert [(each["kind"], each["version"], each["since"], each["given_on"]) for each in told(case, patient)] == [
        ("privacy", "2", "2026-07-25", None),
        ("research", "1", "2026-06-15", "2026-06-15"),
    ]


def test_a_withdrawn_consent_takes_its_text_off_the_sheet(case: Case) -> None:
    patient = case.enrol()
    install(case, "research", "1")
    install(case, "contact", "1")
    agree(case, patient, "research")
    agree(case, patient, "contact")
    assert [each["kind"] for each in told(case, patient)] == ["contact", "research"]
    with case.store.writing() as session:
        session.scalars(select(Consent).where(Consent.kind == "research")).one().withdrawn_on = case.today
        mark_sheets_stale(session, {patient})
    assert [each["kind"] for each in told(case, patient)] == ["contact"]


def test_a_consent_given_corrected_or_set_aside_brings_the_sheet_up_to_date(case: Case) -> None:
    patient = case.enrol(consents=())
    install(case, "research", "1")
    when: dict[str, Any] = {"now": case.now, "by_id": None}
    said: dict[str, Value] = {"kind": "research", "given_on": case.today, "given_by": "self", "notice": IN_FORCE}
    with case.store.writing() as session:
        clinic = the_clinic(session)
        give_consent(session, session.get_one(Patient, patient), said, clinic, today=case.today, **when)
    assert [each["version"] for each in told(case, patient)] == ["1"]
    with case.store.writing() as session:
        consent, clinic = session.scalars(select(Consent)).one(), the_clinic(session)
        paper: dict[str, Value] = {"given_on": case.today, "given_by": "self", "notice": TYPED, "version": "B"}
        correct_consent(session, consent, paper, clinic, today=case.today, why="on paper", **when)
    assert told(case, patient) == []
    with case.store.writing() as session:
        consent, clinic = session.scalars(select(Consent)).one(), the_clinic(session)
        correct_consent(
            session, consent, {**paper, "notice": IN_FORCE, "version": None}, clinic, today=case.today, why="no", **when
        )
    assert [each["version"] for each in told(case, patient)] == ["1"]
    with case.store.writing() as session:
        set_consent_aside(session, session.scalars(select(Consent)).one(), why="a slip", **when)
    assert told(case, patient) == []


def test_a_later_consent_without_a_text_takes_the_place_of_the_earlier_one(case: Case) -> None:
    patient = case.enrol()
    install(case, "research", "1")
    agree(case, patient, "research")
    with case.store.writing() as session:
        later = case.today + timedelta(days=1)
        session.add(Consent(patient_id=patient, kind="research", version="paper 7", given_on=later, given_by="self"))
        mark_sheets_stale(session, {patient})
    assert told(case, patient) == []


def test_a_consent_brings_the_one_text_that_was_read_and_no_language_of_later(case: Case) -> None:
    patient = case.enrol()
    install(case, "research", "1")
    agree(case, patient, "research", "es")
    case.now += timedelta(days=40)
    with case.store.writing() as session:
        the_clinic(session).languages = "en,de"
        german = {"de": Wording("Forschung", "Wir fragen.")}
        add_languages(session, "research", "1", german, now=case.now, by_id=None)
    [notice] = told(case, patient)
    assert notice["texts"] == {
        "es": {
            "title": "Privacidad",
            "paragraphs": [{"heading": True, "text": "Nosotros"}, {"heading": False, "text": "Una clínica."}],
        }
    }
    assert (notice["since"], notice["given_on"]) == ("2026-06-15", "2026-06-15")


def test_a_text_that_was_altered_in_the_database_reaches_no_phone(case: Case) -> None:
    patient = case.enrol()
    install(case, "privacy", "1")
    with case.store.writing() as session:
        session.scalars(select(ClinicNotice).where(ClinicNotice.language == "es")).one().content += "!"
    [notice] = told(case, patient)
    assert set(notice["texts"]) == {"en"}


def test_a_clinic_of_eight_languages_sends_no_consent_in_more_than_one(case: Case) -> None:
    patient = case.enrol(consents=tuple(CONSENT_KINDS))
    languages = ["en", "es", "de", "fr", "it", "pt", "ca", "nl"]
    with case.store.writing() as session:
        the_clinic(session).languages = ",".join(languages)
    texts = {code: Wording(code, "a" * LONGEST_CONTENT) for code in languages}
    for kind in NOTICE_KINDS:
        install(case, kind, "1", texts=texts)
    for kind in CONSENT_KINDS:
        agree(case, patient, kind, "de")
    assert [(each["kind"], sorted(each["texts"])) for each in told(case, patient)] == [
        ("privacy", sorted(languages)),
        *((kind, ["de"]) for kind in CONSENT_KINDS),
    ]


def test_the_largest_texts_of_every_kind_reach_the_phone_whole(case: Case) -> None:
    patient = case.enrol(consents=tuple(CONSENT_KINDS))
    one_letter_each = "\n\n".join(["\N{MUSICAL SYMBOL G CLEF}"] * 6_667)
    largest = {
        "en": Wording("A" * LONGEST_TITLE, "界" * LONGEST_CONTENT),
        "es": Wording("\N{MUSICAL SYMBOL G CLEF}" * LONGEST_TITLE, one_letter_each),
    }
    for kind in NOTICE_KINDS:
        install(case, kind, "1", texts=largest)
    for kind in CONSENT_KINDS:
        agree(case, patient, kind, "es")
    privacy, *agreed = told(case, patient)
    assert privacy["texts"]["en"]["paragraphs"] == [{"heading": False, "text": "界" * LONGEST_CONTENT}]
    assert [len(each["texts"]["es"]["paragraphs"]) for each in agreed] == [6_667] * 4
    each_in_bytes = [len(compact_json(text)) for notice in (privacy, *agreed) for text in notice["texts"].values()]
    assert max(each_in_bytes) <= LARGEST_BY_PROTOCOL
