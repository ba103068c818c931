"""Which patient a row belongs to, of every table that concerns one; and which rows concern a person, in all records of theirs.

The audit trail names rows as a kind and an id ("operation 5"). Whose they are is read from the rows themselves, so that it is right also
after answers or operations have gone to another record.
"""

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from sqlalchemy import select, union
from sqlalchemy.orm import Session
from sqlalchemy.sql.selectable import SelectBase

from server.models import (
    Base,
    ClinicEvent,
    ClinicFinding,
    Component,
    Consent,
    ContactAttempt,
    Envelope,
    Flag,
    FollowUp,
    Gate,
    GateFetch,
    GateProof,
    GateTries,
    HospitalNumber,
    KnownStatus,
    Link,
    LinkBirthDate,
    Message,
    Operation,
    OperationLog,
    Patient,
    PatientMerge,
    PatientView,
    Response,
    ResponseMend,
    SafetyLook,
    SafetyNotice,
    Score,
    Shoulder,
    Timepoint,
    Transition,
)

_GATE_OF = Link.lookup_hash == Gate.lookup_hash
# Of each table: its first key column and the patient. A merge concerns both records.
PATIENT_OF: Mapping[type[Base], SelectBase] = {
    Patient: select(Patient.id, Patient.id.label("patient_id")),
    **{
        model: select(model.id, model.patient_id)
        for model in (
            Consent,
            HospitalNumber,
            KnownStatus,
            Shoulder,
            Timepoint,
            Response,
            ContactAttempt,
            Flag,
            Link,
        )
    },
    PatientView: select(PatientView.patient_id, PatientView.patient_id.label("of")),
    PatientMerge: union(select(PatientMerge.id, PatientMerge.kept_id), select(PatientMerge.id, PatientMerge.alias_id)),
    Operation: select(Operation.id, Shoulder.patient_id).select_from(Operation).join(Shoulder),
    OperationLog: select(OperationLog.id, Shoulder.patient_id).select_from(OperationLog).join(Operation).join(Shoulder),
    Component: select(Component.id, Shoulder.patient_id)
    .select_from(Component)
    .join(Operation, Component.put_in_id == Operation.id)
    .join(Shoulder),
    ClinicFinding: select(ClinicFinding.id, Shoulder.patient_id).select_from(ClinicFinding).join(Shoulder),
    ClinicEvent: select(ClinicEvent.id, Shoulder.patient_id).select_from(ClinicEvent).join(Shoulder),
    SafetyLook: select(SafetyLook.flag_id, Flag.patient_id).select_from(SafetyLook).join(Flag),
    SafetyNotice: select(SafetyNotice.id, Flag.patient_id).select_from(SafetyNotice).join(Flag),
    FollowUp: select(FollowUp.id, Shoulder.patient_id).select_from(FollowUp).join(Operation).join(Shoulder),
    Transition: select(Transition.id, Timepoint.patient_id).select_from(Transition).join(Timepoint),
    Message: select(Message.id, Timepoint.patient_id).select_from(Message).join(Timepoint),
    Score: select(Score.id, Response.patient_id).select_from(Score).join(Response),
    ResponseMend: select(ResponseMend.id, Response.patient_id)
    .select_from(ResponseMend)
    .join(Response, ResponseMend.response_id == Response.id),
    Envelope: select(Envelope.id, Link.patient_id)
    .select_from(Envelope)
    .join(Link, Link.lookup_hash == Envelope.lookup_hash),
    LinkBirthDate: select(LinkBirthDate.id, Link.patient_id).select_from(LinkBirthDate).join(Link),
    Gate: select(Gate.lookup_hash, Link.patient_id).select_from(Gate).join(Link, _GATE_OF),
    GateProof: select(GateProof.id, Link.patient_id)
    .select_from(GateProof)
    .join(Link, Link.lookup_hash == GateProof.lookup_hash),
    GateFetch: select(GateFetch.lookup_hash, Link.patient_id)
    .select_from(GateFetch)
    .join(Link, Link.lookup_hash == GateFetch.lookup_hash),
    GateTries: select(GateTries.handle, Link.patient_id)
    .select_from(GateTries)
    .join(Gate, Gate.handle == GateTries.handle)
    .join(Link, _GATE_OF),
}
# As the audit trail calls them; all other kinds of things there concern no single patient.
KINDS: Mapping[str, type[Base]] = {
    **{
        model.__tablename__: model
        for model in (
            *(Patient, Consent, Operation, OperationLog, Component, ClinicEvent, ClinicFinding, KnownStatus),
            *(Timepoint, Message, Response, Envelope, Flag),
        )
    },
    "event": ClinicEvent,
    "finding": ClinicFinding,
    "follow-up": FollowUp,
}


def whose(session: Session, things: Iterable[str]) -> dict[str, int]:
    """Thing to patient, of those that belong to one."""
    ids: dict[str, list[int]] = {}
    for thing in set(things):
        kind, _, number = thing.rpartition(" ")
        if kind in KINDS and number.isdigit():
            ids.setdefault(kind, []).append(int(number))
    found: dict[str, int] = {}
    for kind, wanted in ids.items():
        key, patient = PATIENT_OF[KINDS[kind]].subquery().c
        rows = session.execute(select(key, patient).where(key.in_(wanted)))
        found |= {f"{kind} {row[0]}": row[1] for row in rows}
    return found


def records_of(session: Session, patient_id: int) -> list[int]:
    """Every record of this person, the kept one first: whichever of them is asked for, and all that were made one with it."""
    found = session.get_one(Patient, patient_id)
    while found.merged_into_id is not None:
        found = session.get_one(Patient, found.merged_into_id)
    ids, new = [found.id], [found.id]
    while new:
        merged = select(Patient.id).where(Patient.merged_into_id.in_(new)).order_by(Patient.id)
        new = list(session.scalars(merged))
        ids += new
    return ids


def rows_of(session: Session, model: type[Base], patient_ids: Collection[int]) -> list[Any]:
    """The rows of one table that concern these records, in the order in which they were made."""
    keys = list(model.__mapper__.primary_key)
    key, patient = PATIENT_OF[model].subquery().c
    wanted = select(model).where(keys[0].in_(select(key).where(patient.in_(patient_ids)))).order_by(*keys)
    return list(session.scalars(wanted))


def things_of(session: Session, patient_ids: Collection[int]) -> list[str]:
    """All that the audit trail may call a thing of these records."""
    found = []
    for kind, model in KINDS.items() if patient_ids else ():
        key, patient = PATIENT_OF[model].subquery().c
        found += [f"{kind} {each}" for each in session.scalars(select(key).where(patient.in_(patient_ids)))]
    return found
