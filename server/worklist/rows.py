"""The rows of one page: what was found, with the person and a reason in words. Names are opened here and only here."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy import Row, bindparam, func, select
from sqlalchemy.orm import Session, aliased

from scoring.library import Library
from server.models import (
    Clinic,
    Envelope,
    Flag,
    FollowUp,
    GateTries,
    Link,
    Operation,
    Patient,
    Shoulder,
    Timepoint,
)
from server.queries.chosen import Asked, Chosen, CipherOf, chosen_options
from server.queries.clock import clinic_day
from server.queries.facts import last_day_of, withdrew
from server.queries.flags import one_thing
from server.words import labels
from server.words.phrase import Phrase, counted_phrase, phrase
from server.words.times import ago
from server.worklist import words
from server.worklist.contact_history import ContactTried, contact_tried
from server.worklist.queries import OPEN_KINDS, WorkItem
from server.worklist.reach import has_died, is_sent_to, reached

AnyRow = Row[*tuple[Any, ...]]

PERSON: tuple[Any, ...] = (
    Patient.id.label("patient_id"),
    Patient.study_number,
    Patient.first_name,
    Patient.last_name,
    Patient.birth_on,
    Patient.channel_order,
    Patient.email.is_not(None).label("has_email"),
    Patient.phone,
    Patient.phone.is_not(None).label("has_phone"),
    Patient.address.is_not(None).label("has_address"),
    Patient.second_contact.is_not(None).label("has_second_contact"),
    Patient.messages_stopped_on,
    Patient.withdrew_on,
    Patient.withdrawal_extent,
    Patient.records_closed_on,
    Patient.erasure_asked_on,
    Patient.died_on,
    Patient.died_certainty,
    Patient.capacity_lost_on,
    Patient.capacity_then,
)
WITHHELD = (Timepoint.withheld_on, Timepoint.withheld_texts)
FACTS = (
    *WITHHELD,
    Timepoint.invites_on,
    Timepoint.due_on,
    Timepoint.closes_on,
    Timepoint.anchor_on,
    Timepoint.opens_on,
    Timepoint.last_try,
    Timepoint.again_on,
    Timepoint.drawn_on,
)
PLACE = (Shoulder.id.label("shoulder_id"), Shoulder.side, Timepoint.code)


@dataclass(frozen=True)
class WorkRow:
    """One thing for a person to do. `reason` says what, why and for how long, in sentences; `days_left` until the window closes.

    `patient_id` is None and `name` empty for a held form whose sender is not known. `flag_ids`: all flags that this row settles together.
    `urgent`: a death is told in what is held. `no_messages`, `no_contact`: what the patient asked not to get any more.
    `no_consent`: no message goes about it, as no consent to contact stands. `died`: for sure, so nobody calls them.
    """

    kind: str
    patient_id: int | None
    study_number: str
    name: str
    age: int | None
    reach: Phrase | str
    side: str | None
    timepoint: str | None
    title: Phrase | str
    reason: tuple[Phrase, ...]
    days_left: int | None
    since: date | None
    action: Phrase
    phone: str = ""
    shoulder_id: int | None = None
    timepoint_id: int | None = None
    flag_id: int | None = None
    flag_ids: tuple[int, ...] = ()
    envelope_id: int | None = None
    urgent: bool = False
    no_messages: bool = False
    no_contact: bool = False
    no_consent: bool = False
    died: bool = False

    @property
    def may_be_called(self) -> bool:
        return not (self.no_contact or self.died)


@dataclass(frozen=True)
class _Page:
    session: Session
    clinic: Clinic
    library: Library
    cipher_of: CipherOf
    today: date
    now: datetime


def describe(
    session: Session,
    found: Sequence[WorkItem],
    *,
    clinic: Clinic,
    library: Library,
    cipher_of: CipherOf,
    today: date,
    now: datetime,
) -> list[WorkRow]:
    """A row for each thing found, in the same order; what vanished meanwhile is left out."""
    page = _Page(session, clinic, library, cipher_of, today, now)
    rows: dict[WorkItem, WorkRow] = {}
    rows.update(_open_rows(page, [each for each in found if each.kind in OPEN_KINDS]))
    rows.update(_flag_rows(page, [each for each in found if each.kind in _FLAG_REASONS]))
    rows.update(_passed_rows(page, [each for each in found if each.kind == "surgery_passed"]))
    rows.update(_held_rows(page, [each for each in found if each.kind == "held"]))
    rows.update(_locked_rows(page, [each for each in found if each.kind == "locked_link"]))
    return [rows[each] for each in found if each in rows]


_OPEN = (
    select(Timepoint.id.label("timepoint_id"), *FACTS, *PLACE, *PERSON)
    .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    .join(Operation, Operation.id == FollowUp.operation_id)
    .join(Shoulder, Shoulder.id == Operation.shoulder_id)
    .join(Patient, Patient.id == Timepoint.patient_id)
    .where(Timepoint.id.in_(bindparam("ids", expanding=True)))
)


def _open_rows(page: _Page, found: Sequence[WorkItem]) -> Iterable[tuple[WorkItem, WorkRow]]:
    if not found:
        return []
    kinds = {each.id: each for each in found}
    rows = page.session.execute(_OPEN, {"ids": list(kinds)}).all()
    tried = contact_tried(page.session, {row.patient_id for row in rows}, kinds)
    return [(kinds[row.timepoint_id], _open_row(page, kinds[row.timepoint_id].kind, row, tried)) for row in rows]


def _open_row(page: _Page, kind: str, row: AnyRow, tried: ContactTried) -> WorkRow:
    last_day = last_day_of(row) if kind in ("baseline_missing", "later") else row.closes_on
    left = None if last_day is None else max(0, (last_day - page.today).days)
    consents = row.patient_id in tried.consenting
    reason = _open_reason(page, kind, row, last_day, tried)
    return _row(
        page,
        kind,
        row,
        reason,
        consents=consents,
        days_left=left,
        since=row.due_on if row.due_on < page.today else row.opens_on,
        shoulder_id=row.shoulder_id,
        timepoint_id=row.timepoint_id,
    )


def _open_reason(page: _Page, kind: str, row: AnyRow, last_day: date | None, tried: ContactTried) -> tuple[Phrase, ...]:
    consents = row.patient_id in tried.consenting
    sent = words.messages(
        tried.outcomes.get(row.timepoint_id, {}), row.messages_stopped_on, consents=consents, by_itself=is_sent_to(row)
    )
    called = words.calls(tried.calls_since(row.patient_id, row.opens_on, page.clinic, row.timepoint_id), page.today)
    time_left = words.days_left(last_day, page.today)
    if kind == "withheld":
        ids = (row.withheld_texts or "").split(",")
        held_back = phrase(
            "stays back since %(day)s: %(why)s, so the link does not show it",
            day=row.withheld_on,
            why=words.kept_back(ids),
        )
        return held_back, time_left, phrase("A data manager settles that, not the patient.")
    if kind == "later":
        was_drawn = None if row.drawn_on is None else phrase("Drawn by lot: pursued to the end.")
        return _together(called or sent, words.rest(row.last_try, row.again_on), was_drawn, time_left)
    if kind == "baseline_missing":
        why = phrase("Without an answer before surgery no change can be shown.")
        return _together(_surgery_words(row.anchor_on, page.today), sent, called, why)
    if kind == "non_responder":
        second = phrase("A second contact is known.") if row.has_second_contact else None
        lot = None if row.drawn_on is None else phrase("Drawn by lot: pursued to the end, before the others.")
        return _together(sent, lot, time_left, called, second)
    if kind == "overdue":
        was_due = phrase("was due %(when)s; %(sent)s", when=words.days_ago(row.due_on, page.today), sent=sent)
        return _together(was_due, time_left, called)
    return _together(_due_words(row, page.today, sent, consents), time_left, called)


def _together(*parts: Phrase | None) -> tuple[Phrase, ...]:
    return tuple(part for part in parts if part is not None)


def _surgery_words(planned_on: date | None, today: date) -> Phrase:
    if planned_on is None:
        return phrase("no day of surgery yet")
    days = (planned_on - today).days
    if days < 0:
        return phrase("surgery was planned for %(day)s; was it done?", day=planned_on)
    if days in (0, 1):
        return phrase("surgery tomorrow") if days else phrase("surgery today")
    return counted_phrase(
        "surgery on %(day)s, in %(number)s day", "surgery on %(day)s, in %(number)s days", days, day=planned_on
    )


def _due_words(row: AnyRow, today: date, sent: Phrase, consents: bool) -> Phrase:
    if row.invites_on > today and row.messages_stopped_on is None and consents and is_sent_to(row):
        return phrase(
            "open since %(opens)s; the first message goes on %(invites)s", opens=row.opens_on, invites=row.invites_on
        )
    return phrase("to be answered by %(day)s; %(sent)s", day=row.due_on, sent=sent)


_FLAG_REASONS = {
    "safety_answer": phrase("answered %(ago)s with a warning: %(topics)s. Nobody here has settled it yet"),
    "operated_elsewhere": phrase(
        "said %(ago)s that this shoulder was operated on again. Confirm the date, the place and what was done"
    ),
    "event_reported": phrase(
        "reported %(ago)s: %(topics)s. It was not in the last two weeks; find out what it was, and note it"
    ),
    "lost_proposal": phrase(
        "two years in a row without an answer, after every reminder and call. Confirm that they are lost, or say why"
        " not"
    ),
    "consent_again": phrase("is of age now: a consent that somebody else gave is to be asked for again"),
    "event_left_behind": phrase(
        "the answers in which a confirmed event was first said were set aside, or moved, %(ago)s: %(topics)s."
        " Does the event stand on its own?"
    ),
    "contact_change": phrase("said %(ago)s that the ways to reach them changed. Enter the new ones"),
    "said_died": phrase(
        "it was said %(ago)s that this person has died. No message goes out until it is entered or undone"
    ),
    "asked_for_call": phrase("asked %(ago)s to be called"),
    "asked_to_stop": phrase("asked %(ago)s for no more messages. None goes out until it is settled"),
    "said_wrong_person": phrase("said %(ago)s that the form is for another person. Whose link went where?"),
    "said_wrong_side": phrase("said %(ago)s that the form names the wrong shoulder"),
    "said_wrong_date": phrase("said %(ago)s that the day of the operation is wrong"),
}
# The same where nobody may ask.
_UNASKED_REASONS = {
    **_FLAG_REASONS,
    "operated_elsewhere": phrase("said %(ago)s that this shoulder was operated on again"),
    "event_reported": phrase("reported %(ago)s: %(topics)s. It was not in the last two weeks"),
    "consent_again": phrase("is of age now: a consent that somebody else gave is no longer one"),
}
# No matter in which form it was said.
_OF_THE_PERSON = ("said_died", "asked_to_stop", "said_wrong_person", "lost_proposal", "consent_again")
_TRUE_SIDE = {"left": phrase("It is the left one, they say."), "right": phrase("It is the right one, they say.")}


def _flag_rows(page: _Page, found: Sequence[WorkItem]) -> Iterable[tuple[WorkItem, WorkRow]]:
    if not found:
        return []
    query = (
        select(
            Flag.id.label("flag_id"),
            Flag.kind,
            Flag.response_id,
            Flag.item,
            Flag.true_side,
            Flag.raised_at,
            Flag.timepoint_id,
            *PLACE,
            *PERSON,
        )
        .join(Patient, Patient.id == Flag.patient_id)
        .outerjoin(Timepoint, Timepoint.id == Flag.timepoint_id)
        .outerjoin(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .outerjoin(Operation, Operation.id == FollowUp.operation_id)
        .outerjoin(Shoulder, Shoulder.id == Operation.shoulder_id)
        .where(Flag.settled_at.is_(None), Flag.kind.in_(_FLAG_REASONS))
        .order_by(Flag.id)
    )
    wanted = {each.id: each for each in found}
    firsts = select(Flag.patient_id).where(Flag.id.in_(wanted))
    things: dict[tuple[Any, ...], list[AnyRow]] = {}
    for row in page.session.execute(query.where(Flag.patient_id.in_(firsts))):
        things.setdefault(one_thing(row, row.flag_id), []).append(row)
    tried = contact_tried(page.session, [rows[0].patient_id for rows in things.values()], ())
    shown = [rows for rows in things.values() if rows[0].flag_id in wanted]
    asked = {(row.response_id, row.item) for rows in shown for row in rows if row.response_id and row.item}
    options = chosen_options(page.session, asked, page.cipher_of, page.library)
    return [(wanted[rows[0].flag_id], _flag_row(page, rows, tried, options)) for rows in shown]


def _flag_row(page: _Page, rows: list[AnyRow], tried: ContactTried, options: Mapping[Asked, Chosen]) -> WorkRow:
    first = rows[0]
    since = clinic_day(page.clinic, first.raised_at)
    asked = [(row.item, options.get((row.response_id, row.item))) for row in rows if row.item]
    chosen = [each for _item, each in asked] if first.kind == "safety_answer" else []
    topics = words.topics(asked, page.library)
    unasked = _who_is_not_asked(first)
    reasons = _FLAG_REASONS if unasked is None else _UNASKED_REASONS
    reason = replace(reasons[first.kind], values={"ago": ago(first.raised_at, page.now), "topics": topics})
    shown = _row(
        page,
        first.kind,
        first,
        _together(
            reason,
            words.unread(chosen),
            words.emergency(chosen),
            unasked,
            _TRUE_SIDE.get(first.true_side or ""),
            words.calls(tried.calls_since(first.patient_id, since, page.clinic), page.today),
        ),
        since=since,
        shoulder_id=first.shoulder_id,
        timepoint_id=first.timepoint_id,
        flag_id=first.flag_id,
        flag_ids=tuple(row.flag_id for row in rows),
    )
    return replace(shown, title="") if first.kind in _OF_THE_PERSON else shown


def _who_is_not_asked(row: AnyRow) -> Phrase | None:
    """What is still right to do about a flag where the patient has died, or wants no contact."""
    if row.died_on is not None:
        return phrase("has died, so this is settled with what is known here")
    withdrawn = withdrew(row)
    if withdrawn is None:
        return None
    asked, day = labels.WITHDRAWN[withdrawn[0]], withdrawn[1]
    if row.kind == "safety_answer":
        return phrase(
            "%(asked)s on %(day)s: the surgeon decides whether care, not research, requires a call",
            asked=asked,
            day=day,
        )
    return phrase("%(asked)s on %(day)s, so nobody calls or writes to ask", asked=asked, day=day)


def _passed_rows(page: _Page, found: Sequence[WorkItem]) -> Iterable[tuple[WorkItem, WorkRow]]:
    if not found:
        return []
    query = (
        select(
            Operation.id.label("operation_id"),
            Operation.surgery_planned_on,
            Shoulder.id.label("shoulder_id"),
            Shoulder.side,
            *PERSON,
        )
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .join(Patient, Patient.id == Shoulder.patient_id)
        .where(Operation.id.in_([each.id for each in found]))
    )
    return [
        (WorkItem("surgery_passed", row.operation_id), _passed_row(page, row)) for row in page.session.execute(query)
    ]


def _passed_row(page: _Page, row: AnyRow) -> WorkRow:
    reason = (
        _surgery_words(row.surgery_planned_on, page.today),
        phrase(
            "Until it is entered as done, moved or cancelled, no form after surgery comes, and nobody is asked about the wound"
        ),
    )
    return _row(page, "surgery_passed", row, reason, since=row.surgery_planned_on, shoulder_id=row.shoulder_id)


_other = aliased(Envelope)
_ALIKE = (
    select(func.count(_other.id))
    .where(
        _other.lookup_hash == Envelope.lookup_hash,
        _other.held_reason == Envelope.held_reason,
        _other.held_notice.is_not_distinct_from(Envelope.held_notice),
        _other.state == "held",
    )
    .scalar_subquery()
    .label("alike")
)


_HELD_NOTICES = {
    "said_died": phrase(
        "somebody said %(ago)s that this person has died, but %(why)s. No message goes out until it is accepted or settled"
    ),
    "asked_to_stop": phrase(
        "somebody asked %(ago)s for no more messages, but %(why)s. None goes out until it is accepted or settled"
    ),
}
_HELD_NOTICE = phrase("something was said beside a form %(ago)s and is kept, but %(why)s")


def _held_rows(page: _Page, found: Sequence[WorkItem]) -> Iterable[tuple[WorkItem, WorkRow]]:
    if not found:
        return []
    query = (
        select(
            Envelope.id.label("envelope_id"),
            Envelope.received_at,
            Envelope.held_reason,
            Envelope.held_notice,
            _ALIKE,
            *PERSON,
        )
        .outerjoin(Link, Link.lookup_hash == Envelope.lookup_hash)
        .outerjoin(Patient, Patient.id == Link.patient_id)
        .where(Envelope.id.in_([each.id for each in found]))
    )
    return [(WorkItem("held", row.envelope_id), _held_row(page, row)) for row in page.session.execute(query)]


def _held_row(page: _Page, row: AnyRow) -> WorkRow:
    when = ago(row.received_at, page.now)
    why = words.HELD.get(row.held_reason or "", phrase("the reason was not noted"))
    reason = counted_phrase(
        "a form came %(ago)s and is kept, but %(why)s",
        "%(count)s forms came, the first %(ago)s, and are kept; of each, %(why)s",
        max(row.alike, 1),
        ago=when,
        why=why,
    )
    if row.held_notice is not None:
        reason = replace(_HELD_NOTICES.get(row.held_notice, _HELD_NOTICE), values={"ago": when, "why": why})
    since, urgent = clinic_day(page.clinic, row.received_at), row.held_notice == "said_died"
    return _row(page, "held", row, (reason,), since=since, envelope_id=row.envelope_id, urgent=urgent)


def _locked_rows(page: _Page, found: Sequence[WorkItem]) -> Iterable[tuple[WorkItem, WorkRow]]:
    if not found:
        return []
    query = (
        select(GateTries.locked_at, GateTries.failures, *PERSON)
        .join(Patient, Patient.handle == GateTries.handle)
        .where(Patient.id.in_([each.id for each in found]))
    )
    return [(WorkItem("locked_link", row.patient_id), _locked_row(page, row)) for row in page.session.execute(query)]


def _locked_row(page: _Page, row: AnyRow) -> WorkRow:
    reason = (
        counted_phrase(
            "%(count)s wrong birth date in a row; the link was shut %(ago)s",
            "%(count)s wrong birth dates in a row; the link was shut %(ago)s",
            row.failures,
            ago=ago(row.locked_at, page.now),
        ),
        phrase("It stays shut until someone here opens it. Is the birth date on file right?"),
    )
    return _row(page, "locked_link", row, reason, since=clinic_day(page.clinic, row.locked_at))


def _row(
    page: _Page, kind: str, row: AnyRow, reason: tuple[Phrase, ...], *, consents: bool = True, **rest: Any
) -> WorkRow:
    known = row.patient_id is not None
    side, code = getattr(row, "side", None), getattr(row, "code", None)
    no_messages, no_contact = known and row.messages_stopped_on is not None, known and row.withdrew_on is not None
    died = known and has_died(row)
    return WorkRow(
        kind=kind,
        patient_id=row.patient_id,
        study_number=row.study_number or "",
        name=f"{row.first_name} {row.last_name}" if known else "",
        age=words.age(row.birth_on, page.today) if known else None,
        reach=reached(row, consents, page.today) if known else "",
        side=side,
        timepoint=code,
        title=words.title(side, code),
        reason=reason,
        action=words.action(kind, no_messages=no_messages, no_contact=no_contact or died, no_consent=not consents),
        phone="" if no_contact or died else row.phone or "",
        no_messages=no_messages,
        no_contact=no_contact,
        no_consent=not consents,
        died=died,
        **{"days_left": None, "since": None, **rest},
    )
