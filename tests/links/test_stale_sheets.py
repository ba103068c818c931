"""Due sheets that no longer say what is so are sealed again, each for itself."""

import pytest
from sqlalchemy import event, select

from server.jobs.intake import publish_stale_sheets
from server.models import Link
from server.queries.current import mark_sheets_stale
from tests.clinic_case import Case


@pytest.mark.parametrize("at_once", [1, 10])
def test_a_sheet_that_cannot_be_sealed_holds_up_no_other(
    case: Case, monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    monkeypatch.setattr("server.jobs.intake.SHEETS_AT_ONCE", at_once)
    broken, whole = case.enrol(), case.enrol(first_name="Bela", last_name="Other")
    with case.store.writing() as session:
        session.scalars(select(Link).where(Link.patient_id == broken)).one().token = "no token"
        mark_sheets_stale(session)
    publish_stale_sheets(case.runtime)
    with case.store.reading() as session:
        stale = {row.patient_id: row.sheet_stale for row in session.execute(select(Link.patient_id, Link.sheet_stale))}
    assert stale == {broken: True, whole: False}


def test_many_sheets_are_read_at_once(case: Case) -> None:
    for number in range(4):
        case.enrol(first_name=f"Nr{number}")
    with case.store.writing() as session:
        mark_sheets_stale(session)
    said: list[str] = []
    event.listen(case.store.engine, "before_cursor_execute", lambda *of: said.append(of[2]))
    publish_stale_sheets(case.runtime)
    assert sum("JOIN gate" in statement for statement in said) == 1
    with case.store.reading() as session:
        assert set(session.scalars(select(Link.sheet_stale))) == {False}
