"""An operation with its components, entered or corrected as one: all of it is kept, or none."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from server.clinic.components import in_the_shoulder, put_in, strike, take_out
from server.clinic.enrol import add_operation, check_operation
from server.clinic.entries import EntryRefused, ShoulderEntry
from server.clinic.history import change_row
from server.clinic.operation_checks import component_problems, contradictions, crossing_components, first_stage_of
from server.clinic.operation_doubts import PutIn, doubts_about, keep_as_checked, not_yet_checked
from server.clinic.operations import begin_follow_up, refresh_shoulder
from server.fields.check import Calendar, check_values
from server.fields.component import COMPONENT
from server.fields.day_words import day_words
from server.fields.field import Errors, Value
from server.fields.operation import OPERATION, SHOULDER
from server.fields.operation_words import starts_follow_up
from server.fields.stored import stored_values
from server.models import Component, Operation, Patient
from server.schedule.plan import Plan
from server.trust.audit import audit

ONCE_DONE = "Components are entered once the operation is done. Enter the day, or leave them out."


class ToBeChecked(Exception):
    """Nothing is kept. `doubts`: what may be right but is often a slip; kept once somebody says that they have checked it."""

    def __init__(self, doubts: list[str]) -> None:
        super().__init__(" ".join(doubts))
        self.doubts = doubts


@dataclass(frozen=True)
class ComponentsEntry:
    """`new`: by a name for errors, the values of each component that the operation puts in. `changed`: by id of those it has, their
    values. `struck` and `taken_out`: ids."""

    new: Mapping[str, Mapping[str, Value]] = field(default_factory=dict)
    changed: Mapping[int, Mapping[str, Value]] = field(default_factory=dict)
    struck: frozenset[int] = frozenset()
    taken_out: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Desk:
    """Who enters it and when. `checked`: the person says that they have checked what was asked about. `why` of a correction."""

    now: datetime
    today: date
    by_id: int | None
    checked: bool = False
    why: str | None = None

    @property
    def stamp(self) -> dict[str, Any]:
        return {"now": self.now, "by_id": self.by_id}


def enter_operation(
    session: Session,
    patient: Patient,
    entry: ShoulderEntry,
    components: ComponentsEntry,
    plan: Plan,
    desk: Desk,
    unreadable: Errors | None = None,
) -> Operation:
    """A new operation with its components. Raises EntryRefused with every error (fields without the side), or ToBeChecked.

    `unreadable`: what a form could not read, by its names; told together with everything else that is refused.
    """
    unread = unreadable or {}
    shoulder = next((each for each in patient.shoulders if each.side == entry.side), None)
    others = list(shoulder.operations) if shoulder else []
    found = check_operation(patient, entry, today=desk.today)
    errors = {name.removeprefix(f"{entry.side}_"): sentences for name, sentences in found.items()}
    for name, sentences in _component_errors(entry.values, components, [], _in_it(session, others), desk.today).items():
        errors.setdefault(name, []).extend(sentences)
    errors = _with_unread(errors, unread)
    if errors:
        raise EntryRefused(errors)
    there = _in_it(session, others)
    doubts = doubts_about(session, entry.values, others, _put_in(components), there, components.taken_out)
    _ask(doubts, desk)
    operation = add_operation(session, patient, entry, plan=plan, now=desk.now, today=desk.today, by_id=desk.by_id)
    _keep_components(session, operation, components, desk)
    keep_as_checked(session, operation, doubts, **desk.stamp)
    return operation


def correct_operation(
    session: Session,
    operation: Operation,
    values: Mapping[str, Value],
    components: ComponentsEntry,
    plan: Plan | None,
    desk: Desk,
    unreadable: Errors | None = None,
) -> list[str]:
    """Completes or corrects an operation; returns the columns that changed. `values`: the fields that the form asked for.

    Whoever changes what was recorded says why; what was empty is filled without, and a planned day moves without. `plan`: for a follow-up
    that begins now; None where there is one. `unreadable`: what a form could not read, by its names; told together with everything else
    that is refused. Raises EntryRefused, or ToBeChecked.
    """
    unread = unreadable or {}
    values = _without(values, unread)  # what is not read is left as it is recorded, for the checks of the others
    patient = session.get_one(Patient, operation.shoulder.patient_id)
    others = [each for each in operation.shoulder.operations if each is not operation]
    after = {**_recorded(operation), **values}
    fields = [each for each in (*OPERATION, *SHOULDER) if each.name in values]
    errors = check_values(
        fields, {name: after[name] for name in _columns(fields)}, Calendar(desk.today, patient.birth_on)
    )
    for more in (
        contradictions(patient, others, after, itself=operation) if after["cancelled_on"] is None else {},
        _component_errors(
            after, components, operation.put_in, [*_in_it(session, others), *operation.taken_out], desk.today
        ),
        _undone(operation, after, desk.today),
        _without_a_reason(operation, values, components, desk, unread),
    ):
        for name, sentences in more.items():
            errors.setdefault(name, []).extend(each for each in sentences if each not in errors.get(name, []))
    errors = _with_unread(errors, unread)
    if errors:
        raise EntryRefused(errors)
    there = [*_in_it(session, others), *operation.taken_out]
    found = doubts_about(session, after, others, _put_in(components), there, components.taken_out)
    doubts = not_yet_checked(session, operation, found)
    _ask(doubts, desk)
    changed = _change(session, operation, values, others, desk)
    _keep_components(session, operation, components, desk)
    keep_as_checked(session, operation, doubts, **desk.stamp)
    audit(session, "operation:corrected", f"operation {operation.id}", **desk.stamp, fields=changed)
    begins = plan is not None and starts_follow_up(operation.kind, operation.stage) and not operation.follow_ups
    if plan is not None and begins:
        begin_follow_up(session, operation, plan, now=desk.now, today=desk.today)
    if changed or begins:  # what was put in or taken out moves no window
        refresh_shoulder(session, operation.shoulder, now=desk.now, today=desk.today, by_id=desk.by_id)
    return changed


def _change(
    session: Session, operation: Operation, values: Mapping[str, Value], others: list[Operation], desk: Desk
) -> list[str]:
    fields = [each for each in OPERATION if each.name in values]
    columns = stored_values(fields, values)
    if columns.get("surgery_on") is not None:
        columns["surgery_precision"] = columns.get("surgery_precision") or "day"
    if values.get("kind", operation.kind) == "second_stage":
        first = first_stage_of(columns.get("surgery_on", operation.surgery_on), others)
        columns["first_stage_id"] = first.id if first else operation.first_stage_id
    else:
        columns["first_stage_id"] = None
    of_shoulder = stored_values([each for each in SHOULDER if each.name in values], values)
    changed = change_row(session, operation.shoulder, of_shoulder, **desk.stamp, why=desk.why)
    return [*change_row(session, operation, columns, **desk.stamp, why=desk.why), *changed]


def _without(values: Mapping[str, Value], unread: Errors) -> dict[str, Value]:
    fields = [each for each in (*OPERATION, *SHOULDER) if each.name in unread]
    return {name: value for name, value in values.items() if name not in _columns(fields)}


def _with_unread(errors: Errors, unread: Errors) -> Errors:
    """Of a field that could not be read nothing else is said, nor that components need a day while that is what was not read."""
    found = {name: list(sentences) for name, sentences in errors.items()}
    if "surgery_on" in unread:
        found["components"] = [each for each in found.get("components", []) if each != ONCE_DONE]
    return {name: sentences for name, sentences in {**found, **unread}.items() if sentences}


def _recorded(operation: Operation) -> dict[str, Value]:
    names = [name for each in OPERATION for name in (each.name, each.precision) if name]
    return {name: getattr(operation, name) for name in names}


def _columns(fields: Iterable[Any]) -> list[str]:
    return [name for each in fields for name in (each.name, each.precision) if name]


def _in_it(session: Session, operations: list[Operation]) -> list[Component]:
    return in_the_shoulder(session, operations[0].shoulder) if operations else []


def _put_in(components: ComponentsEntry) -> list[PutIn]:
    kept = [PutIn(values, known) for known, values in components.changed.items() if known not in components.struck]
    return [*kept, *(PutIn(values) for values in components.new.values())]


def _ask(doubts: list[str], desk: Desk) -> None:
    if doubts and not desk.checked:
        raise ToBeChecked(doubts)


def _component_errors(
    values: Mapping[str, Value], components: ComponentsEntry, own: list[Component], there: list[Component], today: date
) -> Errors:
    """What is wrong with the components, by the name of each with its field; and with all of them, under `components`."""
    errors: Errors = {}
    for name, typed in (*components.new.items(), *((f"c{known}-", each) for known, each in components.changed.items())):
        errors.update(check_values(COMPONENT, typed, Calendar(today), prefix=name))
    out = [each for each in there if each.id in components.taken_out]
    roles = [str(each.values["role"]) for each in _put_in(components)]
    problems = component_problems(str(values["kind"]), roles, out)
    if values.get("surgery_on") is None and (roles or out):
        problems.append(ONCE_DONE)
    gone = [each for each in own if each.id in components.struck and each.gone_at is not None]
    if gone:
        problems.append("A component that a later operation took out cannot be struck. Correct that operation first.")
    if problems:
        errors["components"] = [*problems]
    stays = [each for each in own if each.struck_at is None and each.id not in components.struck]
    crossing = crossing_components(values.get("surgery_on"), values.get("surgery_precision"), out, stays)
    if crossing:
        errors["surgery_on"] = [*crossing]
    return errors


def _undone(operation: Operation, after: Mapping[str, Value], today: date) -> Errors:
    """An operation that has components, or that later ones build on, stays done; a cancelled one is not done."""
    cancelled_on = after["cancelled_on"]
    if isinstance(cancelled_on, date):
        said = day_words(cancelled_on)
        if after["surgery_on"] is not None:
            return {"surgery_on": [f"This operation was cancelled on {said}. If it was not, empty that day."]}
        if cancelled_on > today:
            late = f"{said} is after today ({day_words(today)}). Enter the day on which it was cancelled."
            return {"cancelled_on": [late]}
    if operation.surgery_on is None or after["surgery_on"] is not None:
        return {}
    if any(each.struck_at is None for each in operation.put_in) or operation.taken_out:
        return {"surgery_on": ["This operation has components. Strike them first if it was not done."]}
    later = [each for each in operation.shoulder.operations if each is not operation and each.surgery_on is not None]
    if operation.kind == "index" and later:
        return {"surgery_on": ["Later operations on this shoulder build on this one, so it was done. Correct its day."]}
    return {}


def _without_a_reason(
    operation: Operation, values: Mapping[str, Value], components: ComponentsEntry, desk: Desk, unread: Errors
) -> Errors:
    """A planned day is no fact, so it moves without a reason as long as the operation is not done."""
    if desk.why:
        return {}
    no_fact = ("surgery_planned_on",) if operation.surgery_on is None else ()
    fields = [each for each in OPERATION if each.name in values and each.name not in no_fact]
    of_shoulder = stored_values([each for each in SHOULDER if each.name in values], values)
    rows: list[tuple[Any, dict[str, Any]]] = [
        (operation, stored_values(fields, values)),
        (operation.shoulder, of_shoulder),
    ]
    rows += [
        (each, stored_values(COMPONENT, components.changed[each.id]))
        for each in operation.put_in
        if each.id in components.changed
    ]
    overwritten = any(
        getattr(row, name) is not None and getattr(row, name) != value
        for row, columns in rows
        for name, value in columns.items()
    )
    overwritten |= any(getattr(operation, name, None) is not None for name in unread if name not in no_fact)
    put_back = any(each.id not in components.taken_out for each in operation.taken_out)
    if overwritten or put_back or components.struck:
        return {"why": ["Something that was recorded is changed. Write why; the earlier value stays in the history."]}
    return {}


def _keep_components(session: Session, operation: Operation, components: ComponentsEntry, desk: Desk) -> None:
    own = {each.id: each for each in operation.put_in if each.struck_at is None}
    for known, values in components.changed.items():
        change_row(session, own[known], stored_values(COMPONENT, values), **desk.stamp, why=desk.why)
    for known in components.struck & set(own):
        strike(session, own[known], **desk.stamp, why=desk.why)
    there = [each for each in in_the_shoulder(session, operation.shoulder) if each.put_in_id != operation.id]
    for each in there:
        if each.id in components.taken_out:
            take_out(session, operation, each, **desk.stamp, why=desk.why)
    for each in list(operation.taken_out):
        if each.id not in components.taken_out:
            take_out(session, None, each, **desk.stamp, why=desk.why)
    for values in components.new.values():
        put_in(session, operation, values, today=desk.today, **desk.stamp)
