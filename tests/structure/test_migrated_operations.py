"""Operations of an earlier version: typed procedures become words, labels of implants become components, nothing is lost."""

from typing import Any

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import IntegrityError

from server.fields.operation_words import DIAGNOSES, IMPLANT_TYPES, OPERATION_KINDS, PROCEDURES
from server.store import migrate
from tests.structure.test_migrations import OLD_PATIENT, two_engines

__all__ = ["two_engines"]

OLD_SHOULDER = "INSERT INTO shoulder (id, patient_id, side) VALUES (1, 1, 'left')"
OLD_OPERATION = """
    INSERT INTO operation (id, shoulder_id, position, kind, surgery_on, diagnosis, procedure, implant_type, implant_model, implant_size,
        implant_lot, fixation, made_at)
    VALUES (:id, 1, :id, :kind, :surgery_on, :diagnosis, :procedure, :implant_type, :model, :size, :lot, 'cemented',
        '2026-02-01 09:00:00')
"""
OLD_FOLLOW_UP = """
    INSERT INTO follow_up (id, operation_id, attempt, plan_id, plan_version, started_on)
    VALUES (1, 1, 1, 'standard', '1', '2020-03-04')
"""
OLD_LOG = """
    INSERT INTO operation_log (id, surgery_on, side, procedure, implant_type, made_at)
    VALUES (1, '2020-03-04', 'left', ' Shoulder  Replacement ', 'reverse', '2026-02-01 09:00:00')
"""


def old(number: int, **values: Any) -> dict[str, Any]:
    empty = dict.fromkeys(("surgery_on", "diagnosis", "procedure", "implant_type", "model", "size", "lot"))
    return {"id": number, "kind": "index", **empty, **values}


OLD = [
    old(1, surgery_on="2020-03-04", diagnosis="osteoarthritis", procedure="Reverse", implant_type="reverse", model="R", lot="7"),
    old(2, kind="revision", procedure="hemi, by the visiting surgeon", implant_type="resurfacing_hemi", size="46"),
    old(3, kind="other", procedure="modular_exchange"),
    old(4, kind="other", diagnosis="other", implant_type="other"),
]  # fmt: skip


def upgraded(engine: Engine) -> None:
    migrate.upgrade(engine, "0016")
    with engine.begin() as connection:
        connection.execute(text(OLD_PATIENT), {"sealed": b"x"})
        connection.execute(text(OLD_SHOULDER))
        connection.execute(text(OLD_OPERATION), OLD)
        connection.execute(text(OLD_FOLLOW_UP))
        connection.execute(text(OLD_LOG))
    migrate.upgrade(engine)


def rows(engine: Engine, query: str) -> list[tuple[Any, ...]]:
    with engine.connect() as connection:
        return [tuple(row) for row in connection.execute(text(query)).all()]


def test_a_typed_procedure_becomes_a_word_or_stays_beside_other(two_engines: tuple[Engine, Engine]) -> None:
    engine, _ = two_engines
    upgraded(engine)
    found = rows(engine, "SELECT procedure, procedure_other, surgery_precision FROM operation ORDER BY id")
    assert found == [
        ("reverse", None, "day"),
        ("other", "hemi, by the visiting surgeon", None),
        ("modular_exchange", None, None),
        (None, None, None),
    ]
    assert rows(engine, "SELECT procedure, procedure_other FROM operation_log") == [("arthroplasty", None)]
    assert rows(engine, "SELECT operation_id FROM follow_up") == [(1,)]


def test_model_size_and_lot_become_the_components_of_their_operation(two_engines: tuple[Engine, Engine]) -> None:
    engine, _ = two_engines
    upgraded(engine)
    found = rows(engine, "SELECT put_in_id, taken_out_id, role, model, size, lot FROM component ORDER BY id")
    assert found == [(1, None, "not_said", "R", None, "7"), (2, None, "head", None, "46", None)]


def test_kinds_diagnoses_and_implants_of_before_stay_and_what_is_no_word_is_refused(
    two_engines: tuple[Engine, Engine],
) -> None:
    engine, _ = two_engines
    upgraded(engine)
    kept = rows(engine, "SELECT kind, diagnosis, implant_type, fixation FROM operation ORDER BY id")
    assert kept == [(each["kind"], each["diagnosis"], each["implant_type"], "cemented") for each in OLD]
    with pytest.raises(IntegrityError), engine.begin() as connection:
        connection.execute(text("UPDATE operation SET procedure = 'a word of nobody'"))


def test_asa_class_and_dominant_side_of_before_stay_and_may_be_unknown(two_engines: tuple[Engine, Engine]) -> None:
    engine, _ = two_engines
    migrate.upgrade(engine, "0016")
    with engine.begin() as connection:
        connection.execute(text(OLD_PATIENT), {"sealed": b"x"})
        connection.execute(text("INSERT INTO shoulder (id, patient_id, side, dominant) VALUES (1, 1, 'left', false)"))
        connection.execute(text("INSERT INTO shoulder (id, patient_id, side, dominant) VALUES (2, 1, 'right', true)"))
        connection.execute(text(OLD_OPERATION), OLD[:2])
        connection.execute(text("UPDATE operation SET asa = 3 WHERE id = 1"))
    migrate.upgrade(engine)
    assert rows(engine, "SELECT dominant FROM shoulder ORDER BY id") == [("no",), ("yes",)]
    assert rows(engine, "SELECT asa FROM operation ORDER BY id") == [("3",), (None,)]
    with engine.begin() as connection:
        connection.execute(text("UPDATE operation SET asa = 'unknown'"))
        connection.execute(text("UPDATE shoulder SET dominant = 'unknown'"))
    for refused in ("UPDATE operation SET asa = '6'", "UPDATE shoulder SET dominant = 'perhaps'"):
        with pytest.raises(IntegrityError), engine.begin() as connection:
            connection.execute(text(refused))


OLD_WORDS = (
    (OPERATION_KINDS, "index revision other"),
    (DIAGNOSES, "osteoarthritis rheumatoid_arthritis osteonecrosis cuff_tear_arthropathy fracture_sequelae instability_arthropathy"),
    (DIAGNOSES, "dysplasia other unknown"),
    (IMPLANT_TYPES, "resurfacing_hemi resurfacing_with_glenoid stemmed_hemi stemless_hemi anatomic_total reverse none other unknown"),
    (PROCEDURES, "arthroplasty resurfacing hemiarthroplasty anatomic_total reverse composite resection spacer arthrodesis washout"),
)  # fmt: skip


def test_no_word_of_an_earlier_list_was_taken_away() -> None:
    assert [word for words, earlier in OLD_WORDS for word in earlier.split() if word not in words] == []
