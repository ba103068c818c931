"""Who carries a component, asked of both databases: they differ in how they compare texts."""

from datetime import date
from typing import Any

import pytest
from sqlalchemy.orm import Session

from server.clinic.entries import ShoulderEntry
from server.clinic.log import log_operation
from server.clinic.recall import Carrier, Place, Wanted, carriers, logged
from server.models import Component, Operation
from tests.clinic.cast import DONE, Desk, ada_but, but, with_shoulders
from tests.storehouse import NOW, TODAY

LABELS = (
    {"model": "Cup_2", "lot": "Ab-12 C"},
    {"model": "Cup 2", "lot": None},
    {"model": "Cup 9", "lot": "AB12D"},
    None,
)


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        (Wanted(lot="ab12c"), [(1, Place.IN_SITU), (2, Place.LABEL_UNKNOWN), (4, Place.PART_NOT_RECORDED)]),
        (Wanted(model="CUP_"), [(1, Place.IN_SITU), (4, Place.PART_NOT_RECORDED)]),
        (
            Wanted(model="cup", lot="AB 12 D"),
            [(3, Place.IN_SITU), (2, Place.LABEL_UNKNOWN), (4, Place.PART_NOT_RECORDED)],
        ),
        (Wanted(lot=" - "), []),
    ],
    ids=["a lot in other letters", "an underline is itself", "a model and a lot", "nothing is looked for"],
)
def test_carriers_are_found_however_the_label_was_typed(
    desk: Desk, wanted: Wanted, found: list[tuple[int, Place]]
) -> None:
    with desk.store.writing() as session:
        order = {}
        for number, label in enumerate(LABELS, 1):
            patient = desk.enrol(session, ada_but(study_number=f"A-{number}"))
            order[patient.id] = number
            if label is not None:
                operation = patient.shoulders[0].operations[0]
                session.add(Component(put_in_id=operation.id, role="head", made_at=NOW, **label))
        session.flush()
        assert [(order[each.patient.id], each.place) for each in carriers(session, wanted)] == found


on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def put_in(session: Session, operation: Operation, **label: Any) -> Component:
    component = Component(put_in_id=operation.id, made_at=NOW, **label)
    session.add(component)
    session.flush()
    return component


def operated(desk: Desk, session: Session, **values: Any) -> Operation:
    return desk.enrol(session, with_shoulders(but(DONE, **values))).shoulders[0].operations[0]


def found_of(session: Session, operation: Operation, wanted: Wanted) -> list[Carrier]:
    return [each for each in carriers(session, wanted) if each.operation is operation]


@on_sqlite
@pytest.mark.parametrize(
    ("values", "listed"),
    [
        ({"implant_type": None}, True),
        ({"implant_type": "unknown"}, True),
        ({"implant_type": None, "procedure": "arthroplasty"}, True),
        ({"implant_type": "other", "implant_other": "an old one"}, True),
        ({"implant_type": "none"}, False),
        ({"implant_type": None, "procedure": "cuff_repair"}, False),
    ],
)
def test_an_implant_that_nobody_wrote_down_may_be_the_one(desk: Desk, values: dict[str, Any], listed: bool) -> None:
    with desk.store.writing() as session:
        operation = operated(desk, session, **values)
        found = found_of(session, operation, Wanted(lot="L-1"))
        assert [(each.place, each.missing) for each in found] == [(Place.PART_NOT_RECORDED, ())] * listed


@on_sqlite
def test_one_row_does_not_hide_the_parts_that_have_none(desk: Desk) -> None:
    with desk.store.writing() as session:
        operation = operated(desk, session, implant_type="reverse")
        put_in(session, operation, role="screws", lot="S-1")
        put_in(session, operation, role="stem", lot="S-2")
        [carrier] = found_of(session, operation, Wanted(lot="L-1"))
        assert (carrier.place, carrier.missing) == (Place.PART_NOT_RECORDED, ("liner", "glenosphere", "baseplate"))
        for role in carrier.missing:
            put_in(session, operation, role=role, lot="S-3")
        assert found_of(session, operation, Wanted(lot="L-1")) == []


@on_sqlite
def test_an_exchange_is_judged_by_what_is_in_the_shoulder_after_it(desk: Desk) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(but(DONE, implant_type="stemmed_hemi")))
        first = patient.shoulders[0].operations[0]
        parts = [put_in(session, first, role=role, lot="S-1") for role in ("stem", "head")]
        again = ShoulderEntry("left", kind="revision", surgery_on=date(2026, 3, 2), implant_type="stemmed_hemi")
        revision = desk.add(session, patient, again)
        assert [each.missing for each in found_of(session, revision, Wanted(lot="L-1"))] == [()], "it has no row"
        put_in(session, revision, role="head", lot="S-2")
        assert found_of(session, revision, Wanted(lot="L-1")) == []
        parts[0].taken_out_id = revision.id
        session.flush()
        assert [each.missing for each in found_of(session, revision, Wanted(lot="L-1"))] == [("stem",)]
        assert found_of(session, first, Wanted(lot="L-1")) == []


@on_sqlite
def test_a_label_that_was_not_read_may_be_the_one(desk: Desk) -> None:
    with desk.store.writing() as session:
        operation = operated(desk, session)
        put_in(session, operation, role="head", model="Cup 9", lot="L-1")
        assert [each.place for each in found_of(session, operation, Wanted(maker="Invented"))] == [Place.LABEL_UNKNOWN]
        assert found_of(session, operation, Wanted(maker="Invented", model="Cup 2")) == []


@on_sqlite
def test_the_lines_of_the_log_are_counted_since_no_name_is_known(desk: Desk) -> None:
    line: dict[str, Any] = {"surgery_on": date(2026, 3, 2), "side": "left", "not_enrolled_reason": "declined"}
    with desk.store.writing() as session:
        for implant_type, procedure in (("reverse", None), (None, None), ("none", None), (None, "cuff_repair")):
            values = {**line, "implant_type": implant_type, "procedure": procedure}
            log_operation(session, values, now=NOW, today=TODAY, by_id=None)
        assert logged(session) == 2
