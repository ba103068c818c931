"""What was entered of the person while two records were one: a death, a withdrawal, lost capacity, a consent that was withdrawn.

The record cannot know of whom it was said, so the undo asks for each. Both is the safe answer, and holds where nothing was chosen:
whoever wanted to be left alone is left alone, until somebody has found out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.history import change_row
from server.clinic.majority import standing
from server.clinic.merge import merge_why
from server.clinic.merge_plan import stricter
from server.clinic.misplaced import Act
from server.clinic.withdrawal import ENDED_BY
from server.fields.stored import written
from server.models import Consent, FieldChange, Patient, PatientMerge

WHOSE = ("both", "kept", "other")
COLUMNS: Mapping[str, tuple[str, ...]] = {
    "died": ("died_on", "died_source", "died_certainty", "died_precision"),
    "withdrew": ("withdrew_on", "withdrawal_extent", "messages_stopped_on", "records_closed_on", "erasure_asked_on"),
    "transferred": ("transferred_on",),
    "capacity": ("capacity_lost_on", "representative", "capacity_then"),
}
CONSENT = "consent-"  # and its kind: a consent that was withdrawn by itself


@dataclass(frozen=True)
class Since:
    """`fact`: a word of COLUMNS, or a consent that was withdrawn. `before`: columns of the kept record as the merge left them.

    `consents`: those of the kept record that ended with it.
    """

    fact: str
    before: Mapping[str, Any]
    consents: Sequence[Consent]


def entered_since(session: Session, row: PatientMerge) -> list[Since]:
    """The facts that stand in the kept record now and did not when the records were made one."""
    kept, alias = session.get_one(Patient, row.kept_id), session.get_one(Patient, row.alias_id)
    changes = _changes_since(session, row, "patient", [kept.id])
    ended = _ended_since(session, row, kept)
    found = []
    for fact, columns in COLUMNS.items():
        of_fact = [each for each in changes if each.field in columns]
        before = {each.field: value_of(each.field, each.old) for each in reversed(of_fact)}
        now = {name: getattr(kept, name) for name in before}
        if any(now[name] is not None and now[name] != before[name] for name in before):
            moments = {each.at for each in of_fact}
            found.append(
                Since(fact, before, [consent for consent, at in ended if fact == "withdrew" and at in moments])
            )
    told = {consent.id for each in found for consent in each.consents}
    alone = [consent for consent, _at in ended if consent.id not in told]
    for kind in dict.fromkeys(each.kind for each in alone):
        if any(each.kind == kind for each in standing(alias.consents)):
            found.append(Since(f"{CONSENT}{kind}", {}, [each for each in alone if each.kind == kind]))
    return found


def settle_since(
    session: Session, facts: list[Since], kept: Patient, alias: Patient, whose: Mapping[str, str], act: Act
) -> None:
    """`whose`: by fact one of WHOSE; what is not named is of both."""
    for each in facts:
        to = whose.get(each.fact, "both")
        if to != "kept":
            _pass_on(session, each, kept, alias, act)
        if to == "other":
            _take_away(session, each, kept, act)


def value_of(name: str, text: str | None) -> Any:
    """What a column of a patient or a consent holds, from the text that the history keeps."""
    return date.fromisoformat(text) if text and name.endswith("_on") else text


def made_by_merge(change: FieldChange, row: PatientMerge) -> bool:
    return change.at == row.merged_at and change.why == merge_why(row.alias_study_number, row.why)


def _changes_since(session: Session, row: PatientMerge, table: str, ids: list[int]) -> list[FieldChange]:
    """Of these rows, the first first."""
    wanted = select(FieldChange).where(FieldChange.table_name == table, FieldChange.row_id.in_(ids))
    found = session.scalars(wanted.where(FieldChange.at >= row.merged_at).order_by(FieldChange.id)).all()
    return [each for each in found if not made_by_merge(each, row)]


def _ended_since(session: Session, row: PatientMerge, kept: Patient) -> list[tuple[Consent, datetime]]:
    """Consents of the kept record that were withdrawn since and still are, each with the moment of it."""
    consents = {each.id: each for each in kept.consents if each.set_aside_at is None}
    last = {
        each.row_id: each
        for each in _changes_since(session, row, "consent", list(consents))
        if each.field == "withdrawn_on"
    }
    return [
        (consents[id_], each.at)
        for id_, each in last.items()
        if each.new and written(consents[id_].withdrawn_on) == each.new
    ]


def _pass_on(session: Session, since: Since, kept: Patient, alias: Patient, act: Act) -> None:
    """The other record says it too, unless it says more already."""
    values = {name: value for name, value in stricter(alias, kept).items() if name in since.before}
    if since.fact == "transferred" and alias.transferred_on is None:
        values["transferred_on"] = kept.transferred_on
    change_row(session, alias, values, now=act.now, by_id=act.by_id, why=act.why)
    kinds = {each.kind for each in since.consents}
    if since.fact == "withdrew" and alias.withdrawal_extent is not None:
        kinds |= set(ENDED_BY[alias.withdrawal_extent])
    for consent in standing(alias.consents):
        if consent.kind in kinds:
            _end_like(session, consent, since.consents, kept, act)


def _end_like(session: Session, consent: Consent, ended: Sequence[Consent], kept: Patient, act: Act) -> None:
    """On the day and by whom the kept one was withdrawn; without one, on the day of the withdrawal, by whoever ended others with it."""
    like = next((each for each in ended if each.kind == consent.kind), None)
    on = (like.withdrawn_on if like else kept.withdrew_on) or act.today
    who = like or next(iter(ended), None)
    end = {
        "withdrawn_on": max(on, consent.given_on),
        "withdrawn_by": who.withdrawn_by if who else "self",
        "withdrawn_by_name": who.withdrawn_by_name if who else None,
    }
    change_row(session, consent, end, now=act.now, by_id=act.by_id, why=act.why)
    consent.withdrawal_taken_by_id = act.by_id


def _take_away(session: Session, since: Since, kept: Patient, act: Act) -> None:
    """It was the other person: the kept record is again as the merge left it."""
    change_row(session, kept, since.before, now=act.now, by_id=act.by_id, why=act.why)
    back = {"withdrawn_on": None, "withdrawn_by": None, "withdrawn_by_name": None}
    for consent in since.consents:
        change_row(session, consent, back, now=act.now, by_id=act.by_id, why=act.why)
        consent.withdrawal_taken_by_id = None
