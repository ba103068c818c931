"""The sender. One message after another, each sent outside any transaction.

Each message is put in the outbox exactly once and leaves at least once: a sender killed between sending and noting it down
leaves a lease that runs out, and the message goes again with the same Message-ID.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from enum import Enum, auto

from scoring.library import Library
from server.reminders.channels.contract import Channel, TransportProblem
from server.reminders.claim import Claim, claim_one
from server.reminders.failures import log
from server.reminders.lease import finish, put_off
from server.reminders.link_service import LinkFunctions, LinkService
from server.store.engine import Store

# At a pass every 20 seconds thirty a minute, which a small clinic's mail provider takes; more it puts off or takes for junk, and the
# telephone rings for each. A morning of 500 is through in 17 minutes.
MOST_IN_A_PASS = 10
MOST_FAILURES_IN_A_ROW = 3  # then it is not the address; the next pass tries again


class Became(Enum):
    SENT = auto()
    REFUSED = auto()  # for good: this patient cannot be reached so
    PUT_OFF = auto()


def send_waiting(
    store: Store,
    library: Library,
    links: LinkFunctions,
    channels: Mapping[str, Channel],
    *,
    clock: Callable[[], datetime],
    most: int | None = None,
) -> int:
    """Sends until nothing waits, `most` were tried, or three tries in a row were put off; returns how many messages left.

    `clock` is asked before each, so that a slow mail server does not eat up the leases of those at the end.
    """
    link_service, sent, tried, put_off_in_a_row = LinkService(library, links), 0, 0, 0
    while put_off_in_a_row < MOST_FAILURES_IN_A_ROW and (most is None or tried < most):
        became = _send_one(store, link_service, channels, clock())
        tried += 1
        if became is None:
            break
        sent += became is Became.SENT
        put_off_in_a_row = put_off_in_a_row + 1 if became is Became.PUT_OFF else 0
    return sent


def _send_one(store: Store, link_service: LinkService, channels: Mapping[str, Channel], now: datetime) -> Became | None:
    """None when nothing waits. What should go no more is let go on the way."""
    claim = claim_one(store, link_service, channels.keys(), now=now)
    while claim is not None and claim.notice is None:
        claim = claim_one(store, link_service, channels.keys(), now=now)
    return None if claim is None else _send(store, channels[claim.channel], claim, now)


def _send(store: Store, channel: Channel, claim: Claim, now: datetime) -> Became:
    if claim.notice is None:
        raise ValueError("a claim without a notice has nothing to send")
    try:
        channel.send(claim.notice)
    except TransportProblem as problem:
        return _failed(store, claim, problem, now)
    with store.writing() as session:
        finished = finish(session, claim.lease, "sent", now=now)
    if finished < len(claim.rows):
        log.warning("message %s was sent under a lease that had run out", claim.rows[0])
    return Became.SENT


def _failed(store: Store, claim: Claim, problem: TransportProblem, now: datetime) -> Became:
    log.warning("message %s: %s", claim.rows[0], problem.summary)
    with store.writing() as session:
        if problem.permanent:
            finish(session, claim.lease, "channel_failed", now=now, summary=problem.summary)
            return Became.REFUSED
        put_off(session, claim.lease, problem.summary, now=now)
        return Became.PUT_OFF
