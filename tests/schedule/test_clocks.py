"""Two follow-ups of one shoulder: which form is sent, and which answer counts for both."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from server.schedule.clocks import FORMS_APART, Form, carriers, shared_answers
from server.schedule.timepoints import PlannedTimepoint
from tests.schedule.cast import day, enrolled, timepoints

INDEX, REVISION = 0, 1


def form(key: int, clock: int, invites: str, closes: str | None = None, **facts: object) -> Form:
    """Opens and counts from 30 days before it invites, and closes 60 days after unless said otherwise."""
    on = day(invites)
    closes_on = on + timedelta(days=60) if closes is None else day(closes)
    made = Form(key, clock, on, on + timedelta(days=14), closes_on, on - timedelta(days=30), closes_on)
    return replace(made, **facts)  # type: ignore[arg-type]


def test_of_two_forms_within_90_days_the_one_of_the_later_operation_is_sent() -> None:
    year_5, baseline = form(1, INDEX, "2025-03-01"), form(2, REVISION, "2025-04-01")
    assert carriers([year_5, baseline], [], day("2025-01-01")) == {1: 2}


def test_forms_90_days_apart_are_both_sent() -> None:
    year_5, week_6 = form(1, INDEX, "2025-03-01"), form(2, REVISION, "2025-05-30")
    assert week_6.invites_on - year_5.invites_on == FORMS_APART
    assert carriers([year_5, week_6], [], day("2025-01-01")) == {}
    sooner = replace(week_6, invites_on=day("2025-05-29"))
    assert carriers([year_5, sooner], [], day("2025-01-01")) == {1: 2}


def test_what_was_sent_or_answered_stands_and_carries_the_revisions_form() -> None:
    asked = form(1, INDEX, "2025-03-01", sent_on=day("2025-03-01"))
    assert carriers([asked, form(2, REVISION, "2025-04-01")], [], day("2025-03-20")) == {2: 1}


def test_what_was_sent_before_its_window_moved_still_keeps_the_other_form_90_days_away() -> None:
    moved = form(2, REVISION, "2026-03-01", sent_outside_on=day("2025-03-01"))
    year_5 = form(1, INDEX, "2025-03-20", "2025-08-20")
    assert carriers([year_5, moved], [], day("2025-03-20")) == {1: 2}
    assert carriers([year_5, moved], [], day("2025-05-29")) == {1: 2}
    assert carriers([year_5, moved], [], day("2025-05-30")) == {}


def test_what_is_carried_is_sent_once_90_days_have_passed_if_its_window_is_still_open() -> None:
    asked = form(1, INDEX, "2025-03-01", sent_on=day("2025-03-01"))
    baseline = form(2, REVISION, "2025-04-01", closes_on=None)
    assert carriers([asked, baseline], [], day("2025-05-29")) == {2: 1}
    assert carriers([asked, baseline], [], day("2025-05-30")) == {}


def test_what_closed_keeps_what_carried_it_and_what_nothing_carried_gets_no_carrier_afterwards() -> None:
    sent = form(2, REVISION, "2025-04-01", sent_on=day("2025-04-01"))
    carried, not_reached = form(1, INDEX, "2025-03-01", carried_by=2), form(3, INDEX, "2025-03-02")
    assert carriers([carried, not_reached, sent], [], day("2025-12-01")) == {1: 2}


def test_the_forms_of_one_follow_up_keep_the_distance_of_their_plan() -> None:
    before, week_6 = form(1, REVISION, "2025-03-01"), form(2, REVISION, "2025-04-05")
    assert carriers([before, week_6], [], day("2025-01-01")) == {}


def test_what_is_not_expected_or_was_over_before_enrolment_carries_nothing() -> None:
    year_5 = form(1, INDEX, "2025-03-01")
    cancelled = form(2, REVISION, "2025-04-01", expected_until=day("2025-03-20"))
    assert carriers([year_5, cancelled], [], day("2025-02-01")) == {}
    historical = form(2, REVISION, "2025-04-01", may_be_sent=False)
    assert carriers([year_5, historical], [], day("2025-02-01")) == {}


def test_an_answer_in_both_windows_counts_for_both_and_the_other_form_is_not_sent() -> None:
    week_6 = form(2, REVISION, "2025-04-01", sent_on=day("2025-04-01"), answered_on=day("2025-04-03"))
    year_5 = form(1, INDEX, "2025-03-20")
    assert shared_answers([year_5, week_6]) == {1: 2}
    assert carriers([year_5, week_6], [1], day("2025-04-04")) == {}


def test_an_answer_outside_the_others_window_does_not_count_for_it() -> None:
    year_5 = form(1, INDEX, "2025-03-20", closes="2025-04-02")
    inside, after = (form(2, REVISION, "2025-04-01", answered_on=day(on)) for on in ("2025-04-02", "2025-04-03"))
    assert shared_answers([year_5, inside]) == {1: 2}
    assert shared_answers([year_5, after]) == {}


def test_an_answer_of_its_own_goes_before_any_other_and_of_several_others_the_nearest_to_the_due_day() -> None:
    near, far = (
        form(key, REVISION, "2025-04-01", answered_on=day(on)) for key, on in ((2, "2025-03-30"), (3, "2025-03-10"))
    )
    year_5 = form(1, INDEX, "2025-03-20")  # due 3 April
    assert shared_answers([far, near, year_5]) == {1: 2}
    assert 1 not in shared_answers([far, near, replace(year_5, answered_on=day("2025-03-21"))])


def test_a_state_before_surgery_that_is_told_afterwards_counts_for_nothing_else() -> None:
    recalled = form(2, REVISION, "2025-04-01", answered_on=day("2025-04-03"), shares=False)
    assert shared_answers([form(1, INDEX, "2025-03-20"), recalled]) == {}


def test_no_answer_after_the_end_counts() -> None:
    over = form(1, INDEX, "2025-03-20", expected_until=day("2025-04-02"))
    assert shared_answers([over, form(2, REVISION, "2025-04-01", answered_on=day("2025-04-03"))]) == {}


@dataclass
class Shoulder:
    """A shoulder whose forms are sent by the rule, day by day, to a patient who answers some of them after some days."""

    forms: dict[int, Form]
    answers_after: dict[int, int | None]  # days after sending; None: never
    reached_after: dict[int, int]  # days after inviting until a message goes out
    sent: dict[int, date] = field(default_factory=dict)

    def live_through(self, first: date, last: date) -> None:
        today = first
        while today <= last:
            self._live(today)
            today += timedelta(days=1)

    def _live(self, today: date) -> None:
        shared = shared_answers(self.forms.values())
        carried = carriers(self.forms.values(), shared, today)
        for key, each in self.forms.items():
            put_off = each.carried_by is not None and key not in carried and each.invites_on < today
            self.forms[key] = each = replace(
                each, carried_by=carried.get(key), invites_on=today if put_off else each.invites_on
            )
            closed = each.closes_on is not None and each.closes_on < today
            offered = each.invites_on + timedelta(days=self.reached_after[key]) <= today and not closed
            if offered and key not in carried and key not in shared and key not in self.sent:
                self.sent[key] = today
                self.forms[key] = replace(each, sent_on=today)
            after = self.answers_after[key]
            if key in self.sent and after is not None and self.sent[key] + timedelta(days=after) == today:
                self.forms[key] = replace(self.forms[key], answered_on=today)


def as_form(key: int, clock: int, planned: PlannedTimepoint) -> Form:
    counts_from = planned.opens_on
    if planned.code == "baseline" and planned.anchor_on is not None:
        counts_from = planned.anchor_on - FORMS_APART
    days = (planned.invites_on, planned.due_on, planned.closes_on, counts_from, planned.closes_on)
    return Form(key, clock, *days, may_be_sent=not planned.historical)


@st.composite
def shoulders(draw: st.DrawFn) -> Shoulder:
    """A first operation, and one or two revisions that were planned some weeks before."""
    first = date(2015, 1, 1) + timedelta(days=draw(st.integers(0, 365)))
    operations, made = [(first, first)], []
    for _ in range(draw(st.integers(1, 2))):
        done = operations[-1][1] + timedelta(days=draw(st.integers(60, 700)))
        operations.append((done - timedelta(days=draw(st.integers(0, 59))), done))
    for clock, (entered, done) in enumerate(operations):
        dates = enrolled(entered.isoformat(), surgery_on=done)
        made += [(clock, each) for each in timepoints(dates, until=first + timedelta(days=1600)).values()]
    forms = {key: as_form(key, clock, each) for key, (clock, each) in enumerate(made)}
    waits = st.none() | st.integers(0, 120)
    return Shoulder(
        forms,
        {key: draw(waits) for key in forms},
        {key: draw(st.sampled_from([0, 0, 0, 5, 40, 400])) for key in forms},
    )


@settings(max_examples=8, deadline=None)
@given(shoulder=shoulders())
def test_no_shoulder_ever_gets_forms_of_two_follow_ups_within_90_days(shoulder: Shoulder) -> None:
    days = [each.invites_on for each in shoulder.forms.values()]
    shoulder.live_through(min(days), max(days) + timedelta(days=200))
    near = [
        (one, other)
        for (one, at), (other, on) in product(shoulder.sent.items(), repeat=2)
        if shoulder.forms[one].clock < shoulder.forms[other].clock and abs(at - on) < FORMS_APART
    ]
    assert near == []
    assert shoulder.sent, "the rule must not get there by sending nothing"


def last_carrier(key: int, carried: Mapping[int, int]) -> int:
    """The form that was to be sent in the end: a carrier may be carried itself."""
    while key in carried:
        key = carried[key]
    return key


@settings(max_examples=8, deadline=None)
@given(shoulder=shoulders())
def test_every_timepoint_is_sent_answered_by_another_or_carried_by_one_that_was_near(shoulder: Shoulder) -> None:
    """Of a patient who is reached on the day of the invitation: nothing is lost without a form that stands for it."""
    shoulder.reached_after = dict.fromkeys(shoulder.forms, 0)
    days = [each.invites_on for each in shoulder.forms.values()]
    last = max(days) + timedelta(days=200)
    shoulder.live_through(min(days), last)
    shared = shared_answers(shoulder.forms.values())
    carried = carriers(shoulder.forms.values(), shared, last)
    closed = {key for key, each in shoulder.forms.items() if each.closes_on is not None and each.closes_on < last}
    assert closed - shoulder.sent.keys() - shared.keys() - carried.keys() == set()
    # The carrier's turn may come after the form has closed, and by then an answer to a third form may count for the carrier.
    stand = shoulder.sent.keys() | shared.keys()
    assert [key for key in carried if last_carrier(key, carried) not in stand] == []


@settings(max_examples=30, deadline=None)
@given(shoulder=shoulders(), today=st.dates(date(2015, 1, 1), date(2020, 1, 1)))
def test_the_rule_does_not_depend_on_the_order_of_the_rows(shoulder: Shoulder, today: date) -> None:
    forms = list(shoulder.forms.values())
    assert carriers(forms[::-1], [], today) == carriers(forms, [], today)
