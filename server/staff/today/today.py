"""Today: whom to reach and why, safety answers first."""

from collections.abc import Sequence
from dataclasses import dataclass

from flask import render_template, request
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import Patient
from server.queries.restored import waits_for_release
from server.staff.page import words
from server.staff.page.attempt_form import AttemptForm, attempt_form
from server.staff.page.database import reading
from server.staff.page.paging import At, offset_in
from server.staff.page.request_context import request_context, runtime
from server.staff.page.today_place import TodayPlace, today_address
from server.staff.page.unusable_plans import unusable_in_use
from server.staff.page.year_mark_drawing import draw_key
from server.staff.today.safety import keep_who_was_shown, notices_about
from server.staff.today.today_rows import CALLED, Shown, next_key, shown_rows
from server.texts.decision import what_waits
from server.words.phrase import phrase
from server.worklist import Worklist, list_work
from server.worklist.queries import KINDS, SAID_KINDS

PAGE = 50
# What a filter's word in the address shows, and how the list calls it; a kind belongs to one word only.
FILTERS = {
    "safety": (phrase("Safety answers"), ("safety_answer",)),
    "said": (phrase("Said by patients"), SAID_KINDS),
    "held": (phrase("Held"), ("held",)),
    "locked": (phrase("Locked links"), ("locked_link",)),
    "check": (
        phrase("To check"),
        (
            "operated_elsewhere",
            "event_reported",
            "contact_change",
            "lost_proposal",
            "consent_again",
            "event_left_behind",
        ),
    ),
    "baseline": (phrase("Before surgery"), ("surgery_passed", "baseline_missing")),
    "silent": (phrase("No answer"), ("non_responder",)),
    "overdue": (phrase("Overdue"), ("overdue",)),
    "back": (phrase("Not sent"), ("withheld",)),
    "later": (phrase("Later"), ("later",)),
    "open": (phrase("Open"), ("due",)),
}
QUIET = ("withheld", "later", "due")  # no call helps, or none before its day


@dataclass(frozen=True)
class Opened:
    """The row in which a call is being written down."""

    key: str
    form: AttemptForm
    second_contact: str
    close: str


def today() -> str:
    """The page of today: one page of the worklist, its filters, and what stays back.

    `open` in the address names the row in which a call is written down, `at` the row to go on with after something was done.
    """
    word = request.args.get("kind", "")
    chosen = word if word in FILTERS else ""
    kinds = FILTERS[chosen][1] if chosen else KINDS
    offset = offset_in(request.args.get("from", ""))
    with reading() as session:
        work = list_work(
            session,
            today=request_context().today,
            now=request_context().now,
            cipher_of=runtime().keys.patient_cipher,
            kinds=kinds,
            limit=PAGE,
            offset=offset,
            library=runtime().library,
        )
        shown = shown_rows(session, work.rows, chosen, request.args.get("from", ""))
        opened = _opened(session, shown, chosen)
        waiting, unusable = what_waits(session, runtime().library, request_context().today), unusable_in_use(session)
        empty = session.scalar(select(Patient.id).limit(1)) is None
        about = _about(session, request.args.get("about", ""))
        told, restored = notices_about(session, work.rows), waits_for_release(session) is not None
    page = render_template(
        "staff/today/today.html",
        heading=words.gettext("Nobody is enrolled yet") if empty else heading(work, offset, chosen),
        in_all=in_all(work),
        empty=empty,
        pressing=[each for each in shown if each.row.kind not in QUIET],
        back=[each for each in shown if each.row.kind == "withheld"],
        later=[each for each in shown if each.row.kind == "later"],
        quiet=[each for each in shown if each.row.kind == "due"],
        opened=opened,
        about=about,
        here=next((each.key for each in shown if each.key == request.args.get("at")), ""),
        filters=_filters(work.counts),
        chosen=chosen,
        at=At(offset, PAGE, work.total),
        key=draw_key(),
        waiting=waiting,
        unusable=unusable,
        told=told,
        restored=restored,
    )
    keep_who_was_shown(work.rows)
    return page


def _about(session: Session, patient_id: str) -> str:
    """The name of whom the confirmation is about; empty where the address names nobody."""
    known = patient_id.isascii() and patient_id.isdigit() and len(patient_id) < 10
    patient = session.get(Patient, int(patient_id)) if known else None
    return f"{patient.first_name} {patient.last_name}" if patient else ""


def _opened(session: Session, shown: Sequence[Shown], kind: str) -> Opened | None:
    wanted = request.args.get("open", "")
    rows = [each.row for each in shown]
    for place, each in enumerate(shown):
        callable_ = each.row.kind in CALLED and each.row.may_be_called
        if each.key == wanted and callable_ and each.row.patient_id is not None:
            back = TodayPlace(kind, request.args.get("from", ""), next_key(rows, place))
            patient = session.get_one(Patient, each.row.patient_id)
            form = attempt_form(session, patient.id, today=request_context().today, hidden=back.fields(), focus=True)
            close = today_address(kind, back.offset, at=each.key)
            return Opened(each.key, form, patient.second_contact or "", close)
    return None


def heading(work: Worklist, offset: int, chosen: str = "") -> str:
    """Of one kind, how many there are of all. Else people, when this page holds everyone who needs a call; otherwise things, since
    one person may be listed twice.
    """
    if chosen:
        return words.gettext("%(kind)s: %(number)s of %(all)s") % {
            "kind": words.say(FILTERS[chosen][0]),
            "number": words.count_in_words(work.total) if work.total else words.gettext("none"),
            "all": words.count_in_words(sum(work.counts.values())),
        }
    waiting = _to_do(work)
    if waiting == 0:
        return words.gettext("Nobody to reach today")
    pressing = [row for row in work.rows if row.kind not in QUIET]
    if offset == 0 and len(pressing) == waiting:
        known = {row.patient_id for row in pressing if row.patient_id is not None}
        people = len(known) + sum(row.patient_id is None for row in pressing)
        return words.sentence(
            words.plural("%(count)s person to reach today", "%(count)s people to reach today", people)
        )
    return words.sentence(words.plural("%(count)s thing to do today", "%(count)s things to do today", waiting))


def in_all(work: Worklist) -> str:
    """What the heading counts and what the filter "All" counts, in one sentence; empty when the list is."""
    every, to_do = sum(work.counts.values()), _to_do(work)
    if not every:
        return ""
    if not to_do:
        return words.sentence(
            words.plural("%(count)s form needs no call yet.", "%(count)s forms need no call yet.", every)
        )
    if every == to_do:
        return words.sentence(words.plural("%(count)s thing to do in all.", "%(count)s things to do in all.", to_do))
    return words.gettext("%(things)s, and %(forms)s: %(all)s in all.") % {
        "things": words.sentence(words.plural("%(count)s thing to do", "%(count)s things to do", to_do)),
        "forms": words.plural(
            "%(count)s form that needs no call yet", "%(count)s forms that need no call yet", every - to_do
        ),
        "all": words.count_in_words(every),
    }


def _to_do(work: Worklist) -> int:
    return sum(count for kind, count in work.counts.items() if kind not in QUIET)


def _filters(counts: dict[str, int]) -> list[tuple[str, str, int]]:
    found = [("", words.pgettext("kinds", "All"), sum(counts.values()))]
    found += [
        (word, words.say(name), sum(counts.get(kind, 0) for kind in kinds)) for word, (name, kinds) in FILTERS.items()
    ]
    return [each for each in found if each[2] or not each[0]]
