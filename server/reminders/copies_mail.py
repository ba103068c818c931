"""Tells the data managers by mail that copies have stopped: a timer that fails at night is seen by nobody.

By the age of the newest copy, whatever the reason: a disk that is full, a timer that was never set up, keys that are gone. The mail
names nobody and no place. It goes again each week until data and keys are copied; what was told stands in the trail.
"""

from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.config import Settings
from server.models import AuditEntry, Clinic, Patient, Restoration, StaffAccount
from server.queries.clock import the_clinic
from server.queries.copies import newest_copy
from server.reminders.channels.contract import TransportProblem
from server.reminders.channels.email.compose import PlainMail
from server.reminders.failures import log
from server.reminders.staff_mail import new_message_id, send_to_staff
from server.store.engine import Store
from server.trust.audit import audit
from server.words.language import Words

OLDEST = timedelta(days=3)  # of copies that are made each night
AGAIN = timedelta(days=7)
TOLD = "backup:late_told"


def tell_of_late_copies(store: Store, settings: Settings, *, now: datetime) -> int:
    """How many mails left. Noted once one did: a power cut in between sends them once more, a mail server that is away is tried again."""
    with store.reading() as session:
        clinic = the_clinic(session)
        if clinic.mode != "live" or not copies_are_late(session, now) or _was_told(session, now):
            return 0
        mails = [_mail(clinic, account, now) for account in _managers(session)]
    sent = sum(_left(settings, clinic, mail) for mail in mails)
    if sent:
        with store.writing() as session:
            audit(session, TOLD, "clinic 1", now=now, mails=sent)
    return sent


def copies_are_late(session: Session, now: datetime) -> bool:
    """Where nothing was copied yet, counted from the first patient, or from the restore, which knows of no later copy."""
    begun = session.scalar(select(func.min(Patient.made_at)))
    if begun is None:
        return False
    restored = session.scalar(select(func.max(Restoration.restored_at)))
    copies = [newest_copy(session, kind) for kind in ("data", "keys")]
    known = [[copy.made_at if copy else begun, *([restored] if restored else [])] for copy in copies]
    return any(max(instants) < now - OLDEST for instants in known)


def _was_told(session: Session, now: datetime) -> bool:
    told = select(AuditEntry.id).where(AuditEntry.action == TOLD, AuditEntry.at > now - AGAIN)
    return session.scalar(told.limit(1)) is not None


def _managers(session: Session) -> list[StaffAccount]:
    """Who can sign in and see to it."""
    managers = select(StaffAccount).where(
        StaffAccount.role == "data_manager", StaffAccount.disabled_at.is_(None), StaffAccount.password_hash.is_not(None)
    )
    return list(session.scalars(managers.order_by(StaffAccount.id)))


def _left(settings: Settings, clinic: Clinic, mail: PlainMail) -> bool:
    try:
        send_to_staff(settings, clinic.mail_from, mail)
    except TransportProblem as problem:
        log.warning("mail about late copies: %s", problem.summary)
        return False
    return True


def _mail(clinic: Clinic, account: StaffAccount, now: datetime) -> PlainMail:
    words = Words("staff", account.language or clinic.languages.split(",")[0])
    paragraphs = (
        words.gettext(
            "The clinic's data, or its keys, were not copied for more than three days. If the machine dies now, what came in since is "
            "lost."
        ),
        words.gettext("When each was last copied stands on the page Backups:") + f"\n{clinic.base_url}/backups",
        words.gettext(
            "Why stands in the log of the machine: ask whoever looks after it. This mail comes once a week until both are copied again."
        ),
    )
    return PlainMail(
        message_id=new_message_id(clinic.base_url),
        to=account.email,
        language=words.language,
        subject=words.gettext("The clinic was not copied for days"),
        text="\n\n".join(paragraphs) + "\n",
        written_at=now,
    )
