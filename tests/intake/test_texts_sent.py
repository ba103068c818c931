"""A phone's word for the texts it asked in is believed only where this clinic can have sent them; else the form is held."""

import json
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select, update

from server.clinic.history import change_row
from server.models import Envelope, InstalledText, Patient, Response
from server.queries.clock import the_clinic
from server.texts.check import check_file
from server.texts.install import install_text
from tests.clinic_case import Case
from tests.stranger import Stranger, best
from tests.texts.going_live import decide, go_live
from tests.texts.making import licence, text_file
from tests.texts.test_withdrawal import withdraw

# What is checked is the answer's; test_process.py records on both databases.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def opened(case: Case, **changes: Any) -> Stranger:
    phone = case.phone(case.enrol(**changes))
    phone.fetch()
    return phone


def form(case: Case, phone: Stranger, text_id: str | None = None, **changes: Any) -> str:
    """Sealed; `text_id` in place of the one of the last part, which is sst@1."""
    payload = {**phone.payload(phone.sheet["forms"][0], best, case.now), **changes}
    if text_id is not None:
        payload["parts"][-1]["text_id"] = text_id
    return phone.seal(payload)


def became(case: Case) -> list[tuple[str, str | None]]:
    """State and reason of what was sent last."""
    case.process()
    with case.store.reading() as session:
        return [(row.state, row.held_reason) for row in session.scalars(select(Envelope).order_by(Envelope.id))]


RECORDED, HELD = ("recorded", None), ("held", "text_not_sent")


@pytest.mark.parametrize(
    "text_id", ["sst@1/en/licensed-1", "sst@1/en/descriptive-2", "sst@1/fr/descriptive-1", "sst@1/", "sst@1/en"]
)
def test_a_text_that_nobody_ever_sent_is_held_and_its_instrument_named(case: Case, text_id: str) -> None:
    phone = opened(case)
    phone.send(form(case, phone, text_id))
    assert became(case) == [HELD]
    with case.store.reading() as session:
        detail = json.loads(session.scalars(select(Envelope.held_detail)).one() or "{}")
    assert list(detail) == ["sst@1"] and text_id not in str(detail)


def test_a_text_that_was_installed_once_and_replaced_since_is_taken(case: Case) -> None:
    with case.store.writing() as session:
        install_text(
            session, check_file(text_file("sst@1", "en"), case.runtime.library), licence(), now=case.now, by_id=None
        )
    phone = opened(case)
    envelope = form(case, phone)
    with case.store.writing() as session:
        session.execute(update(InstalledText).values(replaced_at=case.now))
    phone.send(envelope)
    assert became(case) == [RECORDED]


def test_an_installed_text_of_another_version_or_with_altered_bytes_is_held(case: Case) -> None:
    with case.store.writing() as session:
        install_text(
            session, check_file(text_file("sst@1", "en"), case.runtime.library), licence(), now=case.now, by_id=None
        )
    phone = opened(case)
    envelope = form(case, phone)
    with case.store.writing() as session:
        session.execute(update(InstalledText).values(content="{}"))
    phone.send(envelope)
    assert became(case) == [HELD]


@pytest.mark.parametrize("language", ["fr", "de", "ar"])
def test_a_language_that_is_not_offered_is_held(case: Case, language: str) -> None:
    phone = opened(case)
    phone.send(form(case, phone, language=language))
    assert became(case) == [HELD]


@pytest.mark.parametrize("language", ["en\n", "en ", "EN", "english-language"])
def test_a_language_of_another_form_is_held_as_no_language(case: Case, language: str) -> None:
    phone = opened(case)
    phone.send(form(case, phone, language=language))
    assert became(case) == [("held", "answers_not_valid")]


def test_a_text_in_a_language_that_the_clinic_does_not_offer_is_held_unless_it_is_the_patients_own(case: Case) -> None:
    phone = opened(case)
    envelopes = [form(case, phone, "sst@1/es/descriptive-1"), form(case, phone, "sst@1/es/descriptive-1")]
    with case.store.writing() as session:
        the_clinic(session).languages = "en"
    phone.send(envelopes[0])
    assert became(case) == [HELD]
    with case.store.writing() as session:
        session.scalars(select(Patient)).one().language = "es"
    phone.send(envelopes[1])
    assert became(case) == [HELD, RECORDED]


def speaks(case: Case, language: str) -> None:
    """Staff change the patient's language, and the clinic keeps no other."""
    with case.store.writing() as session:
        the_clinic(session).languages = language
        change_row(session, session.scalars(select(Patient)).one(), {"language": language}, now=case.now, by_id=None)


def test_what_was_begun_before_staff_changed_the_patients_language_is_taken(case: Case) -> None:
    phone = opened(case, language="es")
    envelope = form(case, phone, "sst@1/es/descriptive-1", language="es")
    case.now += timedelta(days=1)
    speaks(case, "en")
    phone.send(envelope)
    assert became(case) == [RECORDED]


def test_a_language_that_was_the_patients_before_this_link_was_fetched_is_held(case: Case) -> None:
    case.enrol(language="es")
    speaks(case, "en")
    case.now += timedelta(days=1)
    with case.store.reading() as session:
        phone = case.phone(session.scalars(select(Patient.id)).one())
    phone.fetch()
    phone.send(form(case, phone, language="es"))
    assert became(case) == [HELD]


def test_a_live_clinic_takes_a_descriptive_text_only_where_a_decision_covered_it(case: Case) -> None:
    phone = opened(case)  # while it is a demo, which sends every text
    envelopes = [form(case, phone), form(case, phone)]
    go_live(case)
    phone.send(envelopes[0])
    assert became(case) == [HELD]
    decide(case)
    phone.send(envelopes[1])
    assert became(case) == [HELD, RECORDED]


def test_what_was_asked_before_a_decision_was_withdrawn_is_taken_after_it(case: Case) -> None:
    go_live(case)
    decision_id = decide(case)
    phone = opened(case)
    envelope = form(case, phone)
    case.now += timedelta(days=1)
    withdraw(case, decision_id)
    case.now += timedelta(days=1)
    phone.send(envelope)
    assert became(case) == [RECORDED]
    with case.store.reading() as session:
        assert session.scalars(select(Response.counted)).one()


def test_a_decision_that_was_withdrawn_before_the_link_was_fetched_covers_nothing(case: Case) -> None:
    go_live(case)
    decision_id = decide(case)
    patient_id = case.enrol()
    case.now += timedelta(days=1)
    phone = case.phone(patient_id)
    sheet = case.phone(patient_id)
    withdraw(case, decision_id)
    case.now += timedelta(days=1)
    sheet.fetch()  # the sheet that was published before, still at the gate
    phone.sheet = sheet.sheet
    phone.send(form(case, phone))
    assert became(case) == [HELD]
