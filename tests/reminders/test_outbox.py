"""The outbox: leases, tries and give-ups, with one sender, with two, and with one that comes back too late."""

from collections import Counter
from datetime import date, timedelta

import pytest
from sqlalchemy import select

from server.jobs import clock as jobs
from server.models import Message
from server.reminders.channels.contract import TransportProblem
from server.reminders.claim import Claim, claim_one
from server.reminders.lease import LEASE, MOST_TRIES, WAITS, finish
from server.reminders.outbox import MOST_FAILURES_IN_A_ROW, MOST_IN_A_PASS, send_waiting
from tests.reminders.cast import INVITES, REMINDS, House, Recorder, left, right

PASSING = TransportProblem("the mail server cannot be reached", permanent=False)
FOR_GOOD = TransportProblem("the address was refused (550)", permanent=True)


def claim(house: House) -> Claim:
    claimed = claim_one(house.case.store, house.link_service(), {"email"}, now=house.case.now)
    assert claimed is not None
    return claimed


def settle(house: House, claimed: Claim, outcome: str = "sent") -> int:
    with house.case.store.writing() as session:
        return finish(session, claimed.lease, outcome, now=house.case.now)


def the_row(house: House) -> Message:
    with house.case.store.reading() as session:
        return session.scalars(select(Message).order_by(Message.id)).all()[-1]


def invited(house: House, patients: int = 1) -> None:
    """So many patients, each with an invitation in the outbox."""
    for number in range(patients):
        house.case.enrol(
            right(), first_name=f"Ada{number}", birth_on=date(1950, 1, 1 + number), email=f"ada{number}@x.example"
        )
    house.tick(INVITES)


def test_a_message_that_is_leased_is_nobody_elses(house: House) -> None:
    invited(house)
    claim(house)
    recorder = Recorder()
    assert house.send_one(recorder) is False
    house.case.now += LEASE - timedelta(seconds=1)
    assert house.send_one(recorder) is False
    house.case.now += timedelta(seconds=1)
    assert house.send_one(recorder) is True
    assert len(recorder.notices) == 1


def test_a_stale_lease_cannot_finish(house: House) -> None:
    invited(house)
    stale = claim(house)
    house.case.now += LEASE
    fresh = claim(house)
    assert settle(house, stale) == 0
    assert the_row(house).done_at is None
    assert settle(house, fresh) == 1
    assert (the_row(house).outcome, the_row(house).lease_no) == ("sent", 2)
    assert settle(house, stale, "channel_failed") == 0
    assert the_row(house).outcome == "sent"


def test_a_message_sent_again_carries_the_same_message_id(house: House) -> None:
    invited(house)
    first = claim(house)
    house.case.now += LEASE
    second = claim(house)
    assert first.notice is not None
    assert second.notice is not None
    assert first.notice.message_id == second.notice.message_id == the_row(house).message_id
    assert first.notice.message_id.endswith("@127.0.0.1>")


def test_what_fell_due_later_does_not_join_a_message_that_perhaps_went_out(house: House) -> None:
    house.case.enrol(left(date(2026, 5, 25)), right())
    house.tick(REMINDS[0])  # left: second reminder; right: first
    together = claim(house)
    assert together.notice is not None
    assert together.notice.sides == ("left", "right")
    house.answer("left")
    house.case.now += LEASE
    alone = claim(house)
    assert alone.notice is not None
    assert (alone.notice.sides, alone.notice.message_id) == (("right",), together.notice.message_id)


def test_a_failure_that_may_pass_is_tried_again_later_and_later(house: House) -> None:
    invited(house)
    recorder = Recorder(*[PASSING] * 3)
    for wait in WAITS[:3]:
        assert house.send_one(recorder) is True
        assert the_row(house).last_problem == "the mail server cannot be reached"
        house.case.now += wait - timedelta(seconds=1)
        assert house.send_one(recorder) is False
        house.case.now += timedelta(seconds=1)
    assert house.send_one(recorder) is True
    assert (len(recorder.notices), the_row(house).tries, the_row(house).outcome) == (1, 4, "sent")
    assert the_row(house).last_problem is None


def test_a_step_that_failed_for_four_days_is_let_go(house: House) -> None:
    invited(house)
    recorder = Recorder(*[PASSING] * MOST_TRIES)
    while the_row(house).done_at is None:
        house.send_one(recorder)
        house.case.now += WAITS[min(the_row(house).tries, len(WAITS)) - 1]
    assert (the_row(house).outcome, the_row(house).tries) == ("channel_failed", MOST_TRIES)
    assert timedelta(days=4) <= sum(WAITS, timedelta()) < timedelta(days=5)


def test_a_message_whose_senders_always_died_is_let_go_too(house: House) -> None:
    invited(house)
    for _ in range(MOST_TRIES):
        assert claim(house).notice is not None
        house.case.now += timedelta(minutes=10)
    assert claim(house).notice is None
    assert the_row(house).outcome == "channel_failed"


def test_a_refused_address_is_not_tried_again_and_makes_no_non_responder(house: House) -> None:
    house.case.enrol(right())
    for day in (INVITES, *REMINDS):
        house.tick(day)
        house.send_one(Recorder(FOR_GOOD))
    assert set(house.outcomes().values()) == {"channel_failed"}
    assert [status for status, _ in house.history()] == ["open", "overdue"]  # no message ever arrived


def test_three_failures_in_a_row_end_the_pass_and_refused_addresses_do_not(house: House) -> None:
    invited(house, 6)
    recorder = Recorder(FOR_GOOD, FOR_GOOD, FOR_GOOD, *[PASSING] * MOST_FAILURES_IN_A_ROW)
    runtime = house.case.runtime
    sent = send_waiting(runtime.store, runtime.library, jobs.LINKS, {"email": recorder}, clock=lambda: house.case.now)
    assert (sent, recorder.notices) == (0, [])
    with house.case.store.reading() as session:
        tries = Counter((row.outcome, row.tries) for row in session.scalars(select(Message)))
    assert tries == {("channel_failed", 1): 3, (None, 1): 3}


def test_a_burst_is_spread_over_passes_and_every_message_leaves_once(house: House) -> None:
    invited(house, MOST_IN_A_PASS + 2)
    (sender,) = [job for job in jobs.make_scheduler(house.case.runtime).get_jobs() if job.id == "sender"]
    sender.func()
    assert len(house.letters()) == MOST_IN_A_PASS
    house.tick()
    sender.func()
    sender.func()
    assert sorted(letter.to for letter in house.letters()) == sorted(
        f"ada{number}@x.example" for number in range(MOST_IN_A_PASS + 2)
    )


def test_a_message_that_cannot_be_prepared_is_put_off_and_stops_nobody(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    invited(house, 2)
    with house.case.store.writing() as session:
        bad = session.scalars(select(Message).order_by(Message.id)).first()
        assert bad is not None
        bad_id, timepoint = bad.id, bad.timepoint_id
        session.connection().exec_driver_sql(f"UPDATE timepoint SET code = 'never' WHERE id = {timepoint}")
    recorder = Recorder()
    assert house.send_one(recorder) is True
    assert [notice.first_name for notice in recorder.notices] == ["Ada1"]
    assert f"message {bad_id} could not be prepared: KeyError" in caplog.text
    with house.case.store.reading() as session:
        assert session.get_one(Message, bad_id).last_problem == "not prepared: KeyError"


def test_a_channel_that_is_not_installed_leaves_its_messages_waiting(house: House) -> None:
    invited(house)
    assert claim_one(house.case.store, house.link_service(), set(), now=house.case.now) is None
    assert the_row(house).tries == 0
