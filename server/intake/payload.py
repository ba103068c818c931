"""What lies inside an envelope, checked as far as no instrument is needed. PROTOCOL.md section 4."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from marshmallow import EXCLUDE, Schema, ValidationError, fields, validate

from scoring.answers import AnswerProblem, Problems
from scoring.strict_json import JsonProblem, load_strict_json
from server.crypto.envelope import EnvelopeProblem

INSTANT = r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$"
PLAIN = validate.Regexp("^[^\x00-\x1f\x7f\ud800-\udfff]*$", error="holds a character that cannot be stored")
UUID = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"


class _Device(Schema):
    class Meta:
        unknown = EXCLUDE

    screen = fields.String(load_default="", validate=[validate.Length(max=40), PLAIN])
    browser = fields.String(load_default="", validate=[validate.Length(max=120), PLAIN])


class _Payload(Schema):
    class Meta:
        unknown = EXCLUDE

    format = fields.Integer(strict=True, required=True, validate=validate.Equal(1))
    form_id = fields.String(required=True, validate=validate.Regexp(UUID))
    sheet_revision = fields.Integer(strict=True, required=True, validate=validate.Range(0, 2**31))
    language = fields.String(required=True, validate=validate.Regexp(r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$"))
    build = fields.String(load_default="", validate=[validate.Length(max=60), PLAIN])
    opened_at = fields.String(required=True, validate=validate.Regexp(INSTANT))
    finished_at = fields.String(required=True, validate=validate.Regexp(INSTANT))
    utc_offset_minutes = fields.Integer(
        strict=True, load_default=None, allow_none=True, validate=validate.Range(-1440, 1440)
    )
    time_zone = fields.String(load_default=None, allow_none=True, validate=[validate.Length(max=40), PLAIN])
    clock_skew_ms = fields.Integer(
        strict=True, load_default=None, allow_none=True, validate=validate.Range(-(10**13), 10**13)
    )
    mode = fields.String(required=True, validate=validate.OneOf(("own_phone",)))
    answered_by = fields.String(
        required=True, validate=validate.OneOf(("patient", "patient_with_help", "someone_else"))
    )
    device = fields.Nested(_Device, load_default=dict)
    parts = fields.Raw(required=True)  # server.forms.check holds them against the form


_SCHEMA = _Payload()


@dataclass(frozen=True)
class Payload:
    form_id: str
    sheet_revision: int
    language: str
    build: str
    opened_at: datetime
    finished_at: datetime
    utc_offset_minutes: int | None
    time_zone: str | None
    clock_skew_ms: int | None
    mode: str
    answered_by: str
    device: str
    parts: Any


def read_payload(data: bytes) -> Payload:
    """Raises EnvelopeProblem `not_json`, or AnswerProblem with the faults by member; they never repeat what was typed."""
    try:
        document = load_strict_json(data)
    except JsonProblem as problem:
        raise EnvelopeProblem("not_json") from problem
    try:
        members: dict[str, Any] = _SCHEMA.load(document)
    except ValidationError as problem:
        raise AnswerProblem(_by_member(problem.messages)) from problem
    try:
        opened_at, finished_at = (datetime.fromisoformat(members.pop(name)) for name in ("opened_at", "finished_at"))
    except ValueError as problem:
        raise AnswerProblem({"finished_at": ["is no instant"]}) from problem
    device = " ".join(filter(None, (members["device"].get("screen", ""), members["device"].get("browser", ""))))
    del members["format"]
    return Payload(**members | {"opened_at": opened_at, "finished_at": finished_at, "device": device})


def _by_member(messages: Any) -> Problems:
    by_member = messages if isinstance(messages, dict) else {"payload": messages}
    return {
        str(name): [str(fault) for fault in (faults if isinstance(faults, list) else [faults])]
        for name, faults in by_member.items()
    }
