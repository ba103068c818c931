"""Reminders beside another writer, and after a statement that failed: nothing false is written, and nobody goes without."""

import pytest
from sqlalchemy import delete, text
from sqlalchemy.orm import Session

from scoring.library import Library
from server.models import Message
from server.queries.texts_in_force import Wording, read_wording
from server.reminders import due_messages
from server.reminders.due_messages import end_ladder
from tests.reminders.cast import INVITES, LADDER, REMINDS, House, counts, find, madrid, right

# SQLite lets one write at a time, and a failed statement spoils no transaction there.
pytestmark = pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)


def test_an_answer_that_came_meanwhile_is_not_made_a_silence(house: House) -> None:
    house.case.enrol(right())
    house.tick(INVITES)
    house.case.now = madrid(REMINDS[2])
    settled = {"channel": "email", "outcome": "sent", "made_at": house.case.now, "done_at": house.case.now}
    with house.case.store.writing() as session:
        row = find(session, "week-6")
        session.execute(delete(Message))
        session.add_all(Message(timepoint_id=row.id, step=step, **settled) for step in LADDER)
    with house.case.store.writing() as session:
        row = find(session, "week-6")
        house.answer()
        assert not end_ladder(session, row, now=house.case.now, today=house.case.today)
    assert house.history()[-1][0] == "answered"


def test_after_a_read_that_failed_each_patient_is_tried_alone(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("Ada", "Bea"):
        house.case.enrol(right(), first_name=name)
    broken = ["SELECT 1/0"]

    def once_broken(session: Session, library: Library) -> Wording:
        if broken:
            session.execute(text(broken.pop()))
        return read_wording(session, library)

    monkeypatch.setattr(due_messages, "read_wording", once_broken)
    report = counts(house.tick(INVITES))
    assert not broken and "failed" not in report
    assert house.send() == 2
