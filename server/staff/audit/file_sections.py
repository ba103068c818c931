"""The parts of a patient's whole file, in order, and what is left out of it and why."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import LargeBinary

from server.models import (
    AuditEntry,
    Base,
    ClinicEvent,
    ClinicFinding,
    ClinicNotice,
    Component,
    Consent,
    ContactAttempt,
    Envelope,
    FieldChange,
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
from server.words.phrase import Phrase, phrase

SECTIONS: Mapping[type[Base], Phrase] = {
    Patient: phrase("Who the person is, and how they are reached"),
    HospitalNumber: phrase("Numbers at hospitals and health services"),
    Consent: phrase("Consents"),
    ClinicNotice: phrase("Texts that were agreed to, word for word"),
    PatientMerge: phrase("Records that were made one"),
    Shoulder: phrase("Shoulders"),
    Operation: phrase("Operations"),
    Component: phrase("Components of implants"),
    OperationLog: phrase("Lines of the operation log"),
    ClinicFinding: phrase("Findings of visits"),
    ClinicEvent: phrase("Events"),
    KnownStatus: phrase("What letters and registers say"),
    FollowUp: phrase("Follow-ups"),
    Timepoint: phrase("Timepoints: what is asked when"),
    Response: phrase("Answered forms, with every answer"),
    Score: phrase("Scores"),
    ResponseMend: phrase("Answers set aside or moved"),
    Flag: phrase("What waited for a person at the clinic"),
    SafetyLook: phrase("Who looked after warnings in answers"),
    SafetyNotice: phrase("Mails to staff about warnings in answers"),
    Message: phrase("Messages"),
    ContactAttempt: phrase("Calls and letters"),
    Link: phrase("Links to the forms"),
    LinkBirthDate: phrase("Birth dates that links were made with"),
    Envelope: phrase("Sealed answers as they came in"),
    Gate: phrase("The way to the forms"),
    GateFetch: phrase("When forms were fetched"),
    GateProof: phrase("Proofs that open the way to the forms"),
    GateTries: phrase("Wrong birth dates at the link"),
    Transition: phrase("How the state of each timepoint changed"),
    PatientView: phrase("Who looked at the record, by the hour"),
    FieldChange: phrase("What was changed in the record, and why"),
    AuditEntry: phrase("What was done with the record, and by whom"),
}
# Whoever has it gets into the forms, or it names the key that opens the answers.
SECRETS = frozenset({"token", "handle"})
WHY_LEFT_OUT = (
    "Bytes are left out: fingerprints, and sealed copies of the answers, which stand in words under response. "
    "The secret part of a link and the names of keys are left out, since they open the forms and the answers."
)


def columns_of(model: type[Base]) -> dict[str, Any]:
    """The columns of a table that are told, by name; bytes are not, but what is sealed as text or a day is opened."""
    columns = {attribute.key: attribute.columns[0] for attribute in model.__mapper__.column_attrs}
    return {
        name: column for name, column in columns.items() if type(column.type) is not LargeBinary and name not in SECRETS
    }


def names_staff(column: str) -> bool:
    """Whether a column holds who of the staff it was."""
    return column.endswith("by_id") or column == "account_id"
