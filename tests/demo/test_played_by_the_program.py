"""Nothing in the invented clinic was written by hand: it came through the doors by which patients and staff come in."""

import re
from collections import Counter

from sqlalchemy import func, select

from server.models import (
    AuditEntry,
    ContactAttempt,
    Envelope,
    Flag,
    GateFetch,
    Link,
    Message,
    Operation,
    Patient,
    Response,
    Timepoint,
    Transition,
)
from server.queries.facts import status_of
from tests.demo.play import TODAY, Demo

SENDERS_ID = re.compile(r"<\d+\.[0-9a-f]{16}@127\.0\.0\.1>")


def actions(demo: Demo) -> Counter[str]:
    with demo.runtime.store.reading() as session:
        return Counter(session.scalars(select(AuditEntry.action)))


def test_every_answer_was_sealed_on_a_phone_that_had_fetched_its_sheet_or_entered_by_staff(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        first_fetch = dict(session.execute(select(GateFetch.lookup_hash, func.min(GateFetch.fetched_at)).group_by(
            GateFetch.lookup_hash
        )).all())  # fmt: skip
        notices = select(Flag.envelope_id).where(Flag.envelope_id.is_not(None))
        forms = select(Envelope).where(Envelope.state == "recorded", Envelope.id.not_in(notices))
        envelopes = {row.id: row for row in session.scalars(forms)}
        responses = list(session.scalars(select(Response)))
    sealed = [each for each in responses if each.envelope_id is not None]
    moved = [each for each in responses if each.moved_from_id is not None]
    entered = [each for each in responses if each.entered_by_id is not None and each not in moved]
    assert len(sealed) == len(envelopes) > 50 and len(entered) > 5
    assert len(sealed) + len(entered) + len(moved) == len(responses)
    for each in sealed:
        envelope = envelopes[each.envelope_id or 0]
        assert each.opened_at is not None
        assert first_fetch[envelope.lookup_hash] <= each.opened_at <= each.finished_at <= envelope.received_at
    assert actions(seeded)["response:entered"] == len(entered)
    assert actions(seeded)["response:moved"] == len(moved) == 1


def test_every_message_that_went_was_sent_by_the_outbox(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        sent = list(session.scalars(select(Message).where(Message.outcome == "sent")))
        waiting = session.scalar(select(func.count()).where(Message.done_at.is_(None)))
    assert len(sent) > 100 and waiting == 0
    assert all(each.lease_no >= 1 and each.tries >= 1 and each.leased_until is not None for each in sent)
    assert all(SENDERS_ID.fullmatch(each.message_id or "") for each in sent)


def test_the_transitions_are_those_that_a_status_computed_now_gives(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        last: dict[int, str] = {}
        for change in session.scalars(select(Transition).order_by(Transition.id)):
            last[change.timepoint_id] = change.status_after
        computed = {row.id: str(status_of(row, TODAY)) for row in session.scalars(select(Timepoint))}
    assert len(set(computed.values())) >= 7
    assert {row_id: last.get(row_id, "upcoming") for row_id in computed} == computed


def test_whatever_staff_did_stands_in_the_audit_trail(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        attempts = session.scalar(select(func.count()).select_from(ContactAttempt))
        settled = session.scalar(select(func.count()).where(Flag.settled_at.is_not(None)))
        patients = session.scalar(select(func.count()).select_from(Patient))
        operations = session.scalar(select(func.count()).select_from(Operation))
        links = session.scalar(select(func.count()).select_from(Link))
    found = actions(seeded)
    assert attempts and found["contact:tried"] == attempts
    assert settled and found["flag:settled"] == settled
    assert found["patient:enrolled"] == patients == links
    assert found["operation:entered"] == operations
