"""What a phone is sent: the licensed text in force before the descriptive one, and in a live clinic nothing that nobody decided on."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select, update

from scoring.library import load_library
from server.jobs.clock import tick
from server.models import InstalledText, Message, Score, TextDecision
from server.queries.texts_in_force import Wording, read_wording
from server.texts.check import check_file
from server.texts.decision import set_hash
from server.texts.install import install_text
from tests.clinic_case import NOW, Case
from tests.stranger import best
from tests.texts.going_live import decide, go_live
from tests.texts.making import licence, text_document, text_file

INSTRUMENTS = ("pain@1", "pass@1", "sane@1", "sst@1")


def install(case: Case, spec: str, language: str) -> None:
    checked = check_file(text_file(spec, language), case.runtime.library)
    with case.store.writing() as session:
        install_text(session, checked, licence(), now=case.now, by_id=None)


def sheet_of(case: Case, patient_id: int) -> dict[str, Any]:
    case.publish(patient_id)
    phone = case.phone(patient_id)
    _status, body = phone.fetch()
    return {**phone.sheet, "state": body["state"]}


def messages(case: Case) -> int:
    with case.store.reading() as session:
        return len(session.scalars(select(Message.id)).all())


def test_answers_to_a_licensed_text_are_recorded_with_its_id(case: Case) -> None:
    patient_id = case.enrol(language="es")
    install(case, "sst@1", "es")
    case.publish(patient_id)
    phone = case.phone(patient_id)
    phone.fetch()
    form = phone.sheet["forms"][0]
    phone.send(phone.seal(phone.payload(form, best, case.now)))
    assert case.process().recorded == 1
    with case.store.reading() as session:
        text_ids = set(session.scalars(select(Score.text_id)))
    assert "sst@1/es/licensed-1" in text_ids and "sane@1/es/descriptive-1" in text_ids


def test_a_demo_sends_descriptive_texts_without_a_decision(case: Case) -> None:
    assert sheet_of(case, case.enrol())["state"] == "due"


def test_a_live_clinic_sends_no_descriptive_text_before_somebody_decided(case: Case) -> None:
    go_live(case)
    patient_id = case.enrol()
    before = sheet_of(case, patient_id)
    assert (before["state"], before["forms"], before["texts"]) == ("nothing_due", [], {})
    assert tick(case.runtime).made == 0 and messages(case) == 0
    decide(case)
    case.process()
    assert sheet_of(case, patient_id)["state"] == "due"
    assert tick(case.runtime).made == 1


def test_the_step_of_the_ladder_that_waited_is_not_lost(case: Case) -> None:
    go_live(case)
    case.enrol()
    tick(case.runtime)
    case.now += timedelta(days=2)
    decide(case)
    assert tick(case.runtime).made == 1
    with case.store.reading() as session:
        assert session.scalars(select(Message.outcome)).all() == [None]


def test_a_message_that_waits_stays_back_when_its_text_may_not_be_sent(case: Case) -> None:
    from server.jobs.clock import send

    case.enrol()
    assert tick(case.runtime).made == 1
    go_live(case)
    assert send(case.runtime) == 0
    assert messages(case) == 0
    decide(case)
    assert tick(case.runtime).made == 1
    assert send(case.runtime) == 1


def test_licensed_texts_need_no_decision(case: Case) -> None:
    go_live(case)
    patient_id = case.enrol()
    for spec in INSTRUMENTS:
        install(case, spec, "en")
    sheet = sheet_of(case, patient_id)
    assert sheet["state"] == "due"
    assert {text["kind"] for spec in INSTRUMENTS for text in sheet["texts"][spec].values()} == {"licensed"}
    assert set(sheet["texts"]["since@2"]) == {"en", "es"}, "the project's own forms go as they are"


def test_a_patient_whose_own_language_has_only_a_descriptive_text_waits(case: Case) -> None:
    go_live(case)
    patient_id = case.enrol(language="es")
    for spec in INSTRUMENTS:
        install(case, spec, "en")
    assert sheet_of(case, patient_id)["state"] == "nothing_due"


def test_a_decision_covers_no_text_that_comes_later(case: Case) -> None:
    go_live(case)
    patient_id = case.enrol()
    decide(case)
    with case.store.writing() as session:
        ids = session.scalars(select(TextDecision.text_ids)).one().split(",")
        without = [each for each in ids if not each.startswith("sane@1/en/")]
        session.execute(
            update(TextDecision).values(text_ids=",".join(without), sha256=bytes.fromhex(set_hash(without)))
        )
    assert sheet_of(case, patient_id)["state"] == "nothing_due"


def test_a_text_that_was_altered_in_the_database_is_not_sent_and_none_stands_in_for_it(case: Case) -> None:
    patient_id = case.enrol(language="es")
    install(case, "sst@1", "es")
    assert sheet_of(case, patient_id)["state"] == "due"
    with case.store.writing() as session:
        session.execute(update(InstalledText).values(content=text_file("sst@1", "es", words="altered").decode()))
    assert sheet_of(case, patient_id)["state"] == "nothing_due"


@pytest.mark.parametrize("changed", [{"language": "en"}, {"instrument": "pain"}, {"instrument_version": "2"}])
def test_a_text_that_the_database_says_is_another_one_is_altered(case: Case, changed: dict[str, str]) -> None:
    """Otherwise a patient would read another language's words, or another instrument's, under this name."""
    install(case, "sst@1", "es")
    with case.store.writing() as session:
        session.execute(update(InstalledText).values(**changed))
        assert read_wording(session, case.runtime.library).altered == {"sst@1/es/licensed-1"}


def wording(installed: dict[tuple[str, str], Any], decided: frozenset[str] | None = None) -> Wording:
    return Wording(load_library(), ("en", "es"), installed, frozenset(), decided)


def test_an_instrument_that_needs_permission_has_only_its_licensed_text() -> None:
    spanish = {("oss@1", "es"): text_document("oss@1", "es")}
    assert wording({}).stopped("oss@1", "en") == ["oss@1/en"]
    assert list(wording(spanish).texts("oss@1", "es")) == ["es"]
    assert wording(spanish).licensed() == frozenset()
    both = {**spanish, ("oss@1", "en"): text_document("oss@1", "en")}
    assert wording(both).licensed() == {"oss@1"}


@pytest.mark.parametrize(("language", "carried"), [("ar", ["en", "es", "ar"]), ("en", ["en", "es"])])
def test_a_sheet_carries_the_clinic_s_languages_and_the_patient_s_own(language: str, carried: list[str]) -> None:
    arabic = {("sst@1", "ar"): text_document("sst@1", "ar")}
    assert list(wording(arabic).texts("sst@1", language)) == carried


def test_what_is_installed_is_read_from_the_database(case: Case) -> None:
    install(case, "sst@1", "es")
    with case.store.reading() as session:
        found = read_wording(session, case.runtime.library)
    assert list(found.installed) == [("sst@1", "es")]
    assert found.installed[("sst@1", "es")] == text_document("sst@1", "es")
    assert found.decided is None and case.now == NOW
