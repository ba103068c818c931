"""A live clinic, where a second factor is asked for, and a person there with an authenticator app."""

import html
import re
from dataclasses import dataclass

import pyotp
from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.test import TestResponse

from server.models import AuditEntry, StaffAuthenticatorApp
from server.queries.clock import the_clinic
from tests.staff.staff_case import PASSWORD, SECRET, StaffCase, send_sign_in

NURSE = "nurse@clinic.example"
COOKIE = "yearmark-staff"
ORIGIN = "https://localhost"
OPTIONS = re.compile(r'data-options="([^"]+)"')
KEY = re.compile(r'<p class="token">([A-Z2-7 ]+)</p>')


def go_live(staff: StaffCase) -> StaffCase:
    with staff.case.store.writing() as session:
        clinic = the_clinic(session)
        clinic.mode, clinic.clock_real_at, clinic.base_url = "live", None, ORIGIN
    return staff


@dataclass
class Desk:
    """A browser at a live clinic."""

    staff: StaffCase
    client: FlaskClient
    page: str = ""

    def post(self, path: str, **fields: str) -> TestResponse:
        """As the page seen last would, with its secret."""
        answer = self.client.post(path, data={"form_secret": SECRET.findall(self.page)[-1], **fields})
        if SECRET.search(answer.text):
            self.page = answer.text
        return answer

    def get(self, path: str) -> TestResponse:
        answer = self.client.get(path)
        self.page = answer.text
        return answer

    def cookie(self) -> str:
        found = self.client.get_cookie(COOKIE)
        return found.value if found else ""

    def options(self) -> str:
        return html.unescape(OPTIONS.findall(self.page)[0])


def password_given(staff: StaffCase, email: str = NURSE) -> Desk:
    """After the password, at whatever page it leads to."""
    desk = Desk(staff, staff.browser())
    answer = send_sign_in(desk.client, email, PASSWORD)
    assert answer.status_code == 302
    desk.get(answer.location)
    return desk


def give_app(staff: StaffCase, role: str = "nurse") -> pyotp.TOTP:
    """The account has an authenticator app from now on."""
    totp = pyotp.TOTP(pyotp.random_base32())
    row = {"account_id": staff.account_id(role), "name": "blue phone", "secret": totp.secret, "last_step": 0}
    with staff.case.store.writing() as session:
        session.add(StaffAuthenticatorApp(**row, made_at=staff.case.now))
    return totp


def code_now(staff: StaffCase, totp: pyotp.TOTP) -> str:
    return totp.at(staff.case.now)


def actions(staff: StaffCase, beginning: str) -> list[str]:
    with staff.case.store.reading() as session:
        found = select(AuditEntry.action).where(AuditEntry.action.like(f"{beginning}%")).order_by(AuditEntry.id)
        return list(session.scalars(found))
