"""Slips about an implant that would make a figure or a recall wrong: an exchange without an end, a conversion that is a revision."""

from datetime import date
from typing import Any

import pytest

from server.clinic.contradiction import Contradiction
from server.clinic.entered_in_error import bring_back_operation, take_back_operation
from server.clinic.entries import EntryRefused
from server.clinic.misplaced import Act
from server.clinic.operation_doubts import procedure_and_implant
from server.clinic.operation_entry import ComponentsEntry, ToBeChecked
from server.clinic.side import correct_side
from tests.clinic.cast import DONE, but, with_shoulders
from tests.clinic.cast import Desk as Counter
from tests.clinic.test_operation_entry import FIRST_ON, GLENOID, HEAD, REVISED_ON, at, correct, enter, put
from tests.storehouse import NOW, TODAY, add_account

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
STAYS = "Nothing is taken out, so all that was put in before stays in this shoulder. Is that so?"
HAS_AN_IMPLANT = "There is an implant in this shoulder, by what was done before. Is this a revision?"


def test_what_was_put_in_later_is_not_taken_out_before(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        first = patient.shoulders[0].operations[0]
        correct(session, first, put(HEAD))
        [head] = first.put_in
        earlier: dict[str, Any] = {"kind": "earlier", "surgery_on": date(2010, 3, 1), "procedure": "stabilisation"}
        with pytest.raises(EntryRefused, match="put in on 20 June 2025, so it was not taken out on 1 March 2010"):
            enter(session, patient, out=(head.id,), **earlier)
        assert head.taken_out_id is None


def test_two_operations_of_one_rank_do_not_cross_when_a_day_moves(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        revision = enter(session, patient, HEAD, kind="revision")
        [head] = revision.put_in
        again = enter(session, patient, out=(head.id,), kind="revision", surgery_on=date(2026, 4, 2))
        kept = ComponentsEntry(changed={head.id: HEAD})
        with pytest.raises(EntryRefused, match="taken out on 2 April 2026, so it was not put in on 1 May 2026"):
            correct(session, revision, kept, surgery_on=date(2026, 5, 1), why="mistyped")
        taking = ComponentsEntry(taken_out=frozenset({head.id}))
        with pytest.raises(EntryRefused, match="put in on 2 March 2026, so it was not taken out on 1 February 2026"):
            correct(session, again, taking, surgery_on=date(2026, 2, 1), why="mistyped")
        of_the_year: dict[str, Any] = {"surgery_on": date(2026, 1, 1), "surgery_precision": "year"}
        assert "surgery_on" in correct(session, again, taking, **of_the_year, why="only the year is known")


def test_a_revision_entered_in_error_took_nothing_out(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(DONE))
        first = patient.shoulders[0].operations[0]
        correct(session, first, put(HEAD, GLENOID))
        head, glenoid = first.put_in
        revision = enter(session, patient, out=(head.id, glenoid.id), kind="revision")
        with pytest.raises(EntryRefused, match="A component that a later operation took out cannot be struck"):
            correct(session, first, ComponentsEntry(struck=frozenset({head.id})), why="mistyped")
        act = Act("the wrong patient", NOW, TODAY, add_account(session).id)
        take_back_operation(session, revision, act)
        correct(session, first, ComponentsEntry(struck=frozenset({head.id})), why="mistyped")
        assert head.struck_at is not None
        correct_side(session, first, {}, act)
        assert (first.shoulder.side, glenoid.taken_out_id) == ("right", None)


def test_one_entered_in_error_comes_back_only_where_what_it_took_out_was_there(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(DONE))
        revision = enter(session, patient, HEAD, kind="revision")
        [head] = revision.put_in
        again = enter(session, patient, out=(head.id,), kind="revision", surgery_on=date(2026, 4, 2))
        act = Act("the wrong patient", NOW, TODAY, add_account(session).id)
        take_back_operation(session, again, act)
        kept = ComponentsEntry(changed={head.id: HEAD})
        assert correct(session, revision, kept, surgery_on=date(2026, 5, 1), why="mistyped") == ["surgery_on"]
        with pytest.raises(Contradiction, match="put in on 1 May 2026, so it was not taken out on 2 April 2026"):
            bring_back_operation(session, again, act)


@pytest.mark.parametrize("procedure", ["component_exchange", "component_removed", "resection", "spacer", None])
def test_an_exchange_that_takes_nothing_out_is_asked_about_once(desk: Counter, procedure: str | None) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        first = patient.shoulders[0].operations[0]
        correct(session, first, put(HEAD))
        values: dict[str, Any] = {"kind": "revision", "procedure": procedure}
        with pytest.raises(ToBeChecked) as asked:
            enter(session, patient, **values)
        assert asked.value.doubts == [STAYS]
        revision = enter(session, patient, **values, desk=at(checked=True))
        assert correct(session, revision, surgeon="Dr Quillhurst") == ["surgeon"], "and not again"


def test_who_adds_a_component_or_takes_one_out_is_asked_nothing(desk: Counter) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        first = patient.shoulders[0].operations[0]
        correct(session, first, put(HEAD))
        [head] = first.put_in
        enter(session, patient, GLENOID, kind="revision", procedure="component_added")
        later: dict[str, Any] = {"kind": "revision", "surgery_on": date(2026, 4, 2), "procedure": "component_exchange"}
        assert enter(session, patient, HEAD | {"lot": "L-9"}, out=(head.id,), **later).taken_out == [head]


@pytest.mark.parametrize(
    ("before", "asked"),
    [
        ({"implant_type": "stemmed_hemi"}, True),
        ({"implant_type": None, "procedure": "hemiarthroplasty"}, True),
        ({"implant_type": "none", "procedure": "cuff_repair"}, False),
        ({"implant_type": None, "procedure": None}, False),
    ],
)
def test_a_conversion_of_an_implant_is_asked_about(desk: Counter, before: dict[str, Any], asked: bool) -> None:
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(but(DONE, **before)))
        values: dict[str, Any] = {"kind": "conversion", "reason": "pain", "procedure": "reverse"}
        if asked:
            with pytest.raises(ToBeChecked) as doubt:
                enter(session, patient, **values)
            assert doubt.value.doubts == [HAS_AN_IMPLANT]
        converted = enter(session, patient, **values, desk=at(checked=asked))
        assert converted.surgery_on == REVISED_ON > FIRST_ON


def test_a_procedure_and_an_implant_type_that_exclude_each_other_are_asked_about(desk: Counter) -> None:
    doubtful: dict[str, Any] = {"procedure": "resurfacing", "implant_type": "anatomic_total"}
    assert procedure_and_implant(doubtful) == [
        "“resurfacing of the humeral head” and the implant type “anatomic total” do not go together. Are both right?"
    ]
    for fits in ({"implant_type": "resurfacing_with_glenoid"}, {"implant_type": "other"}, {"procedure": "other"}):
        assert procedure_and_implant({**doubtful, **fits}) == []
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(but(DONE, implant_type=None)))
        with pytest.raises(ToBeChecked, match="do not go together"):
            correct(session, patient.shoulders[0].operations[0], None, **doubtful)


def test_a_serial_number_of_an_operation_entered_in_error_raises_no_doubt(desk: Counter) -> None:
    numbered = HEAD | {"serial": "S-7"}
    with desk.store.writing() as session:
        patient = desk.enrol(session, with_shoulders(DONE))
        wrong = enter(session, patient, numbered, kind="revision")
        take_back_operation(session, wrong, Act("the wrong day", NOW, TODAY, add_account(session).id))
        right = enter(session, patient, numbered, kind="revision", surgery_on=date(2026, 4, 2))
        assert [each.serial for each in right.put_in] == ["S-7"]


def test_what_was_done_before_the_first_operation_is_asked_about_where_there_is_none(desk: Counter) -> None:
    earlier: dict[str, Any] = {"kind": "earlier", "surgery_on": date(2010, 3, 1), "procedure": "stabilisation"}
    with desk.store.writing() as session:
        patient = desk.enrol(session)
        [shoulder] = patient.shoulders
        assert enter(session, patient, **earlier).kind == "earlier"
        [first] = [each for each in shoulder.operations if each.kind == "index"]
        take_back_operation(session, first, Act("of another", NOW, TODAY, add_account(session).id))
        with pytest.raises(ToBeChecked, match="Was this the first one here"):
            enter(session, patient, **{**earlier, "surgery_on": date(2011, 3, 1)})
