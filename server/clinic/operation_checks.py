"""How an operation fits the patient and the shoulder's other operations: what cannot be, by field."""

from collections.abc import Iterable, Mapping
from datetime import date

from server.clinic.left_open import recording_closed
from server.fields.check import listed
from server.fields.component import NOT_OF_AN_IMPLANT, ROLES
from server.fields.day_words import day_words
from server.fields.field import Errors, Value
from server.fields.operation_words import AGAIN, AWAITS_ITS_SECOND, KINDS, OPERATION_KINDS, PROCEDURES
from server.models import Component, Operation, Patient
from server.queries.facts import death_by
from server.schedule.dates import last_possible


def contradictions(
    patient: Patient, others: Iterable[Operation], values: Mapping[str, Value], *, itself: Operation | None = None
) -> Errors:
    """What speaks against an operation with these values. `others`: the shoulder's other operations; `itself`: the one corrected."""
    standing = [each for each in others if each.cancelled_on is None and each is not itself]
    kind, on = str(values["kind"]), values.get("surgery_on")
    found: Errors = {}
    _say(found, "surgery_on", _after_withdrawal(patient, values, itself))
    _say(found, "surgery_on", _after_death(patient, on, planned=itself is None))
    _say(found, "kind", _kind_problems(kind, standing))
    if isinstance(on, date):
        latest = last_possible(on, str(values.get("surgery_precision") or "day"))
        _say(found, "surgery_on", _crossing(kind, on, latest, standing))
        _say(found, "surgery_on", _between_stages(kind, on, latest, standing, itself))
    _say(found, "stage", _stage_problems(kind, values, standing, itself))
    _say(found, "procedure", procedure_problems(kind, values.get("procedure")))
    return found


def _after_withdrawal(patient: Patient, values: Mapping[str, Value], itself: Operation | None) -> list[str]:
    """Who asked that nothing more be taken from records is believed; what was done before that day may be completed.

    A new day that is no more than a month or a year has to lie before it whole; a day that stands stays as it is.
    """
    on, precision = values.get("surgery_on"), str(values.get("surgery_precision") or "day")
    stands = itself is not None and (itself.surgery_on, itself.surgery_precision or "day") == (on, precision)
    closed = recording_closed(patient, last_possible(on, precision) if isinstance(on, date) and not stands else on)
    return [closed] if closed is not None else []


def first_stage_of(on: date | None, others: Iterable[Operation]) -> Operation | None:
    """The first stage that a second one of that day completes: the last one done by then that waits for its second."""
    others = [each for each in others if each.cancelled_on is None]
    completed = {each.first_stage_id for each in others}
    waiting = [
        each
        for each in others
        if each.stage in AWAITS_ITS_SECOND and each.surgery_on is not None and each.id not in completed
    ]
    by_then = [each for each in waiting if each.surgery_on is not None and (on is None or each.surgery_on <= on)]
    return max(by_then, key=lambda each: (each.surgery_on or date.min, each.position), default=None)


def component_problems(kind: str, roles: Iterable[str], taken_out: Iterable[Component]) -> list[str]:
    """Another re-operation changes no component of an implant; otherwise it is a revision."""
    changed = any(role not in NOT_OF_AN_IMPLANT for role in roles) or any(
        each.role not in NOT_OF_AN_IMPLANT for each in taken_out
    )
    if KINDS[kind].exchanges or not changed:
        return []
    return ["A component of the implant comes in or goes out: that is a revision. Choose revision as the kind."]


def crossing_components(
    on: Value, precision: Value, taken_out: Iterable[Component], put_in: Iterable[Component]
) -> list[str]:
    """Nothing is taken out before it was put in. `taken_out` and `put_in`: what an operation of that day takes out and puts in."""
    if not isinstance(on, date):
        return []
    latest, found = last_possible(on, str(precision or "day")), []
    said = day_words(on, str(precision or "day"))
    for each in taken_out:
        there_since = each.put_in_at.surgery_on
        if there_since is not None and there_since > latest:
            found.append(
                f"The {ROLES[each.role]} was put in on {_done_on(each.put_in_at)}, so it was not taken out on {said}."
            )
    for each in put_in:
        out = each.gone_at
        if out is not None and out.surgery_on is not None:
            gone = last_possible(out.surgery_on, out.surgery_precision or "day")
            if gone < on:
                found.append(
                    f"The {ROLES[each.role]} was taken out on {_done_on(out)}, so it was not put in on {said}."
                )
    return [f"{sentence} Check both days, or what is taken out." for sentence in dict.fromkeys(found)]


def procedure_problems(kind: str, procedure: Value) -> list[str]:
    """Whether such a procedure can be an operation of this kind."""
    found = PROCEDURES[str(procedure)] if procedure in PROCEDURES else None
    if found is None or not found.kinds or kind in found.kinds:
        return []
    if kind == "other":
        return [
            f"“{found.words}” adds, removes or exchanges a component: that is a revision. Choose revision as the kind."
        ]
    if "other" in found.kinds:
        return [
            f"“{found.words}” exchanges nothing, so it is no {OPERATION_KINDS[kind]}. Choose other re-operation as the kind, or another "
            "procedure."
        ]
    fitting = listed(OPERATION_KINDS[each] for each in found.kinds)
    return [f"“{found.words}” can be: {fitting}. Choose another kind or another procedure."]


def _say(errors: Errors, field: str, sentences: list[str]) -> None:
    if sentences:
        errors.setdefault(field, []).extend(sentences)


def _done_on(operation: Operation) -> str:
    """As exactly as its day is known."""
    return day_words(operation.surgery_on, operation.surgery_precision)


def _after_death(patient: Patient, on: Value, *, planned: bool) -> list[str]:
    died = death_by(patient)
    if died is None:
        return []
    if isinstance(on, date):
        return [f"The patient died on {day_words(died)}, before {day_words(on)}. Check both days."] if on > died else []
    return [f"The patient died on {day_words(died)}."] if planned else []


def _kind_problems(kind: str, standing: list[Operation]) -> list[str]:
    if kind == "index" and any(each.kind == "index" for each in standing):
        return ["This shoulder has its first operation. Enter a revision, a conversion or another re-operation."]
    done = [each for each in standing if each.surgery_on is not None]
    if KINDS[kind].order == AGAIN and not done:
        return [f"On this shoulder no operation was done before, so there is nothing for a {OPERATION_KINDS[kind]}."]
    if kind == "second_stage" and not any(each.stage in AWAITS_ITS_SECOND for each in standing):
        return ["No revision of this shoulder is the first of two stages. Correct that revision first."]
    return []


def _crossing(kind: str, on: date, latest: date, standing: list[Operation]) -> list[str]:
    """What is done again is not done before the first operation, and what came before it not after."""
    order = KINDS[kind].order
    for other in standing:
        if other.surgery_on is None:
            continue
        theirs, words = KINDS[other.kind].order, OPERATION_KINDS[other.kind]
        last = last_possible(other.surgery_on, other.surgery_precision or "day")
        if theirs < order and latest < other.surgery_on:
            return [
                f"{day_words(on)} is before the {words} of {_done_on(other)} on the same shoulder. Check the year of both."
            ]
        if theirs > order and on > last:
            return [
                f"{day_words(on)} is after the {words} of {_done_on(other)} on the same shoulder. Check the year of both."
            ]
    return []


def _between_stages(
    kind: str, on: date, latest: date, standing: list[Operation], itself: Operation | None
) -> list[str]:
    firsts = [each for each in standing if each.stage in AWAITS_ITS_SECOND and each.surgery_on is not None]
    if (
        kind == "second_stage"
        and firsts
        and all(each.surgery_on is not None and each.surgery_on > latest for each in firsts)
    ):
        return [f"{day_words(on)} is before the first stage of {_done_on(firsts[0])}. Check the year of both."]
    seconds = [each.surgery_on for each in standing if itself is not None and each.first_stage_id == itself.id]
    done = [each for each in seconds if each is not None]
    return (
        [f"{day_words(on)} is after its second stage of {day_words(min(done))}. Check the year of both."]
        if done and on > min(done)
        else []
    )


def _stage_problems(
    kind: str, values: Mapping[str, Value], standing: list[Operation], itself: Operation | None
) -> list[str]:
    completed = itself is not None and any(each.first_stage_id == itself.id for each in standing)
    if completed and (kind != "revision" or values.get("stage") not in AWAITS_ITS_SECOND):
        return ["A second stage completes this operation, so it stays a revision, first of two stages."]
    return []
