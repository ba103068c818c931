"""What was told of the return is read from the sealed answers of the forms that ask it, and of no others."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy.orm import Session

from server.crypto.fields import FieldProblem
from server.forms.stored import StoredAnswers, open_answers
from server.models import FollowUp, Patient
from server.outcomes.series.followings import read_followings
from server.outcomes.series.returns import Told
from server.outcomes.series.returns_reading import ReadReturns, asking_codes, read_returns
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import Sentence
from server.timepoints.plans import shipped_plans
from tests.exports.clinic import SURGERY, Exporter, add_patient
from tests.storehouse import (
    TODAY,
    add_account,
    add_follow_up,
    add_operation,
    add_response,
    add_timepoint,
    answered,
    part,
)

on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
MONTH_3 = SURGERY + timedelta(days=91)
BACK_AT_10 = answered({"1": 1, "1a": 10, "2": 0, "3": 3})
TOLD = Told(MONTH_3, {"work": 1, "sport": 0, "driving": 3}, {"work": 10})


def opened_by(exporter: Exporter) -> Callable[[str, bytes], StoredAnswers | None]:
    def opened(handle: str, sealed: bytes) -> StoredAnswers | None:
        try:
            return open_answers(sealed, exporter.keys.patient_cipher(handle))
        except FieldProblem:
            return None

    return opened


def read(exporter: Exporter, sentence: Sentence | None = None, as_of: date = TODAY) -> ReadReturns:
    with exporter.store.reading() as session:
        read = read_followings(session, read_record(session, as_of))
        return read_returns(session, read, sentence or Sentence(), shipped_plans().values(), opened_by(exporter))


def followed_by(session: Session, patient: Patient, plan: str = "close") -> FollowUp:
    follow_up = add_follow_up(session, add_operation(session, patient, surgery_on=SURGERY))
    follow_up.plan_id = plan
    return follow_up


def month_3(exporter: Exporter, session: Session, patient: Patient, *, plan: str = "close", **values: Any) -> None:
    """Answered in month 3 by the plan, with the form of the return."""
    follow_up = followed_by(session, patient, plan)
    row = add_timepoint(session, follow_up, "month-3", due_on=MONTH_3, closes_on=MONTH_3 + timedelta(29))
    nurse = values.pop("nurse")
    cipher = exporter.cipher(patient)
    add_response(session, row, [part("return@1", BACK_AT_10)], cipher=cipher, entered_by=nurse, **values)


def told(found: ReadReturns) -> list[tuple[str | None, tuple[Told, ...]]]:
    return [(shoulder.row.study_number, answers) for shoulder, answers in found.asked]


def test_the_plans_that_ask_it_are_found_by_their_parts() -> None:
    assert asking_codes(shipped_plans().values()) == {("close", "1"): ["month-3", "month-6", "year-1", "year-2"]}


@on_sqlite
def test_each_shoulder_that_was_asked_comes_with_what_its_patient_told(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        nurse = add_account(session)
        month_3(exporter, session, add_patient(session, "Y-0001"), nurse=nurse)
        month_3(exporter, session, add_patient(session, "Y-0002"), nurse=nurse, answered_by="someone_else")
        month_3(exporter, session, add_patient(session, "Y-0003"), nurse=nurse, plan="standard")
        silent = followed_by(session, add_patient(session, "Y-0004"))
        add_timepoint(session, silent, "month-6", due_on=SURGERY + timedelta(182), closes_on=SURGERY + timedelta(215))
        young = followed_by(session, add_patient(session, "Y-0005"))
        add_timepoint(session, young, "year-2", due_on=TODAY, closes_on=TODAY)
    found = read(exporter)
    assert told(found) == [("Y-0001", (TOLD,)), ("Y-0002", ()), ("Y-0004", ())] and found.unread == 0
    assert told(read(exporter, Sentence(mode=("paper",))))[0] == ("Y-0001", ())
    assert told(read(exporter, as_of=MONTH_3)) == []


@on_sqlite
def test_of_whose_consent_was_withdrawn_nothing_is_read(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada = add_patient(session, "Y-0001")
        month_3(exporter, session, ada, nurse=add_account(session))
        ada.consents[0].withdrawn_on = TODAY
    assert read(exporter) == ReadReturns()


@on_sqlite
def test_answers_that_do_not_open_are_counted_and_not_guessed(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada = add_patient(session, "Y-0001")
        month_3(exporter, session, ada, nurse=add_account(session))
        exporter.keys.erase_patient_key(ada.handle)
        exporter.cipher(ada)
    found = read(exporter)
    assert told(found) == [("Y-0001", ())] and found.unread == 1
