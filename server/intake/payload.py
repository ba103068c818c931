"""What lies inside an envelope, a form or a notice, checked as far as neither a plan nor an instrument is needed. PROTOCOL.md section 4.

The schemas are the limits that the protocol states: what the tables can keep, and what no later step overflows on.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from marshmallow import EXCLUDE, Schema, ValidationError, fields, validate, validates_schema

from scoring.answers import AnswerProblem, Problems
from scoring.strict_json import JsonProblem, load_strict_json
from server.crypto.envelope import EnvelopeProblem
from server.forms.instant import read_instant

FLAG_OF = {  # each NOTICE of the protocol, and the flag that it raises
    "wrong_side": "said_wrong_side",
    "wrong_date": "said_wrong_date",
    "wrong_person": "said_wrong_person",
    "died": "said_died",
    "stop": "asked_to_stop",
    "call_me": "asked_for_call",
}


class Whole(validate.Regexp):
    """The whole text fits: `$` alone lets a line end through."""

    def __call__(self, value: Any) -> Any:
        if self.regex.fullmatch(value) is None:
            raise ValidationError(self._format_error(value))
        return value


UUID_PATTERN = re.compile(r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")
UUID = Whole(UUID_PATTERN)
LANGUAGE = Whole(r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$")
PLAIN = Whole("^[^\x00-\x1f\x7f\ud800-\udfff]*$", error="holds a character that cannot be stored")


def _instant(value: Any) -> datetime:
    instant = read_instant(value)
    if instant is None:
        raise ValidationError("is no instant of the years 1970 to 2099")
    return instant


def _instant_field() -> fields.Function:
    return fields.Function(deserialize=_instant, required=True, metadata={"type": "string", "format": "date-time"})


class _Members(Schema):
    """What forms and notices share."""

    class Meta:
        unknown = EXCLUDE

    format = fields.Integer(strict=True, required=True, validate=validate.Equal(1))
    sheet_revision = fields.Integer(strict=True, required=True, validate=validate.Range(0, 2**31 - 1))
    language = fields.String(required=True, validate=[validate.Length(max=10), LANGUAGE])
    build = fields.String(load_default="", validate=[validate.Length(max=60), PLAIN])
    utc_offset_minutes = fields.Integer(
        strict=True, load_default=None, allow_none=True, validate=validate.Range(-1440, 1440)
    )
    time_zone = fields.String(load_default=None, allow_none=True, validate=[validate.Length(max=40), PLAIN])
    clock_skew_ms = fields.Integer(
        strict=True, load_default=None, allow_none=True, validate=validate.Range(-(10**13), 10**13)
    )


class DeviceSchema(Schema):
    class Meta:
        unknown = EXCLUDE

    screen = fields.String(load_default="", validate=[validate.Length(max=40), PLAIN])
    browser = fields.String(load_default="", validate=[validate.Length(max=120), PLAIN])


class FormSchema(_Members):
    kind = fields.String(load_default="form", validate=validate.Equal("form"))
    form_id = fields.String(required=True, validate=UUID)
    opened_at = _instant_field()
    finished_at = _instant_field()
    mode = fields.String(required=True, validate=validate.OneOf(("own_phone",)))
    answered_by = fields.String(
        required=True, validate=validate.OneOf(("patient", "patient_with_help", "someone_else"))
    )
    device = fields.Nested(DeviceSchema, load_default=dict)
    parts = fields.Raw(required=True)  # server.forms.check holds them against the form


class NoticeSchema(_Members):
    kind = fields.String(required=True, validate=validate.Equal("notice"))
    notice = fields.String(required=True, validate=validate.OneOf(FLAG_OF))
    form_id = fields.String(load_default=None, allow_none=True, validate=UUID)
    true_side = fields.String(load_default=None, allow_none=True, validate=validate.OneOf(("left", "right")))
    noticed_at = _instant_field()

    @validates_schema
    def _only_a_wrong_side_has_a_true_one(self, members: Mapping[str, Any], **_options: Any) -> None:
        if members.get("true_side") is not None and members.get("notice") != "wrong_side":
            raise ValidationError("only wrong_side names a side", "true_side")


_FORM, _NOTICE = FormSchema(), NoticeSchema()


@dataclass(frozen=True)
class FormPayload:
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


@dataclass(frozen=True)
class NoticePayload:
    """`notice`: one of FLAG_OF. `form_id`: the form in which it was said, None when on the list."""

    notice: str
    form_id: str | None
    true_side: str | None
    sheet_revision: int
    language: str
    build: str
    noticed_at: datetime
    utc_offset_minutes: int | None
    time_zone: str | None
    clock_skew_ms: int | None

    @property
    def flag_kind(self) -> str:
        return FLAG_OF[self.notice]


def read_document(data: bytes) -> Any:
    """Raises EnvelopeProblem `not_json`."""
    try:
        return load_strict_json(data)
    except JsonProblem as problem:
        raise EnvelopeProblem("not_json") from problem


def read_payload(document: Any) -> FormPayload | NoticePayload:
    """Raises AnswerProblem with the faults by member; they never repeat what was typed."""
    is_notice = isinstance(document, dict) and document.get("kind") == "notice"
    try:
        members: dict[str, Any] = (_NOTICE if is_notice else _FORM).load(document)
    except ValidationError as problem:
        raise AnswerProblem(_by_member(problem.messages)) from problem
    del members["format"], members["kind"]
    if is_notice:
        return NoticePayload(**members)
    device = " ".join(filter(None, (members["device"].get("screen", ""), members["device"].get("browser", ""))))
    return FormPayload(**members | {"device": device})


def form_id_in(document: Any) -> str | None:
    """Of what `read_payload` refuses: which form it is, if it is one and says so."""
    is_form = isinstance(document, dict) and document.get("kind") != "notice"
    form_id = document.get("form_id") if is_form else None
    return form_id if isinstance(form_id, str) and UUID_PATTERN.fullmatch(form_id) else None


def _by_member(messages: Any) -> Problems:
    by_member = messages if isinstance(messages, dict) else {"payload": messages}
    return {
        str(name): [str(fault) for fault in (faults if isinstance(faults, list) else [faults])]
        for name, faults in by_member.items()
    }
