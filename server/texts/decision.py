"""Asking patients of a live clinic in descriptive texts: what there is to decide, the decision, and what waits for it.

A decision names the texts that it covers. A descriptive text that comes later, in a new version of the program or a new plan, is not
covered, and is asked about again. A decision that is withdrawn stays on record and covers nothing from then on; what another decision
covers too goes on, and answers that were given stay.
"""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.definition import Definition
from scoring.library import Library
from server.models import FollowUp, Patient, TextDecision, TextWithdrawal, Timepoint
from server.queries.clock import clinic_to_change, the_clinic
from server.queries.current import mark_sheets_stale, waits_for_answer
from server.queries.texts_in_force import Document, Wording, read_wording
from server.schedule.plan import Plan
from server.timepoints.plans import read_plans
from server.trust.audit import audit

LONGEST_WORDS, SHORTEST_WORDS = 2000, 10


class DecisionRefused(ValueError):
    """The decision cannot be recorded, or not withdrawn; the message says why and what to do."""


@dataclass(frozen=True)
class Descriptive:
    """One descriptive text of an instrument that this clinic asks. `decided`: a decision covers it."""

    definition: Definition
    language: str
    text_id: str
    decided: bool


@dataclass(frozen=True)
class Waiting:
    """What is open and does not go out: how many forms of how many patients, and the ids of the texts that stop them.

    `wordless`: instruments that this clinic asks and that have no text in any of its languages.
    """

    forms: int
    patients: int
    undecided: tuple[str, ...]
    altered: tuple[str, ...]
    wordless: tuple[str, ...] = ()

    @property
    def anything(self) -> bool:
        return bool(self.undecided or self.altered or self.wordless)


def descriptive_in_use(session: Session, library: Library) -> list[Descriptive]:
    """Of every instrument in the clinic's default plan and in the plans of unanswered timepoints. Empty in a demo."""
    wording = read_wording(session, library)
    if wording.decided is None:
        return []
    languages = sorted(set(session.scalars(select(Patient.language).distinct())))
    return [
        Descriptive(definition, code, text["text_id"], text["text_id"] in wording.decided)
        for definition, code, text in _in_use(session, wording, languages)
        if definition.kind != "form" and text["kind"] == "descriptive"
    ]


def _in_use(session: Session, wording: Wording, languages: list[str]) -> Iterator[tuple[Definition, str, Document]]:
    for definition in _asked(session, wording):
        for code, text in wording.in_force(definition, *languages).items():
            yield definition, code, text


def _asked(session: Session, wording: Wording) -> list[Definition]:
    usable = read_plans(session).usable
    plans = [usable[name] for name in _plans_in_use(session) if name in usable]
    specs = {part.instrument for plan in plans for part in plan.parts_used()}
    return [wording.library.instrument(spec) for spec in sorted(specs)]


def _plans_in_use(session: Session) -> list[str]:
    used = select(FollowUp.plan_id, Timepoint.plan_version).join(Timepoint.follow_up).where(Timepoint.done_at.is_(None))
    return sorted(
        {the_clinic(session).default_plan} | {f"{row[0]}@{row[1]}" for row in session.execute(used.distinct())}
    )


def set_hash(text_ids: Sequence[str]) -> str:
    """SHA-256 of the ids, in order and comma-separated: what a decision is about."""
    return hashlib.sha256(",".join(sorted(text_ids)).encode("ascii")).hexdigest()


def record_decision(
    session: Session, library: Library, *, shown: str, words: str, now: datetime, by_id: int
) -> TextDecision:
    """Records that the descriptive texts in use are asked. `shown`: the `set_hash` of what the person was shown.

    Marks all due sheets, so that what waited goes out. Raises DecisionRefused.
    """
    clinic_to_change(session)  # two people who decide at once queue here
    found = descriptive_in_use(session, library)
    if the_clinic(session).mode == "demo":
        raise DecisionRefused("A demo needs no decision: everybody in it is invented.")
    if not found:
        raise DecisionRefused(
            "No instrument that this clinic asks has only a descriptive text, so there is nothing to decide."
        )
    said = _said(words, "why these texts are asked")
    text_ids = sorted(each.text_id for each in found)
    if set_hash(text_ids) != shown:
        raise DecisionRefused("The texts have changed since this page was shown. Look at the list below again.")
    if all(each.decided for each in found):
        raise DecisionRefused("Earlier decisions cover all of these texts already; nothing was changed.")
    decision = TextDecision(
        decided_at=now, by_id=by_id, words=said, text_ids=",".join(text_ids), sha256=bytes.fromhex(shown)
    )
    session.add(decision)
    mark_sheets_stale(session)
    session.flush()
    audit(session, "texts:decided", f"text decision {decision.id}", now=now, by_id=by_id, sha256=shown, texts=text_ids)
    return decision


def withdraw_decision(session: Session, decision_id: int, *, words: str, now: datetime, by_id: int) -> TextWithdrawal:
    """Takes a decision back: what it alone covered is sent no more from now on. Marks all due sheets.

    Raises DecisionRefused, also when it was withdrawn before; LookupError for a decision that does not exist.
    """
    clinic_to_change(session)  # two people who decide at once queue here
    decision = session.get(TextDecision, decision_id)
    if decision is None:
        raise LookupError(f"there is no decision {decision_id}")
    if session.get(TextWithdrawal, decision_id) is not None:
        raise DecisionRefused("This decision is withdrawn already; nothing was changed.")
    said = _said(words, "why the decision is withdrawn")
    withdrawal = TextWithdrawal(decision_id=decision_id, withdrawn_at=now, by_id=by_id, words=said)
    session.add(withdrawal)
    mark_sheets_stale(session)
    session.flush()
    texts = decision.text_ids.split(",")
    audit(session, "texts:decision-withdrawn", f"text decision {decision_id}", now=now, by_id=by_id, texts=texts)
    return withdrawal


def _said(words: str, what: str) -> str:
    """What a person wrote, on one line. Raises DecisionRefused when it is too short or too long."""
    said = " ".join(words.split())
    if not SHORTEST_WORDS <= len(said) <= LONGEST_WORDS:
        raise DecisionRefused(f"Write in {SHORTEST_WORDS} to {LONGEST_WORDS} characters {what}.")
    if not said.isprintable():
        raise DecisionRefused("The words hold a sign that nobody can see. Type them again.")
    return said


def decisions(session: Session) -> list[tuple[TextDecision, TextWithdrawal | None]]:
    """The newest first, each with its withdrawal."""
    joined = select(TextDecision, TextWithdrawal).outerjoin(
        TextWithdrawal, TextWithdrawal.decision_id == TextDecision.id
    )
    return [(row[0], row[1]) for row in session.execute(joined.order_by(TextDecision.id.desc()))]


def what_waits(session: Session, library: Library, today: date) -> Waiting:
    """Which texts in use may not be sent, and the open forms that stay back because of it."""
    wording = read_wording(session, library)
    undecided = tuple(each.text_id for each in descriptive_in_use(session, library) if not each.decided)
    altered = tuple(sorted(wording.altered))
    wordless = tuple(each.spec for each in _asked(session, wording) if not wording.in_force(each))
    if not undecided and not altered and not wordless:
        return Waiting(0, 0, (), ())
    usable = read_plans(session).usable
    stopped = [
        patient
        for patient, name, code, language in _open(session, today)
        if name in usable and _withheld(wording, usable[name], code, language)
    ]
    return Waiting(len(stopped), len(set(stopped)), undecided, altered, wordless)


def _withheld(wording: Wording, plan: Plan, code: str, language: str) -> bool:
    return wording.withholds((part.instrument for part in plan.entry(code).parts), language)


def _open(session: Session, today: date) -> Iterator[tuple[int, str, str, str]]:
    rows = (
        select(Timepoint.patient_id, FollowUp.plan_id, Timepoint.plan_version, Timepoint.code, Patient.language)
        .join(FollowUp, Timepoint.follow_up_id == FollowUp.id)
        .join(Patient, Patient.id == Timepoint.patient_id)
        .where(
            waits_for_answer(today),
        )
    )
    for patient_id, plan_id, version, code, language in session.execute(rows):
        yield patient_id, f"{plan_id}@{version}", code, language
