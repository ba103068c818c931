"""Staff at a small clinic: an application with the staff pages, an account for each role, and forms sent as a browser sends them."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Any

from flask import Flask
from flask.testing import FlaskClient
from jinja2.bccache import Bucket, BytecodeCache
from sqlalchemy import select
from werkzeug.routing import Rule
from werkzeug.test import TestResponse

from server.forms.asked import AskedPart
from server.intake.check import form_of
from server.intake.enter import Entered, enter_form
from server.models import StaffAccount, StaffSession, Timepoint
from server.staff.account.accounts import create_account, hash_password
from server.staff.blueprint import home, make_staff
from server.staff.page.database import db
from server.staff.page.headers import protect
from server.staff.page.sessions import start_session
from server.timepoints.plans import read_plans
from tests.clinic_case import Case
from tests.storehouse import sharing_compiled

PASSWORD = "five quiet herons waiting"
DECLINED = -1  # in place of a value: the patient would rather not answer
ROLES = ("nurse", "surgeon", "data_manager")
COMPILED: dict[str, bytes] = {}
BUILDERS: dict[tuple[str, bool], Callable[..., tuple[str, str]]] = {}
LONGEST_POST = 8 * 1024 * 1024
SECRET = re.compile(r'name="form_secret" value="([^"]+)"')


class CompiledOnce(BytecodeCache):
    """Each test has an application of its own; without this each would compile every template once more."""

    def load_bytecode(self, bucket: Bucket) -> None:
        if bucket.key in COMPILED:
            bucket.bytecode_from_string(COMPILED[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        COMPILED[bucket.key] = bucket.bytecode_to_string()


class BuiltOnce(Rule):
    """An address whose builder is compiled for the first application alone; compiling those of 130 pages takes as long as a test."""

    def _compile_builder(self, append_unknown: bool = True) -> Callable[..., tuple[str, str]]:
        key = self.rule, append_unknown
        if key not in BUILDERS:
            BUILDERS[key] = super()._compile_builder(append_unknown)
        return BUILDERS[key]


@cache
def password_hash() -> str:
    """One hash for all accounts of a test run: each takes 64 MiB and a tenth of a second."""
    return hash_password(PASSWORD)


@dataclass
class Staff:
    """A signed-in member of staff with a browser."""

    client: FlaskClient
    secret: str = ""

    def get(self, path: str, **options: Any) -> TestResponse:
        return self.client.get(path, **options)

    def post(self, path: str, fields: dict[str, Any] | None = None, **options: Any) -> TestResponse:
        """As the page's own form would: with the secret of the session."""
        return self.client.post(path, data={"form_secret": self.secret, **(fields or {})}, **options)


@dataclass
class StaffCase:
    case: Case
    app: Flask
    signed_in: dict[str, Staff] = field(default_factory=dict)

    def browser(self) -> FlaskClient:
        return self.app.test_client()

    def sign_in(self, role: str) -> Staff:
        """A new session of this role, without the work of a password; remembered for the next call."""
        if role not in self.signed_in:
            with self.case.store.writing() as session:
                account = session.query(StaffAccount).filter(StaffAccount.role == role).one()
                secret = start_session(session, account, now=self.case.now)
                session.flush()
                form_secret = session.scalars(select(StaffSession.form_secret).order_by(StaffSession.id.desc())).first()
            client = self.browser()
            client.set_cookie("yearmark-staff", secret)
            self.signed_in[role] = Staff(client, form_secret or "")
        return self.signed_in[role]

    def account_id(self, role: str = "nurse") -> int:
        with self.case.store.reading() as session:
            return session.query(StaffAccount.id).filter(StaffAccount.role == role).scalar() or 0

    def answer(
        self, timepoint_id: int, values: dict[str, int], *, on: date, mode: str = "telephone", language: str = "en"
    ) -> int:
        """Records a form as staff enter it. `values`: "sst@1/7" to the number chosen; whatever is not named gets 1 or its lowest."""
        runtime = self.case.runtime
        at = datetime.combine(on, time(10, 0), tzinfo=UTC)
        entered = Entered(mode=mode, answered_by="patient", language=language, answered_at=at, by_id=self.account_id())
        with self.case.store.writing() as session:
            timepoint = session.get_one(Timepoint, timepoint_id)
            parts = [
                self._part(part, values, language) for part in form_of(timepoint, read_plans(session), runtime.library)
            ]
            return enter_form(
                session, timepoint, parts, entered, library=runtime.library, keys=runtime.keys, now=self.case.now
            )

    def _part(self, part: AskedPart, values: dict[str, int], language: str) -> dict[str, Any]:
        spec = part.instrument
        definition = self.case.runtime.library.instrument(spec)
        answers: dict[str, Any] = {}
        for name in part.items:
            item = definition.by_item[name]
            wanted = values.get(f"{spec}/{name}")
            condition = item.asked_if
            met = condition is None or answers[condition.item].get("value") in condition.codes
            if not met:
                answers[name] = {"state": "skipped"}
            elif wanted == DECLINED or (wanted is None and item.type in ("month", "text")):
                answers[name] = {"state": "declined"}
            else:
                quiet = 0 if definition.kind == "form" and 0 in item.numbers else item.numbers[0]
                answers[name] = {"state": "answered", "value": quiet if wanted is None else wanted}
        return {"instrument": spec, "text_id": f"{spec}/{language}/descriptive-1", "answers": answers}


def make_staff_case(case: Case) -> StaffCase:
    app = Flask("staff-pages", static_folder=None)
    app.url_rule_class = BuiltOnce
    app.config.update(MAX_CONTENT_LENGTH=LONGEST_POST)
    app.extensions["yearmark"] = case.runtime
    app.jinja_options = {**app.jinja_options, "bytecode_cache": CompiledOnce()}
    app.register_blueprint(make_staff(case.runtime))
    app.add_url_rule("/", "home", home)
    app.after_request(protect)
    with app.app_context():
        sharing_compiled(db.engine)
    with case.store.writing() as session:
        for role in ROLES:
            name = f"Nell {role.replace('_', ' ').title()}"
            create_account(session, f"{role}@clinic.example", name, role, password_hash(), case.now)
    return StaffCase(case, app)


def send_sign_in(client: FlaskClient, email: str, password: str, **fields: str) -> TestResponse:
    secret = SECRET.findall(client.get("/sign-in").text)[0]
    return client.post("/sign-in", data={"email": email, "password": password, "form_secret": secret, **fields})


def years_ago(case: Case, years: int, days: int = 0) -> date:
    return case.today.replace(year=case.today.year - years) - timedelta(days=days)
