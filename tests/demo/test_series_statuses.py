"""The series asks the database which timepoints were simply answered or missed; the rule of the schedule says so of each one alone."""

from collections import Counter
from dataclasses import replace
from datetime import date

import pytest
from sqlalchemy import select

from server.models import FollowUp, Timepoint
from server.outcomes.series.followings import read_followings
from server.outcomes.series.rows import read_record
from server.queries.facts import facts_of
from server.schedule.status import Facts, Status, status
from tests.demo.play import TODAY, Demo

DAYS = (TODAY, TODAY.replace(year=TODAY.year - 1), TODAY.replace(year=TODAY.year - 2))


def known_by(as_of: date, facts: Facts) -> Facts:
    """Without an answer that came later."""
    if facts.answered_on is None or facts.answered_on <= as_of:
        return facts
    return replace(facts, answered_on=None, answered_state=None)


@pytest.mark.parametrize("as_of", DAYS, ids=str)
def test_each_timepoint_stands_in_the_series_as_the_schedule_computes_it(seeded: Demo, as_of: date) -> None:
    at_its_follow_up = select(Timepoint, FollowUp.operation_id).join(FollowUp, Timepoint.follow_up_id == FollowUp.id)
    compared: Counter[Status] = Counter()
    with seeded.runtime.store.reading() as session:
        computed: dict[tuple[int, str], list[Status]] = {}
        for timepoint, operation_id in session.execute(at_its_follow_up):
            computed.setdefault((operation_id, timepoint.code), []).append(
                status(known_by(as_of, facts_of(timepoint)), as_of)
            )
        followings = read_followings(session, read_record(session, as_of))
        for operation_id, of_row in followings.of.items():
            for code, point in of_row.points.items():
                statuses = computed.get((operation_id, code), [])
                if len(statuses) == 1:
                    compared[statuses[0]] += 1
                    assert point.status == statuses[0], (operation_id, code)
    assert min(compared[each] for each in (Status.MISSED, Status.NEVER_ASKED, Status.ANSWERED)) >= 5, compared
