"""An operation is entered, completed and corrected with its components: what is kept, what is refused, what is asked about once."""

from datetime import date
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.components import in_the_shoulder
from server.clinic.entries import EntryRefused, ShoulderEntry
from server.clinic.operation_entry import ComponentsEntry, Desk, ToBeChecked, correct_operation, enter_operation
from server.clinic.surgery import surgery_cancelled
from server.fields.check import in_english
from server.fields.field import Value
from server.fields.operation_words import KINDS, OPERATION_KINDS, starts_follow_up
from server.models import AuditEntry, Component, FieldChange, Operation, Patient
from server.queries.coverage import read_lines
from server.queries.facts import standing_of
from server.schedule.status import Reason
from tests.clinic.cast import DONE, PLANNED, with_shoulders
from tests.clinic.cast import Desk as Counter
from tests.storehouse import NOW, TODAY, standard_plan

# The rules are Python's; test_record_in_any_order.py and test_surgery_and_leaving.py do the same on both databases.
on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

FIRST_ON = date(2025, 6, 20)
REVISED_ON = date(2026, 3, 2)
HEAD: dict[str, Value] = {"role": "head", "model": "Cup 1", "lot": "L-1"}
GLENOID: dict[str, Value] = {"role": "glenoid", "model": "Glenoid 2", "lot": "L-2"}


def at(**changed: Any) -> Desk:
    return Desk(**{"now": NOW, "today": TODAY, "by_id": None, **changed})


def put(*components: dict[str, Value], **more: Any) -> ComponentsEntry:
    return ComponentsEntry(new={f"n{place}-": each for place, each in enumerate(components, 1)}, **more)


def enter(
    session: Session,
    patient: Patient,
    *components: dict[str, Value],
    out: tuple[int, ...] = (),
    desk: Desk | None = None,
    **values: Value,
) -> Operation:
    side = str(values.pop("side", "left"))
    entry = ShoulderEntry(side, **{"surgery_on": REVISED_ON, **values})
    return enter_operation(
        session, patient, entry, put(*components, taken_out=frozenset(out)), standard_plan(), desk or at()
    )


def correct(session: Session, operation: Operation, entry: ComponentsEntry | None = None, **values: Any) -> list[str]:
    desk = at(**{name: values.pop(name) for name in ("why", "checked") if name in values})
    return correct_operation(session, operation, values, entry or ComponentsEntry(), standard_plan(), desk)


def refused(error: pytest.ExceptionInfo[EntryRefused]) -> list[str]:
    return list(error.value.errors)


@on_sqlite
def test_a_revision_takes_components_out_and_puts_others_in(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        first = patient.shoulders[0].operations[0]
        correct(session, first, put(HEAD))
        [head] = first.put_in
        revision = enter(
            session, patient, GLENOID, HEAD | {"lot": "L-3"}, out=(head.id,), kind="revision", reason="glenoid_erosion"
        )
        assert [each.role for each in in_the_shoulder(session, patient.shoulders[0])] == ["glenoid", "head"]
        assert (head.put_in_id, head.taken_out_id) == (first.id, revision.id)
        assert {"component:put_in", "component:taken_out"} <= set(session.scalars(select(AuditEntry.action)))


@on_sqlite
def test_what_was_empty_is_filled_without_a_reason_and_what_was_recorded_is_changed_with_one(desk: Counter) -> None:
    with desk.store.writing() as session:
        operation = desk.enrol(session).shoulders[0].operations[0]
        assert correct(session, operation, surgeon="Dr Quillhurst") == ["surgeon"]
        with pytest.raises(EntryRefused) as error:
            correct(session, operation, diagnosis="osteonecrosis")
        assert refused(error) == ["why"]
        assert operation.diagnosis == "osteoarthritis"
        correct(session, operation, diagnosis="osteonecrosis", why="The report says so")
        kept = session.scalars(select(FieldChange).where(FieldChange.field == "diagnosis")).one()
        assert (kept.old, kept.new, kept.why) == ("osteoarthritis", "osteonecrosis", "The report says so")


@on_sqlite
def test_a_planned_operation_is_done_with_all_that_is_known_then(desk: Counter) -> None:
    with desk.store.writing() as session:
        operation = desk.enrol(session, with_shoulders(PLANNED), today=date(2026, 5, 1)).shoulders[0].operations[0]
        correct(
            session,
            operation,
            put(HEAD),
            surgery_on=date(2026, 6, 1),
            implant_type="resurfacing_hemi",
            procedure="resurfacing",
        )
        session.expire_all()
        assert [row.code for row in operation.follow_ups[0].timepoints] == ["baseline", "week-6", "year-1"]
        assert [each.lot for each in operation.put_in] == ["L-1"]
        assert (operation.surgery_precision, operation.implant_type) == ("day", "resurfacing_hemi")


@on_sqlite
def test_a_corrected_day_moves_the_windows(desk: Counter) -> None:
    with desk.store.writing() as session:
        operation = desk.enrol(session).shoulders[0].operations[0]
        correct(session, operation, surgery_on=date(2025, 7, 1), why="mistyped")
        session.expire_all()
        anchors = {row.anchor_on for row in operation.follow_ups[0].timepoints if row.code == "year-1"}
        assert anchors == {date(2026, 7, 1)}


@on_sqlite
def test_a_component_written_down_by_mistake_is_struck_and_stays_in_the_history(desk: Counter) -> None:
    with desk.store.writing() as session:
        operation = desk.enrol(session).shoulders[0].operations[0]
        correct(session, operation, put(HEAD))
        [head] = operation.put_in
        struck = ComponentsEntry(struck=frozenset({head.id}))
        with pytest.raises(EntryRefused) as error:
            correct(session, operation, struck)
        assert refused(error) == ["why"]
        correct(session, operation, struck, why="the label of another patient")
        assert in_the_shoulder(session, operation.shoulder) == []
        assert session.scalars(select(Component.lot)).all() == ["L-1"]


@on_sqlite
def test_a_kind_that_starts_no_follow_up_becomes_one_that_does(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        again = enter(session, patient, kind="other", procedure="washout")
        assert again.follow_ups == []
        correct(
            session,
            again,
            kind="revision",
            procedure="modular_exchange",
            reason="infection",
            why="the liner was exchanged",
        )
        assert len(again.follow_ups) == 1


@on_sqlite
def test_a_kind_without_a_follow_up_expects_nothing_any_more(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        revision = enter(session, patient, kind="revision", stage="one", reason="infection", procedure="spacer")
        assert [row.code for row in revision.follow_ups[0].timepoints if row.not_expected_on is None]
        correct(session, revision, stage="first_of_two", why="a second stage is planned")
        session.expire_all()
        follow_up = revision.follow_ups[0]
        assert {row.not_expected_reason for row in follow_up.timepoints} == {follow_up.end_reason} == {"no_follow_up"}
        reasons = {standing_of(row, TODAY).reason for row in follow_up.timepoints}
        assert reasons == {Reason.NO_FOLLOW_UP, Reason.ENROLLED_LATER}, "what had closed before stays so"
        correct(session, revision, stage="one", why="there will be no second one")
        session.expire_all()
        assert {row.not_expected_reason for row in follow_up.timepoints} == {follow_up.end_reason} == {None}


def test_which_kinds_start_a_follow_up_is_one_table() -> None:
    starts = {kind for kind in KINDS if starts_follow_up(kind, None)}
    assert starts == {"index", "revision", "second_stage", "conversion"}
    assert not starts_follow_up("revision", "first_of_two")
    assert set(OPERATION_KINDS) - starts == {"other", "earlier"}


@on_sqlite
def test_a_two_stage_exchange_is_one_revision_and_its_second_stage_starts_the_follow_up(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        spacer: dict[str, Value] = {"role": "spacer", "material": "antibiotic_cement"}
        first = enter(
            session, patient, spacer, kind="revision", stage="first_of_two", reason="infection", procedure="spacer"
        )
        assert first.follow_ups == []
        second = enter(
            session,
            patient,
            HEAD,
            out=(first.put_in[0].id,),
            kind="second_stage",
            surgery_on=date(2026, 5, 4),
            reason="planned_second_stage",
            procedure="reverse",
        )
        assert (second.first_stage_id, len(second.follow_ups)) == (first.id, 1)
        with pytest.raises(EntryRefused) as error:
            correct(session, first, stage="one", why="in one stage after all")
        assert refused(error) == ["stage"]


@on_sqlite
def test_an_operation_elsewhere_decades_back_is_known_to_its_year(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        values: dict[str, Any] = {
            "kind": "earlier", "surgery_on": date(1998, 1, 1), "surgery_precision": "year", "place": "elsewhere",
            "known_by": "patient", "certainty": "reported", "procedure": "stabilisation",
        }  # fmt: skip
        earlier = enter(session, patient, **values)
        assert (earlier.surgery_precision, earlier.follow_ups) == ("year", [])
        lines = [line.operation_id for line in read_lines(session)]
        assert lines and earlier.id not in lines, "what another clinic did is not this clinic's coverage"


@on_sqlite
@pytest.mark.parametrize(
    ("values", "field", "says"),
    [
        ({"kind": "index"}, "kind", "has its first operation"),
        ({"kind": "revision", "side": "right"}, "kind", "nothing for a revision"),
        ({"kind": "second_stage"}, "kind", "first of two stages"),
        ({"kind": "revision", "surgery_on": date(2025, 6, 19)}, "surgery_on", "is before the first operation of 20 June 2025"),
        ({"kind": "earlier", "surgery_on": date(2025, 6, 21)}, "surgery_on", "is after the first operation"),
        ({"kind": "revision", "surgery_on": date(1956, 1, 1)}, "surgery_on", "before the birth date"),
        ({"kind": "revision", "surgery_on": date(2026, 6, 16)}, "surgery_on", "after today"),
        ({"kind": "other", "procedure": "modular_exchange"}, "procedure", "that is a revision"),
        ({"kind": "revision", "procedure": "washout"}, "procedure", "exchanges nothing"),
        ({"kind": "other", "procedure": "resection"}, "procedure", "that is a revision"),
        ({"kind": "revision", "reason": "other"}, "reason_other", "needs a word of what it is"),
        ({"kind": "revision", "reason_other": "a fall"}, "reason_other", "Choose that"),
        ({"kind": "revision", "diagnosis": "osteoarthritis"}, "diagnosis", "not recorded of such an operation"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_at_its_field(desk: Counter, values: dict[str, Any], field: str, says: str) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        with pytest.raises(EntryRefused) as error:
            enter(session, patient, **values)
        assert refused(error) == [field]
        assert says in in_english(error.value.errors[field])[0]
        assert len(patient.shoulders[0].operations) == 1


@on_sqlite
def test_a_year_that_may_be_the_same_is_not_before(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        again = enter(session, patient, kind="revision", surgery_on=date(2025, 1, 1), surgery_precision="year")
        assert again.surgery_on == date(2025, 1, 1)


@on_sqlite
def test_a_first_operation_is_not_corrected_behind_its_revision_nor_after_death(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        enter(session, patient, kind="revision")
        with pytest.raises(EntryRefused, match="is after the revision of 2 March 2026"):
            correct(session, patient.shoulders[0].operations[0], surgery_on=date(2026, 3, 3), why="mistyped")
        patient.died_on = date(2026, 4, 1)
        with pytest.raises(EntryRefused, match="The patient died on 1 April 2026"):
            enter(session, patient, kind="other", surgery_on=date(2026, 4, 2))


@on_sqlite
@pytest.mark.parametrize(
    ("components", "says"),
    [
        ((HEAD, HEAD), "The lot L-1 is entered twice"),
        ((HEAD | {"expires_on": date(2026, 3, 1)},), "was to be used by 1 March 2026"),
        ((HEAD | {"udi": "(01)09506000134352(10)L-9"},), "says L-9, and the field beside it L-1"),
    ],
    ids=["a lot twice", "too old", "code and label differ"],
)
def test_what_may_be_a_slip_is_asked_about_once_and_the_answer_is_kept(
    desk: Counter, components: tuple[dict[str, Value], ...], says: str
) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        with pytest.raises(ToBeChecked, match=says):
            enter(session, patient, *components, kind="revision")
        revision = enter(session, patient, *components, kind="revision", desk=at(checked=True))
        [kept] = session.scalars(select(FieldChange).where(FieldChange.field == "checked"))
        assert says in (kept.new or "")
        as_kept = {each.id: values for each, values in zip(revision.put_in, components, strict=True)}
        assert correct(session, revision, ComponentsEntry(changed=as_kept), surgeon="Dr Quillhurst") == ["surgeon"]


@on_sqlite
def test_a_serial_number_lies_in_one_shoulder_and_screws_of_one_lot_in_many(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        correct(session, patient.shoulders[0].operations[0], put(HEAD | {"serial": "S-7", "maker": "Invented"}))
        with pytest.raises(ToBeChecked, match="The serial number S-7"):
            enter(session, patient, HEAD | {"serial": "S-7"}, kind="revision")
        screws: dict[str, Value] = {"role": "screws", "lot": "L-4"}
        [old] = patient.shoulders[0].operations[0].put_in
        head = HEAD | {"serial": "S-7", "maker": "Another"}
        revision = enter(session, patient, screws, screws, head, out=(old.id,), kind="revision")
        assert len(revision.put_in) == 3


@on_sqlite
def test_the_same_day_twice_and_a_revision_of_a_native_joint_are_asked_about(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        correct(
            session,
            patient.shoulders[0].operations[0],
            procedure="cuff_repair",
            implant_type="none",
            why="none was put in",
        )
        with pytest.raises(ToBeChecked) as asked:
            enter(session, patient, kind="revision", surgery_on=FIRST_ON)
        assert [each.split(".")[0] for each in asked.value.doubts] == [
            "Another operation on this shoulder was done on 20 June 2025 too",
            "What was done on this shoulder before left no implant in it",
        ]


@on_sqlite
def test_a_re_operation_changes_no_component_of_the_implant(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        with pytest.raises(EntryRefused, match="that is a revision") as error:
            enter(session, patient, HEAD, kind="other", procedure="washout")
        assert refused(error) == ["components"]
        screws: dict[str, Value] = {"role": "screws", "lot": "L-4"}
        assert len(enter(session, patient, screws, kind="other", procedure="fracture_fixation").put_in) == 1


@on_sqlite
def test_an_operation_with_components_stays_done(desk: Counter) -> None:
    with desk.store.writing() as session:
        operation = desk.enrol(session, with_shoulders(DONE)).shoulders[0].operations[0]
        correct(session, operation, put(HEAD))
        kept = ComponentsEntry(changed={each.id: HEAD for each in operation.put_in})
        with pytest.raises(EntryRefused) as error:
            correct(session, operation, kept, surgery_on=None, why="not done")
        assert refused(error) == ["components", "surgery_on"]


@on_sqlite
def test_a_cancellation_that_was_a_mistake_is_taken_back(desk: Counter) -> None:
    with desk.store.writing() as session:
        operation = desk.enrol(session, with_shoulders(PLANNED), today=date(2026, 5, 1)).shoulders[0].operations[0]
        surgery_cancelled(session, operation, TODAY, reason="the wrong patient", now=NOW, today=TODAY, by_id=None)
        with pytest.raises(EntryRefused, match="This operation was cancelled on"):
            correct(session, operation, surgery_on=date(2026, 6, 1))
        assert correct(session, operation, cancelled_on=None, cancelled_reason=None, why="the wrong patient") == [
            "cancelled_on",
            "cancelled_reason",
        ]
