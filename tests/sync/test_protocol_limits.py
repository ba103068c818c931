"""PROTOCOL.md and /api/openapi.json state the limits that the schema holds, and the tables can keep what passes it."""

import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from marshmallow import Schema, validate
from sqlalchemy import String

from server.app import LONGEST_POST, create_app
from server.crypto.envelope import LONGEST
from server.forms.instant import END_OF_INSTANTS, FIRST_INSTANT
from server.intake.payload import DeviceSchema, FormSchema, NoticeSchema
from server.models import Base, InstalledText, Response
from server.sync.api import LONGEST_DUE
from server.sync.receive import MOST_IN_ONE_POST
from tests.clinic_case import Case

PROTOCOL = Path("server/sync/PROTOCOL.md").read_text(encoding="utf-8")
STATED = dict(
    re.findall(r"^\| `?([\w.]+)`? \| ([^|]+) \|$", PROTOCOL.split("Limits. What lies")[1].split("Texts hold")[0], re.M)
)
# Nothing of these is written differently on another database.
ON_SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def numbers(member: str) -> list[int]:
    return [int(each) for each in re.findall(r"-?\d+", STATED[member])]


def validators(schema: Schema, member: str) -> list[Any]:
    return schema.fields[member].validators


@pytest.mark.parametrize("schema", [FormSchema(), NoticeSchema()])
@pytest.mark.parametrize("member", ["sheet_revision", "utc_offset_minutes", "clock_skew_ms"])
def test_the_ranges_are_those_of_the_schema(schema: Schema, member: str) -> None:
    [found] = [each for each in validators(schema, member) if isinstance(each, validate.Range)]
    assert numbers(member)[:2] == [found.min, found.max]


LENGTHS = [
    (FormSchema(), "language", "language"),
    (FormSchema(), "build", "build"),
    (FormSchema(), "time_zone", "time_zone"),
    (NoticeSchema(), "language", "language"),
    (NoticeSchema(), "build", "build"),
    (NoticeSchema(), "time_zone", "time_zone"),
    (DeviceSchema(), "screen", "device.screen"),
    (DeviceSchema(), "browser", "device.browser"),
]


@pytest.mark.parametrize(("schema", "member", "stated"), LENGTHS)
def test_the_lengths_are_those_of_the_schema(schema: Schema, member: str, stated: str) -> None:
    [found] = [each for each in validators(schema, member) if isinstance(each, validate.Length)]
    assert numbers(stated)[0] == found.max


def length_of(table: type[Base], column: str) -> int:
    kind = table.__table__.c[column].type
    assert isinstance(kind, String) and kind.length is not None
    return kind.length


def test_what_passes_the_schema_fits_its_column() -> None:
    for member in ("language", "build", "time_zone"):
        assert numbers(member)[0] <= length_of(Response, member)
    both = numbers("device.screen")[0] + 1 + numbers("device.browser")[0]
    assert both <= length_of(Response, "device")
    assert numbers("text_id")[0] == length_of(InstalledText, "text_id")


def test_the_first_and_the_last_day_are_those_that_are_read() -> None:
    days = re.findall(r"\d{4}-\d\d-\d\d", STATED["instants"])
    assert days == [FIRST_INSTANT.date().isoformat(), (END_OF_INSTANTS - timedelta(days=1)).date().isoformat()]


def test_the_sizes_of_bodies_and_envelopes_are_those_of_the_server() -> None:
    assert f"at most {LONGEST:,} characters" in PROTOCOL
    assert f"over {LONGEST_DUE:,} bytes" in PROTOCOL
    assert f"1 to {MOST_IN_ONE_POST} of them, body at most {LONGEST_POST // 2**20} MiB" in PROTOCOL


@ON_SQLITE
def test_openapi_describes_both_payloads_and_every_status(case: Case) -> None:
    document = create_app(case.runtime).test_client().get("/api/openapi.json").get_json()
    form, notice = (document["components"]["schemas"][name] for name in ("FormPayload", "NoticePayload"))
    for described in (form, notice):
        build, revision = described["properties"]["build"], described["properties"]["sheet_revision"]
        assert (build["maxLength"], revision["maximum"]) == (numbers("build")[0], numbers("sheet_revision")[1])
    assert set(notice["required"]) >= {"kind", "notice", "noticed_at"}
    statuses = {path: set(each["post"]["responses"]) for path, each in document["paths"].items()}
    assert statuses["/api/due"] >= {"200", "403", "405", "413", "422", "503"}
    assert statuses["/api/envelopes"] >= {"200", "405", "413", "422", "503"}
    assert all(f"| {status} |" in PROTOCOL for status in (405, 413, 422, 503))
