"""What holds for everything the seed writes, and what a visitor is sure to meet."""

from collections import Counter, defaultdict
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import func, select, text

from server.crypto.envelope import parse_envelope
from server.demo.mail import letters
from server.forms.stored import open_answers
from server.intake.process import BODY_CONTEXT
from server.intake.scores import own_scores_of
from server.jobs.clock import LINKS
from server.models import (
    ClinicEvent,
    ClinicFinding,
    ContactAttempt,
    Envelope,
    Flag,
    FollowUp,
    GateTries,
    Message,
    Operation,
    OperationLog,
    Patient,
    Response,
    SafetyLook,
    Score,
    Shoulder,
    Timepoint,
    Transition,
)
from server.queries.facts import facts_of, standing_of, status_of
from server.queries.holidays import read_holidays
from server.queries.safety_net import longest_unseen, read_net, reader_of
from server.reminders.tick import TickReport, run_tick
from server.schedule.status import Reason, is_done, look_again_on
from tests.demo.play import TODAY, Demo


def test_the_last_status_written_down_is_the_one_the_facts_give(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        latest: dict[int, str] = {}
        for row in session.scalars(select(Transition).order_by(Transition.id)):
            assert latest.get(row.timepoint_id, "upcoming") == row.status_before
            latest[row.timepoint_id] = row.status_after
        timepoints = session.scalars(select(Timepoint)).all()
        assert latest
        assert [each.id for each in timepoints if latest.get(each.id, "upcoming") != status_of(each, TODAY)] == []


def test_every_timepoint_knows_when_to_look_again_and_whether_it_is_done(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        rows = session.scalars(select(Timepoint)).all()
        assert rows
        for row in rows:
            facts = facts_of(row)
            assert (row.done_at is not None) == is_done(facts, TODAY)
            if row.done_at is None:
                assert row.look_again_on is not None or look_again_on(facts, TODAY) is None
                assert row.look_again_on is None or row.look_again_on > TODAY


def test_a_pass_of_the_clock_at_the_same_instant_finds_nothing_to_do(demo: Demo) -> None:
    runtime = demo.runtime
    assert run_tick(runtime.store, runtime.library, LINKS, now=demo.now) == TickReport()


def test_every_score_comes_out_the_same_from_the_answers(seeded: Demo) -> None:
    library = seeded.runtime.library
    with seeded.runtime.store.reading() as session:
        handles = {patient.id: patient.handle for patient in session.scalars(select(Patient))}
        responses = session.scalars(select(Response)).all()
        assert responses
        for response in responses:
            cipher = seeded.runtime.keys.patient_cipher(handles[response.patient_id])
            answers = open_answers(response.answers, cipher)
            kept = {(row.instrument, row.scale): (row.value, row.status, row.answered) for row in response.scores}
            found = {
                (each.instrument, each.scale): (each.value, each.status, each.answered)
                for each in own_scores_of(answers, response.answered_by, library)
            }
            assert kept == found


def test_each_answered_timepoint_has_one_counted_response_and_it_is_the_first(seeded: Demo) -> None:
    own = Timepoint.answer_from_id.is_(None)
    with seeded.runtime.store.reading() as session:
        by_timepoint: dict[int | None, list[Response]] = defaultdict(list)
        standing = select(Response).where(Response.set_aside_at.is_(None))
        for response in session.scalars(standing.order_by(Response.received_at, Response.id)):
            by_timepoint[response.timepoint_id].append(response)
        answered = set(session.scalars(select(Timepoint.id).where(Timepoint.answered_on.is_not(None), own)))
    assert answered == set(by_timepoint)
    assert all([row.counted for row in rows] == [True, *[False] * (len(rows) - 1)] for rows in by_timepoint.values())


def test_recorded_envelopes_are_real_ones_and_open_under_the_patient_s_key(seeded: Demo) -> None:
    wanted = (
        select(Envelope, Patient.handle)
        .join(Response, Response.envelope_id == Envelope.id)
        .join(Patient, Patient.id == Response.patient_id)
    )
    with seeded.runtime.store.reading() as session:
        rows = session.execute(wanted).all()
        own_phone = session.scalar(select(func.count()).where(Response.mode == "own_phone"))
    assert len(rows) == own_phone
    for row, handle in rows:
        body = seeded.runtime.keys.patient_cipher(handle).open(row.body, BODY_CONTEXT)
        sealed = parse_envelope(body.decode("ascii"))
        assert (row.state, str(sealed.header.envelope_id), sealed.sha256) == ("recorded", row.envelope_id, row.sha256)


def test_the_database_finds_no_fault(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        assert session.execute(text("PRAGMA integrity_check")).scalars().all() == ["ok"]
        assert session.execute(text("PRAGMA foreign_key_check")).all() == []


def test_nothing_lies_in_the_future_and_nothing_happened_before_it_could(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        responses = session.scalars(select(Response)).all()
        assert responses
        for response in responses:
            assert response.finished_at <= response.received_at <= response.recorded_at <= seeded.now
        for patient in session.scalars(select(Patient)):
            for shoulder in patient.shoulders:
                for operation in shoulder.operations:
                    assert operation.surgery_on is None or patient.birth_on < operation.surgery_on <= TODAY
        for table in (Transition.at, ContactAttempt.at, Message.made_at, ClinicFinding.made_at, ClinicEvent.made_at):
            newest: datetime | None = session.scalar(select(func.max(table)))
            assert newest is not None and newest <= seeded.now


def test_messages_went_to_whom_they_could_and_stopped_with_the_answer(seeded: Demo) -> None:
    rows = select(Message, Timepoint, Patient).join(Timepoint, Message.timepoint_id == Timepoint.id)
    with seeded.runtime.store.reading() as session:
        found = session.execute(rows.join(Patient, Patient.id == Timepoint.patient_id)).all()
        for message, timepoint, patient in found:
            assert message.outcome in ("sent", "no_contact", "no_consent", "passed_over")
            assert message.outcome != "sent" or patient.email is not None
            assert timepoint.answered_at is None or message.made_at <= timepoint.answered_at + timedelta(days=4)
    assert {message.outcome for message, _, _ in found} >= {"sent", "no_contact"}


def test_the_letters_of_the_last_weeks_lie_in_the_mailbox(seeded: Demo) -> None:
    found = letters(seeded.runtime.settings, ZoneInfo("Europe/Madrid"))
    tokens = {each["url"].partition("#")[2] for each in seeded.content["patient_links"]}
    since = TODAY - timedelta(days=28)
    assert len(found) > 5
    assert all(each.to.endswith("@patient.example") for each in found)
    assert all(since.isoformat() <= each.sent_at[:10] <= TODAY.isoformat() for each in found)
    assert any(piece.token in tokens for each in found for piece in each.pieces)
    with seeded.runtime.store.reading() as session:
        ids = set(session.scalars(select(Message.message_id).where(Message.outcome == "sent")))
    names = {f"{each.name}" for each in found}
    assert len(names) == len(found) <= len(ids)


def test_a_visitor_meets_every_kind_of_course(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        ends = set(session.scalars(select(FollowUp.end_reason).where(FollowUp.end_reason.is_not(None))))
        windows = set(session.scalars(select(Response.window_state)))
        modes = set(session.scalars(select(Response.mode)))
        kinds = Counter(session.scalars(select(Operation.kind)))
        sides = Counter(session.scalars(select(Shoulder.patient_id)))
        same_day = session.execute(
            select(Shoulder.patient_id)
            .join(Operation, Operation.shoulder_id == Shoulder.id)
            .where(Operation.kind == "index")
            .group_by(Shoulder.patient_id, Operation.surgery_on)
            .having(func.count() == 2)
        ).all()
        languages = set(session.scalars(select(Patient.language)))
        not_enrolled = session.scalar(select(func.count()).where(OperationLog.not_enrolled_reason.is_not(None)))
        second_baseline = session.scalar(
            select(func.count()).where(Timepoint.code == "baseline", Timepoint.attempt == 2)
        )
    assert ends >= {"died", "withdrew", "cancelled"}
    assert {"early", "in", "late"} <= windows
    assert modes == {"own_phone", "telephone", "paper"}
    assert kinds["revision"] >= 3
    assert sum(1 for count in sides.values() if count == 2) >= 4 and same_day
    assert languages == {"en", "es"} and not_enrolled and second_baseline


def test_planned_surgery_is_unknown_moved_cancelled_and_passed(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        waiting = list(session.scalars(select(Operation).where(Operation.surgery_on.is_(None))))
    planned = [row for row in waiting if row.cancelled_on is None and row.surgery_planned_on is not None]
    assert any(row.cancelled_on is None and row.surgery_planned_on is None for row in waiting)
    assert any(row.cancelled_on is not None for row in waiting)
    days = sorted((row.surgery_planned_on - TODAY).days for row in planned if row.surgery_planned_on)
    assert days[0] < 0 and 7 in days and days[-1] > 14


def test_after_a_revision_both_clocks_go_on_and_one_form_stands_for_both(seeded: Demo) -> None:
    revised = select(Operation.shoulder_id).where(Operation.kind == "revision", Operation.surgery_on.is_not(None))
    of_index = select(Timepoint).join(FollowUp).join(Operation).where(Operation.kind == "index")
    with seeded.runtime.store.reading() as session:
        rows = session.scalars(of_index.where(Operation.shoulder_id.in_(revised))).all()
        reasons = Counter(standing_of(row, TODAY).reason for row in rows)
        ahead = [row for row in rows if row.opens_on > TODAY]
    assert reasons[Reason.OTHER_ANSWER]
    assert ahead, "the first operation's clock goes on"


def test_something_waits_for_a_person_to_look(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        open_flags = Counter(session.scalars(select(Flag.kind).where(Flag.settled_at.is_(None))))
        held = Counter(session.scalars(select(Envelope.held_reason).where(Envelope.state == "held")))
        locked = session.scalar(select(func.count()).where(GateTries.locked_at.is_not(None)))
        statuses = Counter(str(status_of(row, TODAY)) for row in session.scalars(select(Timepoint)))
    assert open_flags["safety_answer"] == 2
    assert open_flags["contact_change"] >= 1 and open_flags["operated_elsewhere"] >= 1
    assert [open_flags[kind] for kind in ("said_wrong_side", "said_died", "asked_for_call")] == [1, 1, 1]
    assert held == {"answers_not_valid": 1, "not_opened": 1, "wrong_answer_key": 1}
    assert locked == 1
    assert all(statuses[word] for word in ("open", "overdue", "non_responder", "missed", "late"))


def test_shoulders_do_better_after_surgery_than_before(seeded: Demo) -> None:
    mean = select(func.avg(Score.value)).join(Response).join(Timepoint, Response.timepoint_id == Timepoint.id)
    of = {"sst": "total", "pain": "pain", "sane": "sane"}
    with seeded.runtime.store.reading() as session:

        def at(code: str, instrument: str) -> float:
            found = mean.where(Timepoint.code == code, Score.instrument == instrument, Score.scale == of[instrument])
            return float(session.scalar(found) or 0)

        assert 2.5 < at("baseline", "sst") < 5.2 and 8.6 < at("year-1", "sst") < 11.2
        assert at("baseline", "pain") - at("year-1", "pain") > 3
        assert at("year-1", "sane") - at("baseline", "sane") > 25


def test_a_reader_a_deputy_and_holidays_are_named_and_nobody_waits_for_a_first_look(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        net = read_net(session)
        named = [reader_of(session, account_id) for account_id in (net.reader_id, net.deputy_id)]
        assert [account and account.role for account in named] == ["nurse", "surgeon"]
        assert {holiday.yearly for holiday in read_holidays(session)} == {True}
        assert longest_unseen(session) is None
        assert session.scalar(select(func.count()).select_from(SafetyLook))
