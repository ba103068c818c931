"""What is not ready for patients: each finding is seen when it is so, and gone once it is mended."""

from datetime import timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.installation.finding import Finding
from server.installation.readiness import findings
from server.models import ClinicNotice, Restoration, StaffAccount, StaffPasskey
from server.staff.account.accounts import account_named, create_account
from server.texts.decision import descriptive_in_use, record_decision, set_hash
from server.texts.notices import Wording, install_version
from server.words.language import Words
from tests.clinic_case import Case
from tests.installation.conftest import changed

# What is found is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def found(case: Case, name: str) -> Finding:
    (one,) = [each for each in findings(case.runtime, now=case.now) if each.name == name]
    return one


def said(case: Case, name: str, language: str = "en") -> str:
    """What is not ready, as staff read it; empty when it is."""
    one = found(case, name)
    return "" if one.ready else Words("staff", language).say(one.what)


def test_an_https_address_of_its_own_is_ready(live: Case) -> None:
    assert found(live, "address").ready


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("http://127.0.0.1:8017", "plain HTTP"),
        ("https://followup.clinic.example", "is an example"),
        ("https://www.example.org", "is an example"),
        ("https://localhost:8443", "is an example"),
    ],
)
def test_an_address_that_no_patient_can_use_is_found(live: Case, address: str, says: str) -> None:
    changed(live, base_url=address)
    assert address in said(live, "address") and says in said(live, "address")


@pytest.mark.parametrize(
    ("sender", "says"),
    [
        (None, "an example"),  # the one that the program comes with
        ("Clinic <a@example.org>", "an example"),
        ("Clinic <a@mail-provider.com>", "comes from mail-provider.com, while the forms are at followup.harbour"),
        ("the office", "is no sender"),
    ],
)
def test_a_sender_that_is_not_the_clinics_own_is_found(live: Case, sender: str | None, says: str) -> None:
    assert found(live, "sender").ready
    changed(live, mail_from=sender)
    assert says in said(live, "sender")


def test_a_data_manager_with_a_second_step_is_asked_for(live: Case) -> None:
    assert "no account of a data manager" in said(live, "second_factor")
    with live.store.writing() as session:
        made = create_account(session, "dora@harbour.org", "Dora", "data_manager", "hash", live.now)
        nurse = create_account(session, "nora@harbour.org", "Nora", "nurse", "hash", live.now)
        _passkey(live, session, nurse.id)
        manager_id = made.id
    assert "No data manager has set up" in said(live, "second_factor")
    with live.store.writing() as session:
        _passkey(live, session, manager_id)
    assert found(live, "second_factor").ready
    with live.store.writing() as session:
        dora = account_named(session, "dora@harbour.org")
        assert dora is not None
        dora.disabled_at = live.now
    assert "no account of a data manager" in said(live, "second_factor")


def test_an_account_that_was_not_used_for_a_year_is_found_until_it_is_shut(live: Case) -> None:
    long_ago = live.now - timedelta(days=366)
    with live.store.writing() as session:
        create_account(session, "dora@harbour.org", "Dora", "data_manager", "hash", long_ago).last_seen_at = live.now
        away = create_account(session, "nora@harbour.org", "Nora", "nurse", "hash", long_ago)
        create_account(session, "nina@harbour.org", "Nina", "nurse", None, live.now)
        away_id = away.id
    assert found(live, "accounts").what.number == 1 and "not used for a year" in found(live, "accounts").what.text
    with live.store.writing() as session:
        session.get_one(StaffAccount, away_id).disabled_at = live.now
    assert found(live, "accounts").ready


def _passkey(case: Case, session: Session, account_id: int) -> None:
    key = {"credential_id": bytes([account_id]), "public_key": b"k", "sign_count": 0, "made_at": case.now}
    session.add(StaffPasskey(account_id=account_id, name="key", **key))


def test_texts_that_nobody_decided_on_are_found_until_somebody_decides(live: Case) -> None:
    assert found(live, "texts").what.number > 5 and not found(live, "texts").ready
    with live.store.writing() as session:
        by = create_account(session, "dora@harbour.org", "Dora", "data_manager", "hash", live.now)
        shown = set_hash([each.text_id for each in descriptive_in_use(session, live.runtime.library)])
        why = "asked in plain words until the licences come"
        record_decision(session, live.runtime.library, shown=shown, words=why, now=live.now, by_id=by.id)
    assert found(live, "texts").ready


BOTH = {"en": Wording("Data", "We keep answers."), "es": Wording("Datos", "Guardamos respuestas.")}


def put_in_force(case: Case, kind: str, version: str = "1", replaces: str = "") -> None:
    with case.store.writing() as session:
        install_version(session, kind, version, BOTH, replaces=replaces, now=case.now, by_id=None)


def test_a_privacy_notice_is_asked_for_in_every_language_of_the_clinic(live: Case) -> None:
    assert "no privacy notice in English and Spanish," in said(live, "privacy_notice")
    put_in_force(live, "privacy")
    assert found(live, "privacy_notice").ready
    changed(live, languages="en,es,de")
    assert "no privacy notice in German," in said(live, "privacy_notice")


def test_a_notice_whose_words_were_altered_counts_as_missing(live: Case) -> None:
    put_in_force(live, "privacy")
    with live.store.writing() as session:
        session.scalars(select(ClinicNotice).where(ClinicNotice.language == "es")).one().content = "Other words."
    assert "no privacy notice in Spanish," in said(live, "privacy_notice")


def test_texts_are_asked_for_of_contact_and_of_every_consent_that_somebody_gave(live: Case) -> None:
    assert said(live, "consent_texts").endswith("to what: being contacted.")
    put_in_force(live, "contact")
    assert found(live, "consent_texts").ready
    live.enrol(consents=("contact", "linkage"))
    assert said(live, "consent_texts").endswith("to what: linkage with registers.")
    put_in_force(live, "linkage")
    assert found(live, "consent_texts").ready


def test_what_is_missing_of_the_texts_is_said_in_the_readers_language(live: Case) -> None:
    live.enrol(consents=("linkage",))
    assert said(live, "privacy_notice", "es").startswith("No hay aviso de privacidad en inglés y español,")
    assert said(live, "consent_texts", "es").endswith(
        ": contacto por parte de la clínica y cruce de datos con registros."
    )


def test_a_demo_is_asked_for_no_texts(case: Case) -> None:
    assert found(case, "privacy_notice").ready and found(case, "consent_texts").ready


def test_a_restored_clinic_is_not_ready_before_its_release(live: Case) -> None:
    assert found(live, "released").ready
    with live.store.writing() as session:
        session.add(Restoration(restored_at=live.now, backup_id="ab" * 16, backup_made_at=live.now))
    assert "nothing is sent from it" in said(live, "released")
    for name in ("data_copied", "keys_copied", "restore_proved"):
        assert "since" in said(live, name) and "never" not in said(live, name)
    with live.store.writing() as session:
        row = session.scalars(select(Restoration)).one()
        row.released_at, row.waiting_messages = live.now, "sent"
    assert found(live, "released").ready
