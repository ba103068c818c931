"""Two records of one person: what making them one would do, what speaks against it, and what has to be asked. Writes nothing."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.likeness import Likeness, Traits, likeness
from server.clinic.majority import standing
from server.clinic.same_operation import Completed, SameOperation, completed, same_operation
from server.fields.day_words import day_words
from server.fields.operation import SHOULDER
from server.fields.person import CONSENT_KINDS, WITHDRAWAL_EXTENTS
from server.models import Operation, Patient, Response, Shoulder
from server.queries.facts import death_by

SAME_OPERATION_DAYS = 31  # a day apart from another record's by more is another operation, unless a person says so


@dataclass(frozen=True)
class SideMerge:
    """One shoulder of the record that goes. `same`: its operations that the kept one has too; `moves`: those that it has not.

    `completed`: what the kept shoulder itself lacks; None where the kept record has no such shoulder, and this one moves whole.
    """

    side: str
    shoulder: Shoulder
    kept: Shoulder | None
    same: list[SameOperation]
    moves: list[Operation]
    completed: Completed | None


@dataclass(frozen=True)
class MergePlan:
    """`refused`: why it cannot be. `asked`: the birth years differ. `ends`: columns of the kept record that become the stricter ones."""

    kept: Patient
    alias: Patient
    sides: list[SideMerge]
    refused: list[str] = field(default_factory=list)
    asked: bool = False
    likeness: Likeness | None = None
    ends: Mapping[str, object] = field(default_factory=dict)
    consents_ending: list[str] = field(default_factory=list)
    responses: int = 0


def plan_merge(session: Session, kept: Patient, alias: Patient) -> MergePlan:
    """What `merge` would do with these two records now."""
    sides = [_side(shoulder, kept) for shoulder in alias.shoulders]
    return MergePlan(
        kept,
        alias,
        sides,
        refused=_refused(kept, alias, sides),
        asked=kept.birth_year != alias.birth_year,
        likeness=likeness(traits_of(kept), traits_of(alias)),
        ends=_ends(kept, alias),
        consents_ending=_consents_ending(kept, alias),
        responses=len(session.scalars(select(Response.id).where(Response.patient_id == alias.id)).all()),
    )


def traits_of(patient: Patient) -> Traits:
    return Traits(patient.first_name, patient.last_name, patient.birth_on, patient.phone, patient.email)


def _side(shoulder: Shoulder, kept: Patient) -> SideMerge:
    there = next((each for each in kept.shoulders if each.side == shoulder.side), None)
    same: list[SameOperation] = []
    for operation in shoulder.operations:
        taken = {each.kept.id for each in same}
        twin = next(
            (
                each
                for each in (there.operations if there else [])
                if each.id not in taken and _is_same(operation, each)
            ),
            None,
        )
        if twin is not None:
            same.append(same_operation(twin, operation))
    in_both = {each.other.id for each in same}
    moves = [each for each in shoulder.operations if each.id not in in_both]
    of_shoulder = completed(SHOULDER, there, shoulder) if there else None
    return SideMerge(shoulder.side, shoulder, there, same, moves, of_shoulder)


def _is_same(one: Operation, other: Operation) -> bool:
    """Of one kind, and on days so near that it was entered twice."""
    if one.kind != other.kind or (one.cancelled_on is None) != (other.cancelled_on is None):
        return False
    days = [each.surgery_on or each.surgery_planned_on or each.cancelled_on for each in (one, other)]
    if days[0] is None or days[1] is None:
        return days[0] is days[1]
    return abs((days[0] - days[1]).days) <= SAME_OPERATION_DAYS


def _refused(kept: Patient, alias: Patient, sides: list[SideMerge]) -> list[str]:
    found = []
    if kept.id == alias.id:
        return ["This is one and the same record."]
    if alias.merged_into_id is not None or kept.merged_into_id is not None:
        found.append("One of these records was merged already.")
    if kept.taken_back_at is not None or alias.taken_back_at is not None:
        found.append("One of these records was enrolled in error.")
    if kept.erased_at is not None or alias.erased_at is not None:
        found.append("One of these records was erased.")
    if _died_apart(kept, alias):
        found.append(
            "One died on {}, the other on {}. Correct the day of one first.".format(
                *(day_words(each.died_on, each.died_precision) for each in (kept, alias))
            )
        )
    done = _surgery_days(kept, alias)
    died = min((day for day in (death_by(kept), death_by(alias)) if day), default=None)
    if died is not None and any(day > died for day in done):
        found.append(f"One died on {day_words(died)}, and the other was operated on after that day.")
    if any(day < kept.birth_on for day in done):
        found.append(f"An operation lies before the birth date that would be kept, {day_words(kept.birth_on)}.")
    for each in sides:
        found += _refused_side(each)
    return found


def _surgery_days(*people: Patient) -> list[date]:
    operations = [each for person in people for shoulder in person.shoulders for each in shoulder.operations]
    return [each.surgery_on for each in operations if each.surgery_on is not None]


def _ends(kept: Patient, alias: Patient) -> dict[str, object]:
    """As `stricter`; a death known to its month or year is kept as the first day that it can be, which no operation is after."""
    ends = stricter(kept, alias)
    died = alias.died_on if "died_on" in ends else kept.died_on
    last = max(_surgery_days(kept, alias), default=None)
    if died is not None and last is not None and last > died:
        ends["died_on"] = last
    return ends


def _died_apart(kept: Patient, alias: Patient) -> bool:
    """Both died, and on no day that both can mean; either may be known to its month or year."""
    if kept.died_on is None or alias.died_on is None:
        return False
    by = [day for day in (death_by(kept), death_by(alias)) if day is not None]
    return max(kept.died_on, alias.died_on) > min(by)


def _refused_side(side: SideMerge) -> list[str]:
    kept = [each for each in side.kept.operations if each.cancelled_on is None] if side.kept else []
    moving = [each for each in side.moves if each.cancelled_on is None]
    if any(each.kind == "index" for each in kept) and any(each.kind == "index" for each in moving):
        return [
            f"Both records have a first operation of the {side.side} shoulder, on different days. "
            "Correct the day or the kind of one first."
        ]
    days: list[date] = [each.surgery_on for each in kept if each.surgery_on]
    if days and any(each.surgery_on and each.surgery_on < max(days) for each in moving):
        return [
            f"An operation of the {side.side} shoulder would come before one that the kept record has. "
            "Keep the other record instead."
        ]
    return []


_OF_DEATH = ("died_on", "died_source", "died_certainty", "died_precision")
_OF_CAPACITY = ("representative", "capacity_then")
_EARLIER_HOLDS = ("withdrew_on", "messages_stopped_on", "records_closed_on", "erasure_asked_on", "capacity_lost_on")


def stricter(kept: Patient, alias: Patient) -> dict[str, object]:
    """Columns of the kept record in which the other is stricter: a death, a wish to be left alone, lost capacity."""
    found: dict[str, object] = {}
    if (
        kept.died_on is None and alias.died_on is not None
    ):  # of two deaths the kept one holds, with all that is told of it
        found = {name: getattr(alias, name) for name in _OF_DEATH}
    for name in _OF_CAPACITY:
        if getattr(kept, name) is None and getattr(alias, name) is not None:
            found[name] = getattr(alias, name)
    steps = ["", *WITHDRAWAL_EXTENTS]
    if steps.index(alias.withdrawal_extent or "") > steps.index(kept.withdrawal_extent or ""):
        found["withdrawal_extent"] = alias.withdrawal_extent
    for name in _EARLIER_HOLDS:
        days = [day for day in (getattr(kept, name), getattr(alias, name)) if day is not None]
        if days and getattr(kept, name) != min(days):
            found[name] = min(days)
    return found


def _consents_ending(kept: Patient, alias: Patient) -> list[str]:
    """Kinds that stand in the kept record and were withdrawn, or never given, in the other: the stricter of two holds."""
    there = {each.kind for each in standing(alias.consents)}
    here = {each.kind for each in standing(kept.consents)}
    return [kind for kind in CONSENT_KINDS if kind in here - there]
