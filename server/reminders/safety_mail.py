"""Sends the notices of the safety net, one after another, each outside any transaction: put out exactly once, sent at least once.

A mail names nobody and tells no answer, since it lies on other people's machines: where to look, and that Yearmark watches nobody.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import or_, select, update
from sqlalchemy.orm import Session

from server.config import Settings
from server.models import Clinic, SafetyNotice, StaffAccount
from server.queries.clock import the_clinic
from server.queries.safety_net import is_unseen, reader_of
from server.reminders.channels.contract import TransportProblem
from server.reminders.channels.email.compose import PlainMail
from server.reminders.failures import log
from server.reminders.lease import LEASE, MOST_TRIES, WAITS
from server.reminders.staff_mail import send_to_staff
from server.store.engine import Store
from server.words.language import Words


@dataclass(frozen=True)
class Claimed:
    """A notice that this sender holds under its lease number, and the mail; None when there was nothing left to say."""

    id: int
    lease_no: int
    tries: int
    clinics_sender: str | None
    mail: PlainMail | None


def send_notices(store: Store, settings: Settings, *, clock: Callable[[], datetime]) -> int:
    """Sends what waits until nothing does or a try fails, which the next pass makes again; returns how many left."""
    sent = 0
    while (claimed := _claim(store, clock())) is not None:
        if claimed.mail is None:
            continue
        try:
            send_to_staff(settings, claimed.clinics_sender, claimed.mail)
        except TransportProblem as problem:
            log.warning("safety notice %s: %s", claimed.id, problem.summary)
            _failed(store, claimed, problem, clock())
            if not problem.permanent:
                break
            continue
        _finish(store, claimed, "sent", clock())
        sent += 1
    return sent


def _claim(store: Store, now: datetime) -> Claimed | None:
    """Takes the oldest that waits and looks once more whether it should go. None when none waits."""
    waits = (
        SafetyNotice.done_at.is_(None),
        or_(SafetyNotice.leased_until.is_(None), SafetyNotice.leased_until <= now),
    )
    oldest = select(SafetyNotice).where(*waits).order_by(SafetyNotice.id).limit(1)
    with store.reading() as session:
        if session.scalars(oldest).first() is None:
            return None
    with store.writing() as session:
        row = session.scalars(oldest.with_for_update(skip_locked=True)).first()
        if row is None:
            return None
        row.lease_no, row.tries, row.leased_until = row.lease_no + 1, row.tries + 1, now + LEASE
        clinic, account = the_clinic(session), reader_of(session, row.account_id)
        outcome = _why_not(session, row, account)
        if outcome is not None or account is None:
            row.outcome, row.done_at = outcome, now
            return Claimed(row.id, row.lease_no, row.tries, None, None)
        return Claimed(row.id, row.lease_no, row.tries, clinic.mail_from, safety_mail(clinic, account, row, now))


def _why_not(session: Session, row: SafetyNotice, account: StaffAccount | None) -> str | None:
    if account is None:
        return "nobody"
    if not is_unseen(session, row.flag_id):
        return "seen"
    return "failed" if row.tries > MOST_TRIES else None  # its senders died every time


def _failed(store: Store, claimed: Claimed, problem: TransportProblem, now: datetime) -> None:
    if problem.permanent or claimed.tries >= MOST_TRIES:
        _finish(store, claimed, "failed", now, problem.summary)
        return
    until = now + WAITS[claimed.tries - 1]
    _write(store, claimed, leased_until=until, last_problem=problem.summary[:200])


def _finish(store: Store, claimed: Claimed, outcome: str, now: datetime, summary: str | None = None) -> None:
    _write(store, claimed, outcome=outcome, done_at=now, last_problem=summary[:200] if summary else None)


def _write(store: Store, claimed: Claimed, **values: object) -> None:
    """Nothing where another sender has taken it over meanwhile."""
    held = (SafetyNotice.id == claimed.id, SafetyNotice.lease_no == claimed.lease_no, SafetyNotice.done_at.is_(None))
    with store.writing() as session:
        session.execute(update(SafetyNotice).where(*held).values(**values))


def safety_mail(clinic: Clinic, account: StaffAccount, row: SafetyNotice, now: datetime) -> PlainMail:
    """In the language of the account. It would be the same for any patient and any answer."""
    words = Words("staff", account.language or clinic.languages.split(",")[0])
    paragraphs = (
        words.gettext("Something for safety waits on Today, and nobody has been shown it there since it came."),
        words.gettext("Please open Today, or ask somebody who can:") + f"\n{clinic.base_url}/today",
        words.gettext("This mail holds no name and no answer. What waits is seen on Today alone, after signing in."),
        words.gettext(
            "Yearmark watches nobody. This mail is a net and no watch: it can come late or not at all. The rules of your clinic "
            "and your own judgement come first."
        ),
    )
    return PlainMail(
        message_id=row.message_id,
        to=account.email,
        language=words.language,
        subject=words.gettext("Something for safety waits on Today"),
        text="\n\n".join(paragraphs) + "\n",
        written_at=now,
    )
