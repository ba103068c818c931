"""The field tables and the models describe the same columns: every column is a field or named here, and every field is a column."""

import re
from dataclasses import dataclass
from typing import Any

import pytest
from sqlalchemy import Boolean, CheckConstraint, Date, Integer, String, Text
from sqlalchemy.types import Double, Float, LargeBinary, TypeDecorator

from server.fields.clinic import SETTINGS
from server.fields.component import COMPONENT
from server.fields.event import EVENT
from server.fields.field import OTHER, Field, Kind, Leaves
from server.fields.finding import FINDING, RADIOGRAPHIC
from server.fields.known_status import KNOWN_STATUS
from server.fields.log import LOG
from server.fields.operation import GROUPS, OPERATION, SHOULDER
from server.fields.person import ATTEMPT, CAPACITY, CONSENT, DEATH, ENDS_ON, HOSPITAL_NUMBER, PERSON, WITHDRAWAL
from server.models import (
    Base,
    Clinic,
    ClinicEvent,
    ClinicFinding,
    Component,
    Consent,
    ContactAttempt,
    HospitalNumber,
    KnownStatus,
    Operation,
    OperationLog,
    Patient,
    Shoulder,
)


@dataclass(frozen=True)
class Fit:
    """`structure`: the columns that nobody records, such as keys and who made the row when."""

    model: type[Base]
    fields: tuple[Field, ...]
    structure: frozenset[str]


MADE = frozenset({"id", "made_at", "made_by_id"})
FITS = {
    "operation": Fit(Operation, OPERATION, MADE | {"shoulder_id", "position", "first_stage_id", "taken_back_at"}),
    "component": Fit(Component, COMPONENT, MADE | {"put_in_id", "taken_out_id", "struck_at"}),
    "shoulder": Fit(Shoulder, SHOULDER, frozenset({"id", "patient_id", "side"})),
    "finding": Fit(ClinicFinding, FINDING, MADE | {"shoulder_id", "taken_back_at"}),
    "event": Fit(ClinicEvent, EVENT, MADE | {"shoulder_id", "recorded_as_id", "response_id", "item", "taken_back_at"}),
    "known_status": Fit(KnownStatus, KNOWN_STATUS, MADE | {"patient_id", "taken_back_at"}),
    "log": Fit(OperationLog, LOG, MADE | {"operation_id", "taken_back_at"}),
    "clinic": Fit(Clinic, SETTINGS, frozenset({"id", "mode", "clock_real_at", "clock_shown_at"})),
    "patient": Fit(
        Patient,
        (*PERSON, *ENDS_ON, *DEATH, *WITHDRAWAL, *CAPACITY),
        MADE | {"handle", "birth_year", "lost_on", "erased_at", "merged_into_id", "taken_back_at"},
    ),
    "consent": Fit(
        Consent,
        CONSENT,
        frozenset({"id", "patient_id", "notice_id", "taken_by_id", "withdrawal_taken_by_id", "set_aside_at"}),
    ),
    "hospital_number": Fit(
        HospitalNumber, HOSPITAL_NUMBER, MADE | {"patient_id", "number_digest", "issued_digest", "removed_at"}
    ),
    "attempt": Fit(
        ContactAttempt, ATTEMPT, frozenset({"id", "patient_id", "timepoint_id", "at", "by_id", "taken_back_at"})
    ),
}
EACH = [pytest.param(name, field, id=f"{name}-{field.name}") for name, fit in FITS.items() for field in fit.fields]
TYPES: dict[Kind, tuple[type, ...]] = {
    Kind.NUMBER: (Float, Double),
    Kind.WHOLE: (Integer,),
    Kind.YES_NO: (Boolean,),
    Kind.DAY: (Date,),
    Kind.BY_LANGUAGE: (Text,),
}


def column_of(name: str, field: Field) -> Any:
    return FITS[name].model.__table__.columns[field.name]


def words_of_check(model: type[Base], column: str) -> set[str] | None:
    """The words that the database's own check allows in a column; None without one."""
    checks = [each for each in model.__table__.constraints if isinstance(each, CheckConstraint)]  # type: ignore[attr-defined]
    found = [str(each.sqltext) for each in checks if str(each.sqltext).startswith(f"{column} IN (")]
    return set(re.findall(r"'([^']*)'", found[0])) if found else None


@pytest.mark.parametrize("name", FITS)
def test_every_column_is_a_field_or_structure(name: str) -> None:
    fit = FITS[name]
    recorded = {each for field in fit.fields for each in (field.name, field.precision) if each}
    assert recorded | fit.structure == {column.name for column in fit.model.__table__.columns}
    assert recorded & fit.structure == set()


@pytest.mark.parametrize(("name", "field"), EACH)
def test_a_field_has_a_column_of_a_fitting_type(name: str, field: Field) -> None:
    kept = column_of(name, field).type
    if isinstance(kept, TypeDecorator) and isinstance(kept.impl_instance, LargeBinary):
        return  # sealed: the database knows neither type nor length
    if field.kind in TYPES:
        plain = kept.impl_instance if isinstance(kept, TypeDecorator) else kept
        assert isinstance(plain, TYPES[field.kind])
        return
    assert isinstance(kept, String)
    longest = max(map(len, field.words), default=0) if field.kind == Kind.CHOICE else field.longest
    assert longest is not None and kept.length is not None
    assert longest <= kept.length if field.kind == Kind.CHOICE else longest == kept.length


@pytest.mark.parametrize(("name", "field"), EACH)
def test_the_database_checks_the_words_of_a_choice_and_no_others(name: str, field: Field) -> None:
    allowed = words_of_check(FITS[name].model, field.name)
    if field.kind != Kind.CHOICE:
        assert allowed is None
    elif (name, field.name) == ("attempt", "channel"):
        assert allowed is None  # older rows may name a channel that is no longer offered
    else:
        assert allowed == set(field.words)


@pytest.mark.parametrize(("name", "field"), EACH)
def test_a_field_says_how_it_leaves_the_clinic_or_why_it_stays(name: str, field: Field) -> None:
    assert (field.export is None) == bool(field.stays)


def test_what_somebody_typed_leaves_as_a_word_or_a_note_but_for_an_implants_label() -> None:
    typed = (Kind.TEXT, Kind.LINES, Kind.CODED)
    as_typed = {
        field.name
        for fit in FITS.values()
        for field in fit.fields
        if field.kind in typed and field.export is not None and field.export.leaves == Leaves.AS_IS
    }
    label = {"maker", "model", "catalogue_number", "size", "lot", "serial", "device_identifier", "udi"}
    assert as_typed == label


# Where no text stands for `other` alone: the field that tells it, which goes with other words too.
TOLD_BY = {
    ("operation", "kind"): "procedure",
    ("event", "source_kind"): "source",
    ("event", "treatment"): "procedure",
    ("attempt", "result"): "note",
    **{("finding", name): "radiograph_other" for name in RADIOGRAPHIC},
}
NOT_ASKED_FURTHER = {("patient", "sex")}  # what somebody is besides woman or man is theirs to say


def test_every_vocabulary_with_other_has_a_text_that_tells_it() -> None:
    told = {}
    for table, fit in FITS.items():
        fields = {each.name: each for each in fit.fields}
        beside = {each.beside: each.name for each in fit.fields if each.beside}
        for name, field in fields.items():
            if field.kind in (Kind.CHOICE, Kind.SEVERAL) and OTHER in field.words:
                text = beside.pop(name, None) or TOLD_BY.get((table, name))
                told[table, name] = text in fields
        assert beside == {}, "a text stands beside words without `other`"
    assert {each for each, has_text in told.items() if not has_text} == NOT_ASKED_FURTHER
    assert set(TOLD_BY) <= set(told)


def test_every_group_of_an_operation_has_its_place_on_the_page() -> None:
    assert {field.group for field in (*OPERATION, *SHOULDER)} == set(GROUPS)
