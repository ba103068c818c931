"""No body makes the server work long or talk long: it is refused by one short line that repeats nothing of it."""

import json
from itertools import count

import pytest

from tests.clinic_case import Case
from tests.stranger import b64u

# Nothing here is looked up, so one kind of database will do.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

SHORT = 250
RIGHT = {"lookup": b64u(bytes(32)), "proof": b64u(bytes(32))}
POSTED = {"envelope": "e30.e30", "proof": b64u(bytes(32))}


def refused(case: Case, path: str, body: str) -> tuple[int, str]:
    answer = case.app.test_client().post(path, data=body, content_type="application/json")
    assert "marker" not in answer.text and "\n" not in answer.text.strip()
    assert len(answer.text) < SHORT
    return answer.status_code, answer.text


def many(megabytes: float, pattern: str) -> str:
    """Members or items of this pattern, numbered, that together are so long."""
    numbered = (pattern.replace("#", str(number)) for number in count())
    found, length = [], 0
    while length < megabytes * 1_000_000:
        found.append(next(numbered))
        length += len(found[-1]) + 1
    return ",".join(found)


@pytest.mark.parametrize(
    "body",
    [
        "{" + many(5.9, '"marker#":0') + "}",
        '{"envelopes":[' + many(5.9, '{"marker#":"x"}') + "]}",
        '{"envelopes":[' + many(5.9, "#") + "]}",
        '{"envelopes":[{' + many(5.9, '"marker#":[]') + "}]}",
        '{"envelopes":' + "[" * 5_900_000,
        '{"marker":"' + "\\u0041" * 980_000 + '"}',
        '{"envelopes":1.' + "1" * 5_900_000 + "}",
    ],
    ids=["members", "envelopes", "numbers", "members of one", "depth", "escapes", "digits"],
)
def test_a_large_body_of_something_else_is_refused_in_one_line(case: Case, body: str) -> None:
    assert refused(case, "/api/envelopes", body)[0] == 422


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/api/due", {**RIGHT, "marker": 1}),
        ("/api/due", {"lookup": "marker", "proof": "marker"}),
        ("/api/envelopes", {"envelopes": [{**POSTED, "marker": "marker"}]}),
        ("/api/envelopes", {"envelopes": [POSTED], "marker": 1}),
        ("/api/envelopes", {"envelopes": "marker"}),
        ("/api/envelopes", {"envelopes": [POSTED] * 21}),
    ],
)
def test_a_refusal_repeats_nothing_of_what_came(case: Case, path: str, body: object) -> None:
    status, text = refused(case, path, json.dumps(body))
    assert status == 422 and "PROTOCOL.md" in text


def test_twenty_envelopes_as_the_protocol_writes_them_are_read(case: Case) -> None:
    body = json.dumps({"envelopes": [POSTED] * 20}, indent=4)
    answer = case.app.test_client().post("/api/envelopes", data=body, content_type="application/json")
    assert [each["reason"] for each in answer.get_json()["receipts"]] == ["malformed"] * 20


@pytest.mark.parametrize(("blanks", "status"), [(3900, 403), (4100, 413), (5_900_000, 413)])
def test_a_question_for_what_is_due_takes_four_kilobytes(case: Case, blanks: int, status: int) -> None:
    answer = case.app.test_client().post(
        "/api/due", data=json.dumps(RIGHT) + " " * blanks, content_type="application/json"
    )
    assert answer.status_code == status and len(answer.text) < SHORT


@pytest.mark.parametrize("path", ["/api/due", "/api/envelopes"])
def test_another_method_is_refused_in_one_line(case: Case, path: str) -> None:
    answer = case.app.test_client().get(path)
    assert answer.status_code == 405 and len(answer.text) < SHORT
