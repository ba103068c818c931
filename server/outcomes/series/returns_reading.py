"""Reads what was told of the return to work, sport and driving. Its weeks lie in sealed answers, so only forms that ask it are opened."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, and_, false, func, or_, select
from sqlalchemy.orm import Session

from server.forms.stored import StoredAnswers, StoredPart
from server.models import FollowUp, Patient, Response, Timepoint
from server.models.response import FOR_THE_PATIENT
from server.outcomes.series.followed import Followed, Followings
from server.outcomes.series.returns import INSTRUMENT, ITEMS, Told
from server.outcomes.series.sentence import Sentence
from server.queries.research import included
from server.schedule.plan import Plan


@dataclass(frozen=True)
class ReadReturns:
    """Each followed shoulder that was asked in a window that has closed, with what its patient told; `unread` forms do not open."""

    asked: tuple[tuple[Followed, tuple[Told, ...]], ...] = ()
    unread: int = 0


def read_returns(
    session: Session,
    followings: Followings,
    sentence: Sentence,
    plans: Iterable[Plan],
    opened: Callable[[str, bytes], StoredAnswers | None],
) -> ReadReturns:
    """By the as-of date. `opened`: the answers under the key of the patient with this handle; None where they do not open."""
    found: dict[int, list[Told]] = {}
    unread = 0
    for row in session.execute(_forms(asking_codes(plans), followings.record.as_of)):
        if row.operation_id not in followings.of:
            continue
        told = found.setdefault(row.operation_id, [])
        if row.answers is None or not _wanted(row, sentence):
            continue
        answers = opened(row.handle, row.answers)
        if answers is None:
            unread += 1
        else:
            told += [_told(part, row.answered_on) for part in answers.parts if _is_return(part.instrument)]
    return ReadReturns(tuple((followings.of[each], tuple(told)) for each, told in found.items()), unread)


def asking_codes(plans: Iterable[Plan]) -> dict[tuple[str, str], list[str]]:
    """By plan and version, the codes of the timepoints whose form asks it."""
    found = {}
    for plan in plans:
        asks = [entry.code for entry in plan.after if any(_is_return(part.instrument) for part in entry.parts)]
        if asks:
            found[plan.id, plan.version] = asks
    return found


def _is_return(spec: str) -> bool:
    return spec.partition("@")[0] == INSTRUMENT


def _forms(asking: Mapping[tuple[str, str], list[str]], as_of: date) -> Any:
    answered = and_(
        Response.timepoint_id == func.coalesce(Timepoint.answer_from_id, Timepoint.id),
        Response.counted,
        Response.answered_by != FOR_THE_PATIENT,
        Timepoint.answered_on <= as_of,
        # What the random quarter of the silent answered once it was drawn is told by the page about silence.
        or_(Timepoint.drawn_on.is_(None), Timepoint.drawn_on > Timepoint.answered_on),
    )
    query = (
        select(FollowUp.operation_id, Timepoint.answered_on, Response.mode, Response.answers, Patient.handle)
        .select_from(Timepoint)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .join(Patient, Patient.id == Timepoint.patient_id)
        .outerjoin(Response, answered)
    )
    query = query.where(_asks(asking), Timepoint.closes_on < as_of, Patient.erased_at.is_(None))
    query = query.where(included(Timepoint.patient_id, as_of, all_patients=False))
    return query.order_by(FollowUp.operation_id, Timepoint.answered_on, Timepoint.id)


def _asks(asking: Mapping[tuple[str, str], list[str]]) -> ColumnElement[bool]:
    return or_(
        false(),
        *(
            and_(FollowUp.plan_id == plan, Timepoint.plan_version == version, Timepoint.code.in_(codes))
            for (plan, version), codes in asking.items()
        ),
    )


def _wanted(row: Any, sentence: Sentence) -> bool:
    """The form has no owner's words, so a sentence that wants licensed text alone leaves it as it is."""
    return not sentence.mode or row.mode in sentence.mode


def _told(part: StoredPart, on: date) -> Told:
    return Told(on, dict(_values(part, 0)), dict(_values(part, 1)))


def _values(part: StoredPart, place: int) -> Iterator[tuple[str, int]]:
    """`place`: 0 for the codes, 1 for the weeks."""
    for activity, items in ITEMS.items():
        answer = part.answers.get(items[place])
        if answer is not None and answer.state == "answered" and isinstance(answer.value, int):
            yield activity, answer.value
