"""Findings and events are checked by their tables, as operations are."""

from datetime import date

import pytest

from server.clinic.findings import record_event, record_finding
from server.fields.check import EntryRefused
from server.fields.field import Value
from tests.clinic.cast import Desk
from tests.storehouse import NOW, TODAY

FOUND: dict[str, Value] = {"examined_on": date(2026, 6, 1), "examiner": "Dr Quillhurst", "flexion_degrees": 150}
HAPPENED: dict[str, Value] = {"kind": "infection", "happened_on": date(2026, 5, 1), "source": "clinic visit"}


def test_a_finding_is_kept_with_what_was_examined(desk: Desk) -> None:
    with desk.store.writing() as session:
        shoulder = desk.enrol(session).shoulders[0]
        finding = record_finding(session, shoulder, FOUND, now=NOW, today=TODAY, by_id=None)
        assert (finding.shoulder_id, finding.examined_on, finding.flexion_degrees) == (
            shoulder.id,
            date(2026, 6, 1),
            150,
        )
        assert finding.abduction_degrees is None


def test_an_event_keeps_how_exactly_its_day_is_known(desk: Desk) -> None:
    with desk.store.writing() as session:
        shoulder = desk.enrol(session).shoulders[0]
        known = {**HAPPENED, "happened_precision": "month"}
        event = record_event(session, shoulder, known, now=NOW, today=TODAY, by_id=None)
        assert (event.happened_on, event.happened_precision) == (date(2026, 5, 1), "month")


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"examined_on": date(2026, 6, 16)}, "examined_on"),
        ({"examined_on": date(1957, 3, 27)}, "examined_on"),
        ({"examiner": None}, "examiner"),
        ({"flexion_degrees": 260}, "flexion_degrees"),
        ({"loosening": "x" * 81}, "loosening"),
    ],
)
def test_a_finding_that_cannot_be_is_refused_at_its_field(desk: Desk, changed: dict[str, Value], field: str) -> None:
    with pytest.raises(EntryRefused) as refused, desk.store.writing() as session:
        shoulder = desk.enrol(session).shoulders[0]
        record_finding(session, shoulder, {**FOUND, **changed}, now=NOW, today=TODAY, by_id=None)
    assert list(refused.value.errors) == [field]


@pytest.mark.parametrize(
    ("changed", "field"),
    [({"kind": "headache"}, "kind"), ({"source": None}, "source"), ({"happened_on": date(2027, 1, 1)}, "happened_on")],
)
def test_an_event_that_cannot_be_is_refused_at_its_field(desk: Desk, changed: dict[str, Value], field: str) -> None:
    with pytest.raises(EntryRefused) as refused, desk.store.writing() as session:
        shoulder = desk.enrol(session).shoulders[0]
        record_event(session, shoulder, {**HAPPENED, **changed}, now=NOW, today=TODAY, by_id=None)
    assert list(refused.value.errors) == [field]
