"""What people answered to which shoulder they prefer is read from the sealed answers of these people alone."""

from datetime import date
from typing import Any

import pytest
from sqlalchemy import update
from sqlalchemy.orm import Session

from server.crypto.fields import PatientCipher
from server.models import Patient, Response, SilenceDraw, Timepoint
from server.outcomes.series.preference import Told
from server.outcomes.series.preference_answers import read_preferences
from server.outcomes.series.sentence import Sentence
from tests.exports.clinic import SURGERY, Exporter, add_patient
from tests.storehouse import (
    NOW,
    TODAY,
    add_account,
    add_follow_up,
    add_operation,
    add_response,
    add_score,
    add_timepoint,
    answered,
    part,
)

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
LEFT, RIGHT, OPEN = answered({"1": 2}), answered({"1": 1}), {"1": {"state": "not_given"}}


def asked(exporter: Exporter, session: Session, forms: list[tuple[int, Any]], **values: Any) -> Patient:
    """A patient with a yearly form for each pair of year and answers to the question; None: the form did not ask it."""
    nurse, patient = add_account(session), add_patient(session)
    follow_up, cipher = (
        add_follow_up(session, add_operation(session, patient, surgery_on=SURGERY)),
        exporter.cipher(patient),
    )
    for year, answers in forms:
        row = add_timepoint(session, follow_up, f"year-{year}", due_on=date(2023 + year, 5, 10))
        parts = [part("pass@1", answered({"1": 1})), *([] if answers is None else [part("preference@1", answers)])]
        add_response(session, row, parts, cipher=cipher, entered_by=nurse, **values)
    return patient


def read(exporter: Exporter, *patients: int, as_of: date = TODAY, sentence: Sentence | None = None) -> dict[int, Told]:
    with exporter.store.reading() as session:
        wanted = sentence or Sentence()
        return dict(read_preferences(session, exporter.keys.patient_cipher, patients, as_of, wanted))


@pytest.mark.parametrize(
    ("forms", "expected"),
    [
        ([(1, LEFT), (2, RIGHT)], Told(date(2025, 5, 10), "right")),
        ([(1, LEFT), (2, None)], Told(date(2024, 5, 10), "left")),
        ([(1, LEFT), (2, OPEN)], Told(date(2024, 5, 10), "left")),
        ([(1, OPEN), (2, OPEN)], Told(date(2025, 5, 10), None)),
        ([(1, answered({"1": 0}))], Told(date(2024, 5, 10), "no_difference")),
        ([(1, None)], None),
    ],
)
def test_the_latest_answered_one_counts(
    exporter: Exporter, forms: list[tuple[int, Any]], expected: Told | None
) -> None:
    with exporter.store.writing() as session:
        patient = asked(exporter, session, forms)
        number = patient.id
    assert read(exporter, number).get(number) == expected


def test_no_answer_of_a_later_day_and_none_that_somebody_else_gave(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        patient = asked(exporter, session, [(1, LEFT), (2, RIGHT)])
        number = patient.id
    assert read(exporter, number, as_of=date(2025, 5, 9)) == {number: Told(date(2024, 5, 10), "left")}
    with exporter.store.writing() as session:
        session.execute(update(Response).values(answered_by="someone_else"))
    assert read(exporter, number) == {}


def test_answers_are_those_that_the_sentence_wants_and_none_of_the_random_quarter(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        patient = asked(exporter, session, [(1, LEFT), (2, RIGHT)])
        number = patient.id
        first, last = session.query(Response).order_by(Response.id)
        first.mode, last.mode = "telephone", "own_phone"
        add_score(session, first, text_id="sst@1/en/descriptive-1")
    early = {number: Told(date(2024, 5, 10), "left")}
    assert read(exporter, number, sentence=Sentence(mode=("telephone",))) == early
    assert read(exporter, number, sentence=Sentence(mode=("own_phone",)))[number].prefers == "right"
    assert read(exporter, number, sentence=Sentence(text=("descriptive",))) == early
    assert read(exporter, number, sentence=Sentence(text=("licensed",))) == {}
    with exporter.store.writing() as session:
        day = date(2025, 4, 1)
        draw = SilenceDraw(drawn_on=day, drawn_at=NOW, seed="0", probability=0.25, people=1, people_drawn=1)
        session.add(draw)
        session.flush()
        drawn = {"lot_cast_on": day, "draw_id": draw.id, "drawn_on": day, "drawing_probability": 0.25}
        session.execute(update(Timepoint).where(Timepoint.code == "year-2").values(**drawn))
    assert read(exporter, number) == early


def test_only_the_answers_of_those_who_are_asked_about_are_opened(exporter: Exporter) -> None:
    opened: list[str] = []

    def cipher_of(handle: str) -> PatientCipher:
        opened.append(handle)
        return exporter.keys.patient_cipher(handle)

    with exporter.store.writing() as session:
        patient = asked(exporter, session, [(1, LEFT), (2, RIGHT)])
        other = add_patient(session, "Y-0002")
        row = add_timepoint(
            session, add_follow_up(session, add_operation(session, other, surgery_on=SURGERY)), "year-1", due_on=TODAY
        )
        nurse = add_account(session, "other@clinic.example")
        add_response(session, row, [part("preference@1", LEFT)], cipher=exporter.cipher(other), entered_by=nurse)
        number, handle = patient.id, patient.handle
    with exporter.store.reading() as session:
        assert list(read_preferences(session, cipher_of, [number], TODAY, Sentence())) == [number]
    assert opened == [handle]


@pytest.mark.parametrize("what", ["erased", "no key"])
def test_answers_that_cannot_be_read_are_told_as_that(exporter: Exporter, what: str) -> None:
    with exporter.store.writing() as session:
        patient = asked(exporter, session, [(1, LEFT)])
        number = patient.id
        if what == "erased":
            patient.erased_at = NOW
        else:
            patient.handle = "0" * 32
    assert read(exporter, number) == {number: Told(None, None, readable=False)}
