"""The links of a demo that are worth opening, as `demo.json` and the front door list them."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.demo.folder import write_demo_file
from server.installation.runtime import Runtime
from server.links.make import link_url
from server.models import FollowUp, Gate, GateTries, Link, Operation, Patient, Shoulder, Timepoint
from server.queries.clock import clinic_day, clinic_now, the_clinic
from server.queries.current import is_offered
from server.queries.facts import status_of
from server.schedule.status import WAITING, Status

OTHERS_OF_EACH_STATE = 3


@dataclass(frozen=True)
class OpenForm:
    side: str
    code: str
    status: Status
    due_on: date
    invited: bool


@dataclass(frozen=True)
class Listed:
    """`state` is what the link says when it is opened: due, nothing_due, ended, replaced, or locked. `forms` wait behind it."""

    study_number: str
    name: str
    birth_on: date
    language: str
    state: str
    token: str
    forms: tuple[OpenForm, ...]

    @property
    def side(self) -> str | None:
        sides = sorted({form.side for form in self.forms})
        return None if not sides else sides[0] if len(sides) == 1 else "both"

    @property
    def timepoint(self) -> str | None:
        return self.forms[0].code if self.forms else None

    def as_json(self, base_url: str) -> dict[str, Any]:
        return {
            "study_number": self.study_number,
            "birth_date": self.birth_on.isoformat(),
            "side": self.side,
            "timepoint": self.timepoint,
            "state": self.state,
            "forms": len(self.forms),
            "url": link_url(base_url, self.token),
        }


def write_listing(runtime: Runtime, accounts: list[dict[str, str]]) -> dict[str, Any]:
    """Writes `demo.json`, whose content is returned: where staff sign in, with what, and the links worth opening."""
    with runtime.store.reading() as session:
        clinic = the_clinic(session)
        today = clinic_day(clinic, clinic_now(clinic, runtime.real_clock()))
        links = [each.as_json(clinic.base_url) for each in list_links(session, today)]
        content = {"staff_url": f"{clinic.base_url}/sign-in", "accounts": accounts, "patient_links": links}
    write_demo_file(runtime.settings.data, content)
    return content


def list_links(session: Session, today: date) -> list[Listed]:
    """Everyone with something due, those invited last first; then a few of each other state."""
    forms = _open_forms(session, today)
    rows = session.execute(
        select(Link, Patient, Gate, GateTries.locked_at)
        .join(Patient, Patient.id == Link.patient_id)
        .join(Gate, Gate.lookup_hash == Link.lookup_hash)
        .outerjoin(GateTries, GateTries.handle == Patient.handle)
        .where(Link.token.is_not(None), Patient.merged_into_id.is_(None))
        .order_by(Link.id.desc())
    )
    listed = [
        Listed(
            study_number=patient.study_number,
            name=f"{patient.first_name} {patient.last_name}",
            birth_on=patient.birth_on,
            language=patient.language,
            state="locked" if locked_at is not None else gate.state,
            token=link.token or "",
            forms=tuple(forms.get(patient.id, ())) if gate.state == "due" else (),
        )
        for link, patient, gate, locked_at in rows
    ]
    due = sorted((each for each in listed if each.state == "due"), key=lambda each: _when(each, today))
    others = [each for each in listed if each.state != "due"]
    few = [each for state in _states(others) for each in _first_of(others, state)]
    return [*due, *few]


def _when(listed: Listed, today: date) -> tuple[bool, int]:
    """Those who were invited before those who were not, and among them whose due day is nearest."""
    invited = any(form.invited for form in listed.forms)
    return not invited, min(abs((form.due_on - today).days) for form in listed.forms) if listed.forms else 0


def _states(listed: list[Listed]) -> list[str]:
    return sorted({each.state for each in listed})


def _first_of(listed: list[Listed], state: str) -> list[Listed]:
    return [each for each in listed if each.state == state][:OTHERS_OF_EACH_STATE]


def _open_forms(session: Session, today: date) -> dict[int, list[OpenForm]]:
    rows = session.execute(
        select(Timepoint, Shoulder.side)
        .join(FollowUp, Timepoint.follow_up_id == FollowUp.id)
        .join(Operation, FollowUp.operation_id == Operation.id)
        .join(Shoulder, Operation.shoulder_id == Shoulder.id)
        .where(is_offered(today))
        .order_by(Timepoint.opens_on, Shoulder.side)
    )
    found: dict[int, list[OpenForm]] = {}
    for row, side in rows:
        status = status_of(row, today)
        if status in WAITING:
            form = OpenForm(side, row.code, status, row.due_on, row.invites_on <= today)
            found.setdefault(row.patient_id, []).append(form)
    return found
