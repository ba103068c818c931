"""What is recorded moves the last known facts by what it shows: a letter, a register, an event, an operation elsewhere, a consent."""

from datetime import date
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.events import record_event
from server.clinic.known_status import bring_back_status, record_status, take_back_status
from server.clinic.recorded import take_back
from server.fields.check import EntryRefused
from server.fields.field import Value
from server.models import AuditEntry, ClinicEvent, Consent, Flag, KnownStatus, Patient
from server.queries.last_known import last_known_of
from server.queries.pause import pause_of
from server.schedule.last_known import Known, LastKnown, Source, State
from tests.clinic.cast import Desk
from tests.storehouse import (
    NOW,
    TODAY,
    add_account,
    add_follow_up,
    add_operation,
    add_patient,
    add_response,
    add_timepoint,
)

# The rules are Python's; test_lost.py reads the same on both databases.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

OPERATED, TOLD = date(2021, 3, 1), date(2025, 5, 1)
STAMP: dict[str, Any] = {"now": NOW, "today": TODAY, "by_id": None}
SAME_DAY = Known(OPERATED, Source.OPERATION, State.IN_PLACE)


def operated(session: Session, **values: Any) -> Patient:
    patient = add_patient(session, **values)
    add_operation(session, patient, surgery_on=OPERATED)
    return patient


def known(session: Session, patient: Patient) -> LastKnown:
    session.flush()
    return last_known_of(session, patient, TODAY)


def tell(session: Session, patient: Patient, **values: Value) -> KnownStatus:
    return record_status(session, patient, {"known_on": TOLD, **values}, **STAMP)


def test_who_is_said_to_be_dead_is_not_known_alive_and_a_person_enters_the_death(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = operated(session)
        before = known(session, patient).alive
        for _twice in range(2):
            tell(session, patient, source="death_register", alive="dead")
        assert known(session, patient).alive == before == Known(OPERATED, Source.OPERATION)
        assert [flag.kind for flag in session.scalars(select(Flag))] == ["said_died"]


def test_a_source_that_is_taken_back_pauses_no_message_unless_another_says_so(desk: Desk) -> None:
    act: dict[str, Any] = {"why": "of another", "now": STAMP["now"], "by_id": None}
    with desk.store.writing() as session:
        patient = operated(session)
        first, second = (tell(session, patient, source=each, alive="dead") for each in ("gp_letter", "death_register"))
        take_back_status(session, first, **act)
        assert pause_of(session, patient.id) == "said_died"
        take_back_status(session, second, **act)
        assert pause_of(session, patient.id) is None
        bring_back_status(session, second, **act)
        assert pause_of(session, patient.id) == "said_died"
        done = select(AuditEntry.action).where(AuditEntry.action.like("flag:%")).order_by(AuditEntry.id)
        assert session.scalars(done).all() == ["flag:raised", "flag:settled", "flag:raised"]


def test_an_event_of_death_waits_for_the_death(desk: Desk) -> None:
    happened: dict[str, Value] = {
        "kind": "death", "happened_on": date(2021, 4, 1), "certainty": "reported", "source_kind": "relative",
    }  # fmt: skip
    with desk.store.writing() as session:
        patient = operated(session)
        with pytest.raises(EntryRefused, match="Enter the death first"):
            record_event(session, patient.shoulders[0], happened, **STAMP)
        patient.died_on = date(2021, 4, 1)
        assert record_event(session, patient.shoulders[0], happened, **STAMP).kind == "death"


@pytest.mark.parametrize("source", ["gp_letter", "other_hospital", "other_department"])
def test_a_letter_shows_something_of_the_implant_only_where_it_tells_of_an_examination(desk: Desk, source: str) -> None:
    said: dict[str, Value] = {"source": source, "alive": "alive", "side": "left", "implant": "in_place"}
    with desk.store.writing() as session:
        patient = operated(session)
        with pytest.raises(EntryRefused) as refused:
            tell(session, patient, **said)
        assert list(refused.value.errors) == ["examined"]
        tell(session, patient, **said, examined=False)
        found = known(session, patient)
        told = Known(TOLD, Source(source), State.IN_PLACE)
        assert (found.implant["left"], found.reported_implant["left"]) == (SAME_DAY, told)
        assert found.alive == Known(TOLD, Source(source))
        tell(session, patient, **said, examined=True)
        assert (known(session, patient).implant, known(session, patient).reported_implant) == ({"left": told}, {})


def test_a_register_shows_no_operation_only_where_it_covers_it(desk: Desk) -> None:
    said: dict[str, Value] = {"source": "register", "side": "left", "implant": "in_place"}
    with desk.store.writing() as session:
        patient = operated(session)
        for covers, field in ((None, "covers"), (False, "implant")):
            with pytest.raises(EntryRefused) as refused:
                tell(session, patient, **said, covers=covers)
            assert list(refused.value.errors) == [field]
        row = tell(session, patient, **said, covers=True)
        assert known(session, patient).implant["left"] == Known(TOLD, Source.REGISTER, State.IN_PLACE)
        row.covers = None  # kept before anybody was asked
        assert known(session, patient).implant["left"] == SAME_DAY


@pytest.mark.parametrize(("certainty", "moves"), [("reported", False), ("confirmed", True)])
def test_an_operation_elsewhere_that_was_only_told_stays_reported(desk: Desk, certainty: str, moves: bool) -> None:
    with desk.store.writing() as session:
        patient = operated(session)
        add_operation(
            session,
            patient,
            surgery_on=TOLD,
            kind="revision",
            place="elsewhere",
            known_by="patient",
            certainty=certainty,
        )
        found, there = known(session, patient), Known(TOLD, Source.OPERATION_ELSEWHERE, State.IN_PLACE)
        assert found.implant["left"] == (there if moves else SAME_DAY)
        assert found.reported_implant == ({} if moves else {"left": there})
        assert (found.alive == Known(TOLD, Source.OPERATION_ELSEWHERE)) is moves


def test_operated_again_says_so_until_it_is_recorded_or_was_an_error(desk: Desk) -> None:
    missing = State.OPERATED_NOT_RECORDED
    with desk.store.writing() as session:
        patient = operated(session)
        tell(session, patient, source="other_hospital", side="left", implant="operated", examined=True)
        assert known(session, patient).implant["left"] == Known(TOLD, Source.OTHER_HOSPITAL, missing, TOLD)
        revision = add_operation(
            session, patient, surgery_on=date(2024, 1, 1), kind="revision", surgery_precision="year"
        )
        assert known(session, patient).implant["left"].state == State.IN_PLACE
        revision.surgery_on = date(2026, 1, 1)
        assert known(session, patient).implant["left"].state == missing, "that was another one"


def test_an_event_of_an_operation_that_is_not_recorded_counts_too(desk: Desk) -> None:
    happened: dict[str, Value] = {
        "kind": "operated_again", "happened_on": TOLD, "certainty": "confirmed", "source_kind": "other_hospital",
        "judged_by": "N. Urse", "judged_on": TODAY,
    }  # fmt: skip
    with desk.store.writing() as session:
        patient = operated(session)
        event = record_event(session, patient.shoulders[0], happened, **STAMP)
        found = known(session, patient).implant["left"]
        assert found == Known(TOLD, Source.OPERATION_ELSEWHERE, State.OPERATED_NOT_RECORDED, TOLD)
        take_back(session, event, why="no", now=NOW, by_id=None)
        assert known(session, patient).implant["left"] == SAME_DAY


def test_an_answer_of_operated_again_that_was_found_a_mistake_leaves_the_implant_in_place(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = operated(session)
        timepoint = add_timepoint(
            session, add_follow_up(session, patient.shoulders[0].operations[0]), "year-4", due_on=TOLD
        )
        desk.keys.new_patient_key(patient.handle)
        cipher, by = desk.keys.patient_cipher(patient.handle), add_account(session)
        response = add_response(session, timepoint, [], cipher=cipher, entered_by=by, on=TOLD, operated_again=True)
        assert known(session, patient).implant["left"] == Known(TOLD, Source.ANSWER, State.OPERATED_NOT_RECORDED, TOLD)
        event = ClinicEvent(
            shoulder_id=patient.shoulders[0].id, response_id=response.id, item="since@2/1", kind="operated_again",
            happened_on=TOLD, happened_precision="day", certainty="reported", source_kind="patient", made_at=NOW,
        )  # fmt: skip
        session.add(event)
        assert known(session, patient).implant["left"].state == State.OPERATED_NOT_RECORDED
        event.taken_back_at = NOW
        assert known(session, patient).implant["left"] == Known(TOLD, Source.ANSWER, State.IN_PLACE)


@pytest.mark.parametrize(
    ("born", "given_by", "moves"),
    [(date(1957, 3, 28), None, True), (date(2010, 3, 28), None, False), (date(2010, 3, 28), "self", True),
     (date(1957, 3, 28), "representative", False)],
    ids=["of age", "a child", "a child that says so itself", "somebody else"],
)  # fmt: skip
def test_a_consent_of_which_nobody_said_by_whom_is_the_patients_own_only_of_age(
    desk: Desk, born: date, given_by: str | None, moves: bool
) -> None:
    with desk.store.writing() as session:
        patient = operated(session, birth_on=born)
        session.add(Consent(patient_id=patient.id, kind="contact", version="1", given_on=TOLD, given_by=given_by))
        assert (known(session, patient).contact == Known(TOLD, Source.CONSENT)) is moves


@pytest.mark.parametrize("source", ["register", "death_register"])
def test_nothing_is_taken_from_registers_once_consent_to_linkage_is_withdrawn(desk: Desk, source: str) -> None:
    said: dict[str, Value] = {"source": source}
    said |= (
        {"alive": "alive"} if source == "death_register" else {"side": "left", "implant": "in_place", "covers": True}
    )
    with desk.store.writing() as session:
        patient = operated(session)
        consent = Consent(kind="linkage", version="1", given_on=OPERATED, withdrawn_on=date(2025, 1, 1))
        patient.consents.append(consent)
        session.flush()
        with pytest.raises(EntryRefused, match="Consent to linkage with registers was withdrawn on 1 January 2025"):
            tell(session, patient, **said)
        assert tell(session, patient, **said | {"known_on": date(2024, 12, 31)}).source == source
        consent.withdrawn_on = None
        assert tell(session, patient, **said).known_on == TOLD


def test_an_operation_before_the_first_one_here_of_which_no_place_is_said_was_not_done_here(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = add_patient(session)
        add_operation(session, patient, kind="earlier", surgery_on=OPERATED)
        found = known(session, patient)
        assert (found.contact, found.implant["left"].source) == (None, Source.OPERATION_ELSEWHERE)
