"""A clinic's own plan in a file: what cannot stand is refused at the first place that is wrong, with the reason."""

import hashlib
import json
from collections.abc import Callable
from typing import Any

import pytest

from scoring.library import load_library
from server.timepoints.plan_file import PlanFileProblem, check_plan_file
from tests.timepoints.making import NEEDS_PERMISSION, plan_document, plan_file, titles

Change = Callable[[dict[str, Any]], object]


def check(data: bytes, **known: Any) -> Any:
    return check_plan_file(data, load_library(), **known)


def refused(data: bytes, **known: Any) -> str:
    with pytest.raises(PlanFileProblem) as problem:
        check(data, **known)
    return str(problem.value)


def test_a_plan_that_can_stand_is_read_with_the_hash_of_its_bytes() -> None:
    data = plan_file()
    checked = check(data, languages=("en", "es"), stated_sha256=hashlib.sha256(data).hexdigest().upper())
    assert (checked.plan.name, checked.content.encode()) == ("harbour@1", data)
    assert checked.sha256 == hashlib.sha256(data).digest()
    assert [entry.code for entry in checked.plan.entries()] == ["baseline", "week-6", "year-1"]


def test_the_shipped_plans_can_stand_as_a_clinic_s_own() -> None:
    shipped = [json.dumps(document).encode() for document in load_library().plans.values()]
    assert shipped
    assert [bool(check(content, languages=("en", "es")).plan.after) for content in shipped] == [True] * len(shipped)


def test_a_ladder_of_the_old_format_is_accepted_and_not_read() -> None:
    checked = check(plan_file(ladder=[{"step": "of another time"}]))
    assert checked.holds_ladder and not check(plan_file()).holds_ladder
    assert checked.plan == check(plan_file()).plan


def point(document: dict[str, Any], number: int) -> dict[str, Any]:
    found: dict[str, Any] = document["timepoints"][number]
    return found


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda d: d.update(colour="red"), "colour: is not understood here"),
        (lambda d: point(d, 1).update(parts=[{"instrument": "knee@1"}]), "timepoints[1] parts[0] instrument: 'knee@1' is no"),
        (lambda d: point(d, 1).update(parts=[{"instrument": NEEDS_PERMISSION}]), "it needs its owner's permission"),
        (lambda d: point(d, 1).update(parts=[{"instrument": "woos@1"}]), "woos@1 cannot be sent: it is unverified"),
        (lambda d: point(d, 0).update(code="before"), 'timepoints[0] code: must be baseline, but is "before"'),
        (lambda d: point(d, 1).update(code="year-7"), "timepoints[1] code: must be day-, week- or month-"),
        (lambda d: point(d, 1).update(code="baseline"), "timepoints[1] code: must be day-, week- or month- and a number"),
        (lambda d: point(d, 2).update(code="year-2"), "must be that of its first year, year-1"),
        (lambda d: point(d, 1).update(closes=20), "timepoints week-6: must go surgery, opens, invites, due, closes"),
        (lambda d: point(d, 1).update(title={"en": "Six weeks"}), "timepoints week-6 title: has none in es"),
        (lambda d: point(d, 1).update(title=titles("x" * 121)), "is longer than 120 characters"),
        (lambda d: point(d, 1).update(title=titles("\ud800")), "holds a sign that cannot be printed"),
        (lambda d: d.update(note="two\nlines"), "note: holds a sign that cannot be printed"),
        (lambda d: d.update(version="0"), "version: \"0\" does not have the form it should have"),
        (lambda d: d.update(version="1.2"), "version: \"1.2\" does not have the form it should have"),
        (lambda d: d.update(id="Harbour"), 'id: "Harbour" does not have the form it should have'),
    ],
)  # fmt: skip
def test_what_cannot_stand_is_named_by_its_place(change: Change, says: str) -> None:
    document = plan_document()
    change(document)
    assert says in refused(json.dumps(document).encode(), languages=("en", "es"))


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "the file is empty"),
        (b" " * 200_001, "the file has more than 200,000 bytes, and a plan has at most so many"),
        (b"\xef\xbb\xbf" + plan_file(), "byte-order mark"),
        (plan_file().decode().encode("utf-16-le"), "not JSON"),
        (plan_file(title="Ñ").replace("Ñ".encode(), b"\xd1"), "the file is not UTF-8 (byte "),
        (plan_file()[:-1], "not JSON"),
        (b"[]", "must hold one JSON object"),
        (plan_file().replace(b'"due": 42', b'"due": 42, "due": 43'), 'timepoints[1]: the key "due" stands there twice'),
        (plan_file().replace(b'"due": 42', b'"due": NaN'), "timepoints[1] due: NaN is not a number"),
        (plan_file().replace(b'"due": 42', b'"due": 1e999'), "too large a number"),
        (b"[" * 200_000, "nested too deeply"),
    ],
    ids=range(11),
)
def test_a_file_that_is_no_plan_is_refused_with_its_place(data: bytes, says: str) -> None:
    assert says in refused(data)


def test_a_hash_that_was_stated_otherwise_is_refused() -> None:
    assert "it was changed on the way" in refused(plan_file(), stated_sha256="0" * 64)
    assert "is not 64 digits" in refused(plan_file(), stated_sha256="soon")


def test_what_needs_permission_stands_once_its_licensed_text_is_there() -> None:
    data = plan_file("harbour", "1", NEEDS_PERMISSION)
    assert "permission" in refused(data)
    assert check(data, licensed=(NEEDS_PERMISSION,)).plan.name == "harbour@1"
    assert "it is unverified" in refused(plan_file("harbour", "1", "woos@1"), licensed=("woos@1",))
