"""Due sheets that no longer say what is so are sealed again, each for itself."""

import pytest
from sqlalchemy import select

from server.jobs.intake import publish_stale_sheets
from server.models import Link
from server.queries.current import mark_sheets_stale
from tests.clinic_case import Case


def test_a_sheet_that_cannot_be_sealed_holds_up_no_other(case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("server.jobs.intake.SHEETS_AT_ONCE", 1)
    broken, whole = case.enrol(), case.enrol(first_name="Bela", last_name="Other")
    with case.store.writing() as session:
        session.scalars(select(Link).where(Link.patient_id == broken)).one().token = "no token"
        mark_sheets_stale(session)
    publish_stale_sheets(case.runtime)
    with case.store.reading() as session:
        stale = {row.patient_id: row.sheet_stale for row in session.execute(select(Link.patient_id, Link.sheet_stale))}
    assert stale == {broken: True, whole: False}
