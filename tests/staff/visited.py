"""A clinic with something on every staff page, and the addresses of all of them."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.clinic.events import record_event
from server.clinic.findings import record_finding
from server.clinic.known_status import record_status
from server.clinic.log import log_operation
from server.fields.field import Value
from server.models import Envelope, Flag, GateTries, Operation, Patient, Response, Shoulder, Timepoint
from server.texts.check import check_file
from server.texts.install import install_text
from server.texts.notices import Wording, install_version
from tests.staff.staff_case import StaffCase, years_ago
from tests.texts.making import licence, text_file

NOTICE = {"en": Wording("Your data", "# Us\n\nA clinic."), "es": Wording("Sus datos", "# Nosotros\n\nUna clínica.")}


@dataclass(frozen=True)
class Visited:
    """`pages`: role to the addresses it may open."""

    patient_id: int
    response_id: int
    flag_id: int
    envelope_id: int
    pages: dict[str, list[str]]


def fill_clinic(staff: StaffCase, *, first_name: str = "Ada", last_name: str = "Arden") -> Visited:
    """One patient, both shoulders, an answered form, a flag, a held envelope and a locked link."""
    case = staff.case
    left = ShoulderEntry(side="left", surgery_on=years_ago(case, 15), implant_type="resurfacing_hemi")
    right = ShoulderEntry(side="right", surgery_on=years_ago(case, 1), implant_type="reverse", surgeon="Dr. Imagined")
    patient_id = case.enrol(left, right, first_name=first_name, last_name=last_name)
    timepoint_id = open_timepoint(staff, patient_id, "year-1")
    response_id = staff.answer(timepoint_id, {"sst@1/7": 0, "pain@1/1": 2, "sane@1/1": 80}, on=case.today)
    write_down(staff, patient_id)
    with case.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        flag = Flag(
            kind="contact_change",
            patient_id=patient_id,
            timepoint_id=timepoint_id,
            response_id=response_id,
            item="since@2/6a",
            detail="555 0199",
            raised_at=case.now,
        )
        envelope = Envelope(
            envelope_id="0" * 36,
            sha256=b"s" * 32,
            lookup_hash=b"l" * 32,
            key_id="0011",
            received_at=case.now - timedelta(hours=3),
            body=b"sealed",
            state="held",
            held_reason="answers_not_valid",
            held_detail='{"sst@1/4": ["is none of the codes"]}',
        )
        text = check_file(text_file("pain@1", "ar"), case.runtime.library)
        install_text(session, text, licence(), now=case.now, by_id=None)
        install_version(session, "privacy", "1", NOTICE, replaces="", now=case.now, by_id=None)
        install_version(session, "linkage", "1", NOTICE, replaces="", now=case.now, by_id=None)
        session.merge(GateTries(handle=patient.handle, failures=5, last_failure_at=case.now, locked_at=case.now))
        session.add_all([flag, envelope])
        session.flush()
        waits = select(Timepoint.id).where(Timepoint.patient_id == patient_id, Timepoint.code == "year-15")
        pages = _pages(patient_id, response_id, flag.id, envelope.id, session.scalars(waits).one())
        operation_id = session.scalars(
            select(Operation.id).join(Shoulder).where(Shoulder.patient_id == patient_id)
        ).first()
        pages["nurse"] += _operation_pages(patient_id, operation_id or 0)
        return Visited(patient_id, response_id, flag.id, envelope.id, pages)


def write_down(staff: StaffCase, patient_id: int) -> None:
    """An event, a visit, and what a letter says; each the first of its table."""
    case = staff.case
    entered: dict[str, Any] = {"now": case.now, "today": case.today, "by_id": staff.account_id()}
    with case.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        reported: dict[str, Value] = {
            "kind": "infection",
            "happened_on": case.today,
            "certainty": "reported",
            "source_kind": "patient",
        }
        record_event(session, patient.shoulders[0], reported, **entered)
        record_finding(
            session,
            patient.shoulders[0],
            {"examined_on": case.today, "examiner": "Dr. Imagined", "flexion_degrees": 140},
            **entered,
        )
        line: dict[str, Value] = {"surgery_on": case.today, "side": "left", "not_enrolled_reason": "abroad"}
        log_operation(session, line, **entered)
        record_status(session, patient, {"known_on": case.today, "source": "gp_letter", "alive": "alive"}, **entered)


def _pages(
    patient_id: int, response_id: int, flag_id: int, envelope_id: int, timepoint_id: int
) -> dict[str, list[str]]:
    care = ["/today", "/today?kind=held", "/patients", "/patients?q=nobody", "/patients/new", f"/patients/{patient_id}"]
    care += [f"/patients/{patient_id}/enrolled", f"/patients/{patient_id}/letter", f"/responses/{response_id}"]
    care += [f"/today?open=timepoint-{timepoint_id}", f"/timepoints/{timepoint_id}/message"]
    care += [f"/flags/{flag_id}", "/patients/999", "/nothing/here", "/audit"]
    care += [
        f"/patients/{patient_id}/{page}"
        for page in ("details", "leave", "consents", "contacts", "numbers", "same-person")
    ]
    care += [f"/patients/{patient_id}/operations/1/side"]
    care += [f"/responses/{response_id}/place", f"/patients/{patient_id}/same-person?other=Y-0002"]
    care += [
        f"/patients/{patient_id}/{kind}/{row}" for kind in ("events", "findings", "sources") for row in ("new", "1")
    ]
    care += [
        f"/patients/{patient_id}/last-known",
        f"/patients/{patient_id}/file",
        "/log",
        "/log/1",
        "/coverage",
        "/series?side=left&open=cuff",
        "/series/people?loss=taking_part.declined",
        "/patients/new?log=1",
        f"/patients/{patient_id}/findings/1/constant",
    ]
    every = [
        "/held",
        f"/held/{envelope_id}",
        "/erasure",
        "/instruments",
        "/instruments/sst@1",
        "/instruments/since@2",
        "/account",
    ]
    every += ["/notices", "/notices/1", "/notices/99"]
    every += ["/texts", "/plans", "/reminders", "/texts/pain@1/ar/licensed-1", "/texts/pain@1/ar/licensed-9"]
    return {
        "nurse": care + every,
        "surgeon": ["/files"],
        "data_manager": [
            "/audit",
            "/accounts",
            "/accounts/new",
            "/settings",
            "/files",
            "/series?open=years",
            "/notices/privacy/new",
            "/notices/nothing/new",
            "/today",
            *every,
        ],
        "nobody": ["/sign-in", "/invitation", "/nothing/here"],
    }


def _operation_pages(patient_id: int, operation_id: int) -> list[str]:
    new = f"/patients/{patient_id}/operations/new"
    found = [new, f"{new}?side=left&kind=revision&done=yes", "/components", "/components?model=a"]
    return [*found, f"/patients/{patient_id}/operations/{operation_id}/edit"]


def open_timepoint(staff: StaffCase, patient_id: int, code: str) -> int:
    with staff.case.store.reading() as session:
        found = select(Timepoint.id).where(Timepoint.patient_id == patient_id, Timepoint.code == code)
        asked_now = (Timepoint.answered_on.is_(None), Timepoint.historical.is_(False))
        return session.scalars(found.where(*asked_now)).one()


def counted_responses(staff: StaffCase) -> int:
    with staff.case.store.reading() as session:
        return len(session.scalars(select(Response.id).where(Response.counted)).all())
