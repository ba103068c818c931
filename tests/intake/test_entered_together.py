"""What a binder holds of somebody is entered as one act: all of its forms, or none."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from scoring.answers import AnswerProblem
from server.clinic.entries import ShoulderEntry
from server.forms.asked import asked_parts
from server.intake.enter import Entered, FilledIn, enter_forms
from server.models import AuditEntry, Response, Timepoint
from server.queries.facts import status_of
from server.timepoints.plans import read_plans
from tests.clinic_case import Case
from tests.intake.test_entered_texts import blank
from tests.texts.going_live import data_manager

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
YEARS = ("year-1", "year-2", "year-3")


def parts_of(case: Case, timepoint: Timepoint, session: Any) -> list[dict[str, Any]]:
    """Of a form that leaves every item blank."""
    library = case.runtime.library
    return [
        {
            "instrument": part.instrument,
            "text_id": f"{part.instrument}/en/descriptive-1",
            "answers": {name: blank(case, part.instrument, name) for name in part.items},
        }
        for part in asked_parts(library, read_plans(session).entry(timepoint).parts)
    ]


def enter_binder(case: Case, *, without_a_part: str | None = None) -> list[int]:
    """The forms of three years, each filled in on the day that it would have been due; enrolled after all of them."""
    by_id = data_manager(case)
    with case.store.writing() as session:
        found = session.scalars(select(Timepoint).where(Timepoint.code.in_(YEARS)).order_by(Timepoint.due_on))
        filled_in = []
        for row in found.all():
            on_its_day = case.now - (case.today - row.due_on)
            parts = parts_of(case, row, session)
            given = parts[1:] if row.code == without_a_part else parts
            filled_in.append(FilledIn(row, given, Entered("paper", "patient", "en", on_its_day, by_id)))
        return enter_forms(session, filled_in, library=case.runtime.library, keys=case.runtime.keys, now=case.now)


def enrol(case: Case) -> None:
    case.enrol(ShoulderEntry(side="left", surgery_on=case.today - timedelta(days=4 * 365)))


def test_forms_of_years_ago_count_for_their_windows(case: Case) -> None:
    enrol(case)
    ids = enter_binder(case)
    with case.store.reading() as session:
        rows = session.scalars(select(Response).where(Response.id.in_(ids)).order_by(Response.id)).all()
        assert [(row.mode, row.window_state, row.counted) for row in rows] == [("paper", "in", True)] * 3
        timepoints = session.scalars(select(Timepoint).where(Timepoint.code.in_(YEARS)).order_by(Timepoint.due_on))
        assert [(row.code, status_of(row, case.today)) for row in timepoints] == [(year, "answered") for year in YEARS]
        entered = session.scalars(select(AuditEntry).where(AuditEntry.action == "response:entered")).all()
        assert len(entered) == 3


def test_one_form_with_a_fault_stops_all_of_them(case: Case) -> None:
    enrol(case)
    with pytest.raises(AnswerProblem):
        enter_binder(case, without_a_part="year-3")
    with case.store.reading() as session:
        assert session.scalars(select(Response.id)).all() == []
