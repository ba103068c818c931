"""Two who work on one follow-up at one time: the second waits for the first, and no transition is written twice."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from sqlalchemy import func, select, text
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session

from server.models import FollowUp, Timepoint, Transition
from server.queries.clock import clinic_day, the_clinic
from server.timepoints.generate import refresh_timepoints
from server.timepoints.plans import read_plans
from server.timepoints.transitions import look_again
from tests.clinic_case import Case, case
from tests.reminders.cast import INVITES, madrid, right

__all__ = ["case"]
# SQLite lets one write at a time, so there is nothing to wait for.
pytestmark = pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)


def refresh(case: Case, session: Session) -> None:
    follow_up = session.scalars(select(FollowUp)).one()
    today = clinic_day(the_clinic(session), case.now)
    refresh_timepoints(session, follow_up, read_plans(session).of(follow_up), now=case.now, today=today)


@contextmanager
def status_pass_at_work(case: Case) -> Iterator[None]:
    """A transaction that has opened the timepoints whose day has come, and is not committed before the block ends."""
    with case.store.writing() as session:
        rows = select(Timepoint).where(Timepoint.look_again_on <= case.now.date()).with_for_update(skip_locked=True)
        statuses = [look_again(session, row, today=case.now.date(), now=case.now) for row in session.scalars(rows)]
        assert statuses
        yield


def test_refreshing_waits_for_a_status_pass_and_then_writes_nothing_twice(case: Case) -> None:
    case.enrol(right())
    case.now = madrid(INVITES)
    with status_pass_at_work(case), pytest.raises(OperationalError, match="lock timeout") as refused:
        with case.store.writing() as other:
            other.execute(text("SET LOCAL lock_timeout = '50ms'"))
            refresh(case, other)
    # It waits to read, not to write: by then it would have decided from what was there before.
    assert "FOR UPDATE" in (refused.value.statement or "")
    with case.store.writing() as session:
        refresh(case, session)
    with case.store.reading() as session:
        counts = session.scalars(
            select(func.count()).select_from(Transition).group_by(Transition.timepoint_id, Transition.status_after)
        ).all()
    assert set(counts) == {1}
