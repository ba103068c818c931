"""Today: whom to reach and why, safety answers first."""

from dataclasses import dataclass

from flask import render_template, request, url_for
from markupsafe import Markup
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import Patient, Shoulder
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.paging import At, offset_in
from server.staff.page.request_context import request_context, runtime
from server.staff.page.shoulder_rulers import read_rulers
from server.staff.page.unusable_plans import unusable_in_use
from server.staff.page.year_mark_drawing import draw_key
from server.texts.decision import what_waits
from server.words.phrase import phrase, phrase_in
from server.worklist import Worklist, WorkRow, list_work
from server.worklist.queries import KINDS

PAGE = 50
# What a filter's word in the address shows, and how the list calls it; a kind belongs to one word only.
FILTERS = {
    "safety": (phrase("Safety answers"), ("safety_answer",)),
    "held": (phrase("Held"), ("held",)),
    "locked": (phrase("Locked links"), ("locked_link",)),
    "check": (phrase("To check"), ("operated_elsewhere", "contact_change")),
    "baseline": (phrase("Before surgery"), ("surgery_passed", "baseline_missing")),
    "silent": (phrase("No answer"), ("non_responder",)),
    "overdue": (phrase("Overdue"), ("overdue",)),
    "back": (phrase("Not sent"), ("withheld",)),
    "open": (phrase("Open"), ("due",)),
}
QUIET = ("withheld", "due")  # no call helps
STATE = {
    "safety_answer": phrase_in("work", "safety answer"),
    "held": phrase_in("work", "held"),
    "locked_link": phrase_in("work", "link locked"),
    "operated_elsewhere": phrase_in("work", "to check"),
    "contact_change": phrase_in("work", "contact changed"),
    "surgery_passed": phrase_in("work", "done?"),
    "baseline_missing": phrase_in("work", "baseline missing"),
    "non_responder": phrase_in("work", "no answer"),
    "overdue": phrase_in("work", "overdue"),
    "withheld": phrase_in("work", "not sent"),
    "due": phrase_in("work", "open"),
}


@dataclass(frozen=True)
class Shown:
    """`row` in words."""

    row: WorkRow
    name: str
    title: str
    reason: str
    action: str
    state: str
    target: str
    person: str
    strip: Markup


def today() -> str:
    """The page of today: one page of the worklist, its filters, and what stays back."""
    word = request.args.get("kind", "")
    chosen = word if word in FILTERS else ""
    kinds = FILTERS[chosen][1] if chosen else KINDS
    offset = offset_in(request.args.get("from", ""))
    with reading() as session:
        work = list_work(
            session,
            today=request_context().today,
            now=request_context().now,
            kinds=kinds,
            limit=PAGE,
            offset=offset,
            library=runtime().library,
        )
        shown = _shown(session, work.rows)
        waiting, unusable = what_waits(session, runtime().library, request_context().today), unusable_in_use(session)
        empty = session.scalar(select(Patient.id).limit(1)) is None
    return render_template(
        "staff/today/today.html",
        heading=words.gettext("Nobody is enrolled yet") if empty else heading(work, offset, chosen),
        in_all=in_all(work),
        empty=empty,
        pressing=[each for each in shown if each.row.kind not in QUIET],
        back=[each for each in shown if each.row.kind == "withheld"],
        quiet=[each for each in shown if each.row.kind == "due"],
        filters=_filters(work.counts),
        chosen=chosen,
        at=At(offset, PAGE, work.total),
        key=draw_key(),
        waiting=waiting,
        unusable=unusable,
    )


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


def _shown(session: Session, rows: list[WorkRow]) -> list[Shown]:
    ids = {row.shoulder_id for row in rows if row.shoulder_id is not None}
    shoulders = session.scalars(select(Shoulder).where(Shoulder.id.in_(ids))).all()
    rulers = read_rulers(session, shoulders, today=request_context().today)
    return [
        Shown(
            row=row,
            name=row.name or words.gettext("Sender not known"),
            title=words.say(row.title),
            reason=words.spoken().sentences(row.reason),
            action=words.say(row.action),
            state=words.say(STATE[row.kind]),
            target=_target(row),
            person=_person(row),
            strip=rulers.get(row.shoulder_id or 0, Markup("")),
        )
        for row in rows
    ]


def _person(row: WorkRow) -> str:
    parts = [row.study_number, str(row.age) if row.age is not None else "", words.say(row.reach)]
    return " · ".join(part for part in (parts[0], ", ".join(part for part in parts[1:] if part)) if part)


def _target(row: WorkRow) -> str:
    """Where the row's button leads."""
    if row.kind == "withheld":
        return url_for("staff.texts", _anchor="decision")
    if row.flag_id is not None:
        return url_for("staff.flag", flag_id=row.flag_id)
    if row.envelope_id is not None:
        return url_for("staff.held_one", envelope_id=row.envelope_id)
    anchor = {"baseline_missing": "link", "locked_link": None, "due": None, "surgery_passed": "operations"}.get(
        row.kind, "form-attempts"
    )
    return url_for("staff.patient", patient_id=row.patient_id, timepoint=row.timepoint_id, _anchor=anchor)


def _filters(counts: dict[str, int]) -> list[tuple[str, str, int]]:
    found = [("", words.pgettext("kinds", "All"), sum(counts.values()))]
    found += [
        (word, words.say(name), sum(counts.get(kind, 0) for kind in kinds)) for word, (name, kinds) in FILTERS.items()
    ]
    return [each for each in found if each[2] or not each[0]]
