"""Died, withdrew so far, moved to another clinic; and each of these taken back when it was entered for the wrong person."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from flask import abort, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic import consents, leaving, withdrawal
from server.clinic.majority import of_age_on
from server.fields.check import CheckedEntry, EntryRefused, in_english
from server.fields.person import (
    CONSENT_BY,
    DEATH,
    DEATH_CERTAINTIES,
    DEATH_SOURCES,
    ENDS,
    HOW_EXACTLY,
    LEAVING,
    WITHDRAWAL_EXTENTS,
)
from server.links.make import end_links, revive_link
from server.models import Patient
from server.queries.clock import the_clinic
from server.queries.facts import left_on
from server.staff.mending.acts import Shown, is_ticked, mend, read, show, the_reason
from server.staff.page import words
from server.staff.page.asked_about import digests, has_checked
from server.staff.page.request_context import request_context, signed_in
from server.words.phrase import Phrase, phrase


@dataclass(frozen=True)
class ActWords:
    """One thing that can be entered: how it is chosen, what its page is called, and what follows from it."""

    choice: Phrase
    title: Phrase
    follows: Phrase


ACTS = {
    "died": ActWords(
        phrase("The patient died"),
        phrase("The patient died"),
        phrase(
            "Nothing more is expected from that day on, the link ends, and no message goes out. What was answered stays."
        ),
    ),
    "withdrew": ActWords(
        phrase("The patient wants no more messages, no more contact, or more than that"),
        phrase("The patient withdraws"),
        phrase("What ends depends on how far it goes. What was answered stays."),
    ),
    "transferred": ActWords(
        phrase("Another clinic follows the patient"),
        phrase("Another clinic follows the patient"),
        phrase(
            "Nothing more is expected here from that day on, the link ends, and no message goes out. What was answered stays."
        ),
    ),
}
FOLLOWS = {
    "messages": phrase("Forms and the link stay open, and every consent stands."),
    "contact": phrase("Nothing more is expected, the link ends, and the consent to being contacted ends."),
    "records": phrase("No contact either; nothing from that day on is written down, and the consent to linkage ends."),
    "erasure": phrase(
        "Nothing is sent or written down either, and the consent to research ends: the figures only count this person."
    ),
}
# By the extent; all else ends the link and no more.
_DONE = {"messages": "messages-stopped", "erasure": "erasure-asked"}


def leave_page(patient_id: int) -> str:
    return show(patient_id, _page)


def leave(patient_id: int) -> AnyResponse:
    """Enters the end; a withdrawal says how far it goes, and only the first step leaves the link open."""

    def change(session: Session, patient: Patient) -> None:
        if request.form.get("reason") not in ENDS:
            raise EntryRefused({"reason": [words.gettext("Choose what happened.")]})
        if not is_ticked("sure"):
            raise EntryRefused({"sure": [words.gettext("Look who it is, and tick that you are sure.")]})
        entry = read(LEAVING, request.form, born=patient.birth_on)
        reason, day = entry.text("reason"), entry.day("leave-on")
        if reason is None or day is None:
            abort(400)
        when = {"now": request_context().now, "today": request_context().today, "by_id": signed_in().id}
        if reason == "died":
            told = _death()
            _once_checked(lambda sure: leaving.patient_died(session, patient, day, told=told, checked=sure, **when))  # type: ignore[arg-type]
        elif reason == "transferred":
            _once_checked(lambda sure: leaving.transferred(session, patient, day, checked=sure, **when))  # type: ignore[arg-type]
        else:
            extent = request.form.get("extent", "")
            if extent not in WITHDRAWAL_EXTENTS:
                raise EntryRefused({"extent": [words.gettext("Ask how far it goes, and choose it.")]})
            why = request.form.get("note", "").strip()[:200] or None
            wish = withdrawal.Wish(extent, why, *_by_whom(session, patient, entry, day))
            withdrawal.withdraw(session, patient, day, wish, **when)  # type: ignore[arg-type]
        if left_on(patient) is not None:
            end_links(session, patient, now=request_context().now)

    done = _DONE.get(request.form.get("extent", ""), "left") if request.form.get("reason") == "withdrew" else "left"
    return mend(patient_id, change, page=_page, done=done, form="leave")


def _once_checked(end: Callable[[bool], None]) -> None:
    """Enters the end; where something of a later day speaks against it, only once somebody has checked what the page showed of it."""
    try:
        end(False)
    except EntryRefused as asked:
        later = asked.errors.get("checked")
        if later is None or not has_checked(in_english(later), request.form):
            raise
        end(True)


def _death() -> leaving.DeathTold:
    """Raises EntryRefused until it is said who told of it and how sure it is."""
    entry = read(DEATH, request.form)
    return leaving.DeathTold(
        entry.text("died_source"), entry.text("died_certainty"), entry.text("died_precision") or "day"
    )


def _by_whom(session: Session, patient: Patient, entry: CheckedEntry, on: date) -> tuple[str, str | None]:
    """Who withdrew, by the rules of consents: the patient, or who decides for them, by name. Raises EntryRefused."""
    of_age = of_age_on(patient, the_clinic(session))
    errors = consents.by_whom(entry, on, "by", "by_name", of_age)
    if errors:
        raise EntryRefused(errors)
    return entry.text("by") or "self", entry.text("by_name")


def take_back(patient_id: int, end: str) -> AnyResponse:
    """The wrong patient, or no longer so: everything is expected again, and the link opens again."""
    if end not in withdrawal.ENDS:
        abort(404)

    def change(session: Session, patient: Patient) -> None:
        now = request_context().now
        withdrawal.undo_end(
            session, patient, end, why=the_reason(end), now=now, today=request_context().today, by_id=signed_in().id
        )
        if left_on(patient) is None and patient.taken_back_at is None:
            revive_link(session, patient, now=now, by_id=signed_in().id)

    return mend(
        patient_id,
        change,
        page=_page,
        done="end-taken-back",
        form=end,
        to=url_for("staff.patient", patient_id=patient_id, done="end-taken-back"),
    )


def _still_possible(patient: Patient) -> dict[str, ActWords]:
    """What can be entered yet: nothing after a death, a transfer once, a withdrawal while it can go further."""
    over = {"died": patient.died_on is not None, "transferred": patient.transferred_on is not None}
    over["withdrew"] = not _further(patient)
    return {} if over["died"] else {end: act for end, act in ACTS.items() if not over[end]}


def _further(patient: Patient) -> list[tuple[str, Phrase]]:
    """How far a withdrawal can go beyond what is entered, each with what follows."""
    steps = list(WITHDRAWAL_EXTENTS)
    before = patient.withdrawal_extent or ("contact" if patient.withdrew_on else None)
    return [(each, FOLLOWS[each]) for each in steps[steps.index(before) + 1 if before else 0 :]]


def _chosen(shown: Shown, acts: dict[str, ActWords]) -> str:
    """Which act the page is about: the one that was sent, or the one that the address names; empty for the first step."""
    what = shown.values.get("reason", "") if shown.form == "leave" else request.args.get("what", "")
    return what if what in acts else ""


def _page(_session: Session, patient: Patient, shown: Shown) -> str:
    acts = _still_possible(patient)
    known = {end: getattr(patient, column) for end, column in withdrawal.ENDS.items()}
    known["withdrew"] = known["withdrew"] or patient.messages_stopped_on
    return render_template(
        "staff/mending/leaving.html",
        patient=patient,
        shown=shown,
        asked_about=digests(in_english(shown.of("leave").errors.get("checked", []))),
        acts=acts,
        what=_chosen(shown, acts) if shown.form in ("", "leave") else "",
        further=_further(patient),
        extents=WITHDRAWAL_EXTENTS,
        consent_by=CONSENT_BY,
        death_sources=DEATH_SOURCES,
        death_certainties=DEATH_CERTAINTIES,
        how_exactly=HOW_EXACTLY,
        known={end: day for end, day in known.items() if day is not None},
    )
