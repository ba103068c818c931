"""The random quarter of the silent: among whom it is drawn, and that anybody can draw it again."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.silence_draw import draw_quarter, people_without_lot
from server.models import AuditEntry, Consent, ContactAttempt, Flag, Patient, SilenceDraw, Timepoint
from server.schedule.lots import drawn, lot
from server.store.engine import Store
from tests.storehouse import (
    NOW,
    TODAY,
    add_account,
    add_follow_up,
    add_operation,
    add_patient,
    add_timepoint,
    make_store,
)

DAY = timedelta(days=1)
AGREED_ON = date(2024, 1, 2)
SEED = "a seed of this test"


@pytest.fixture
def store(database_url: str, tmp_path: Path) -> Iterator[Store]:
    made = make_store(database_url, tmp_path)
    yield made
    made.engine.dispose()


def silent(
    session: Session, number: int, *, consents: tuple[str, ...] = ("contact", "research"), **values: Any
) -> Timepoint:
    """Whose window is open for 90 days more, and whose last reminder went yesterday, unless `values` says otherwise."""
    patient = add_patient(session, f"Y-{number:04d}")
    session.add_all(Consent(patient_id=patient.id, kind=each, version="1", given_on=AGREED_ON) for each in consents)
    return of(session, patient, **values)


def of(session: Session, patient: Patient, side: str = "left", code: str = "year-2", **values: Any) -> Timepoint:
    follow_up = add_follow_up(session, add_operation(session, patient, side, surgery_on=date(2024, 6, 15)))
    return add_timepoint(session, follow_up, code, **{"due_on": TODAY, "ladder_exhausted_on": TODAY - DAY, **values})


def cast(session: Session, seed: str | None = SEED) -> SilenceDraw | None:
    return draw_quarter(session, now=NOW, today=TODAY, by_id=None, seed=seed)


def test_everybody_whose_lot_was_cast_is_kept_and_a_quarter_is_drawn(store: Store) -> None:
    with store.writing() as session:
        for number in range(20):
            silent(session, number)
        assert people_without_lot(session, TODAY) == 20
        cast(session)
    with store.reading() as session:
        draw = session.scalars(select(SilenceDraw)).one()
        rows = session.scalars(select(Timepoint)).all()
        assert [(row.lot_cast_on, row.draw_id) for row in rows] == [(TODAY, draw.id)] * 20
        chosen = [row for row in rows if row.drawn_on is not None]
        assert {(row.drawn_on, row.drawing_probability) for row in chosen} == {(TODAY, 0.25)}
        assert (len(chosen), draw.people, draw.people_drawn) == (5, 20, 5)
        entry = session.scalars(select(AuditEntry).where(AuditEntry.action == "silence:drawn")).one()
        assert SEED in (entry.detail or "")


def test_a_reviewer_with_the_seed_draws_the_same_people(store: Store) -> None:
    with store.writing() as session:
        for number in range(30):
            silent(session, number)
        assert cast(session, seed=None) is not None
    with store.reading() as session:
        draw = session.scalars(select(SilenceDraw)).one()
        joined = select(Patient.study_number, Timepoint.drawn_on).join(Timepoint, Timepoint.patient_id == Patient.id)
        rows = session.execute(joined).all()
        smallest = sorted((lot(draw.seed, row.study_number), row.study_number) for row in rows)[: draw.people_drawn]
        assert draw.people_drawn in (7, 8)  # of 30 a quarter is 7.5
    assert {number for _, number in smallest} == {row.study_number for row in rows if row.drawn_on is not None}


def test_a_lot_is_cast_once(store: Store) -> None:
    with store.writing() as session:
        for number in range(8):
            silent(session, number)
        cast(session)
        assert (cast(session), people_without_lot(session, TODAY)) == (None, 0)
        silent(session, 8)
        later = cast(session, seed="another")
        assert later is not None and later.people == 1
    with store.reading() as session:
        assert len(session.scalars(select(SilenceDraw)).all()) == 2


@pytest.mark.parametrize(
    "values",
    [
        {"ladder_exhausted_on": None},
        {"closes_on": TODAY - DAY, "due_on": TODAY - 9 * DAY},
        {"opens_on": TODAY + DAY, "due_on": TODAY + 2 * DAY},
        {"code": "baseline"},
        {"withheld_on": TODAY, "withheld_texts": "a"},
        {"last_try": "declined"},
        {"not_expected_on": TODAY, "not_expected_reason": "died"},
        {"consents": ("contact",)},
        {"consents": ("research",)},
    ],
)
def test_no_lot_is_cast_for(store: Store, values: dict[str, Any]) -> None:
    with store.writing() as session:
        silent(session, 1, **values)
        assert cast(session) is None
        silent(session, 2, last_try="no_answer", again_on=TODAY + DAY)
        draw = cast(session)
        assert draw is not None and draw.people == 1


def test_whoever_was_called_since_the_form_opened_has_no_lot_reached_or_not(store: Store) -> None:
    with store.writing() as session:
        before, since, reached, taken_back, posted = (silent(session, number) for number in range(5))
        opened = datetime.combine(since.opens_on, time(9), UTC)
        called(session, before, opened - DAY)
        called(session, since, opened)
        called(session, reached, NOW, result="reached", channel="in_person")
        called(session, taken_back, opened, taken_back_at=NOW)
        called(session, posted, opened, channel="letter", result="other")
        assert people_without_lot(session, TODAY) == 3
        cast(session)
        frame = {row.id for row in (before, since, reached, taken_back, posted) if row.lot_cast_on is not None}
        assert frame == {before.id, taken_back.id, posted.id}


def called(session: Session, timepoint: Timepoint, at: datetime, **values: Any) -> None:
    nurse = add_account(session, f"nurse-{timepoint.id}@clinic.example")
    values = {"channel": "telephone", "result": "no_answer", **values}
    session.add(ContactAttempt(patient_id=timepoint.patient_id, at=at, by_id=nurse.id, **values))
    session.flush()


def test_no_lot_is_cast_for_somebody_who_is_said_to_have_died(store: Store) -> None:
    with store.writing() as session:
        timepoint = silent(session, 1)
        session.add(Flag(kind="said_died", raised_at=NOW, patient_id=timepoint.patient_id, timepoint_id=timepoint.id))
        session.flush()
        assert cast(session) is None


def test_two_shoulders_of_one_person_have_one_lot(store: Store) -> None:
    with store.writing() as session:
        for number in range(12):
            first = silent(session, number)
            of(session, session.get_one(Patient, first.patient_id), "right", "year-1")
        draw = cast(session)
        assert draw is not None and (draw.people, draw.people_drawn) == (12, 3)
    with store.reading() as session:
        rows = session.scalars(select(Timepoint)).all()
    of_drawn = [row.patient_id for row in rows if row.drawn_on is not None]
    assert len(of_drawn) == 6 and all(of_drawn.count(each) == 2 for each in of_drawn)


def test_each_persons_chance_is_a_quarter_however_few_they_are() -> None:
    few = ["Y-0001", "Y-0002", "Y-0003"]
    times = [drawn(f"seed {number}", few) for number in range(4000)]
    assert {len(each) for each in times} == {0, 1}
    for number in few:
        assert sum(number in each for each in times) / 4000 == pytest.approx(0.25, abs=0.03)
