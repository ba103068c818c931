"""What was recorded by an earlier version is still there after migrating, under its new words."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, text

from server.store import migrate
from server.store.engine import make_engine
from tests.databases import NoPostgreSQL, new_database, shared_server


@pytest.fixture(params=["sqlite", "postgresql"])
def before(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """A database of version 0018 with a patient and an operated shoulder."""
    if request.param == "sqlite":
        yield from filled(f"sqlite:///{tmp_path / 'old.sqlite'}")
        return
    try:
        postgresql = shared_server()
    except NoPostgreSQL as missing:
        pytest.skip(f"PostgreSQL: {missing}")
    with new_database(postgresql) as url:
        yield from filled(url)


def filled(url: str) -> Iterator[Engine]:
    engine = make_engine(url, None)
    migrate.upgrade(engine, "0018")
    with engine.begin() as connection:
        for statement in OLD.split(";"):
            connection.execute(text(statement), {"sealed": b"x", "yes": True})
    yield engine
    engine.dispose()


OLD = """
INSERT INTO patient (id, handle, study_number, first_name, last_name, birth_on, birth_year, sex, language, time_zone,
    channel_order, made_at)
VALUES (1, 'h', 'Y-1', :sealed, :sealed, :sealed, 1952, 'female', 'en', 'Europe/Madrid', 'email', '2026-02-01 09:00:00');
INSERT INTO staff_account (id, email, name, role, language, password_hash, made_at)
VALUES (1, 'n@c.example', 'N', 'nurse', 'en', 'none', '2026-02-01 09:00:00');
INSERT INTO shoulder (id, patient_id, side) VALUES (1, 1, 'left');
INSERT INTO operation (id, shoulder_id, position, kind, surgery_on, fixation, made_at)
VALUES (1, 1, 1, 'index', '2024-03-01', 'Press-fit', '2026-02-01 09:00:00');
INSERT INTO follow_up (id, operation_id, attempt, plan_id, plan_version, started_on)
VALUES (1, 1, 1, 'standard', '1', '2024-03-01');
INSERT INTO timepoint (id, follow_up_id, patient_id, code, attempt, plan_version, form_id, opens_on, invites_on, due_on)
VALUES (1, 1, 1, 'y1', 1, '1', 'f', '2025-01-01', '2025-01-01', '2025-03-01');
INSERT INTO response (id, timepoint_id, patient_id, entered_by_id, counted, mode, answered_by, language, finished_at, received_at,
    recorded_at, window_state, answers)
VALUES (1, 1, 1, 1, :yes, 'paper', 'patient', 'en', '2026-02-01 09:00:00', '2026-02-01 09:00:00', '2026-02-01 09:00:00', 'in',
    :sealed);
INSERT INTO score (id, response_id, instrument, instrument_version, text_id, scale, status, answered, items, method,
    scoring_version, scored_at)
VALUES (1, 1, 'sst', '1', 't', 'total', 'scored', 12, 12, 'm', '1', '2026-02-01 09:00:00');
INSERT INTO flag (id, kind, patient_id, timepoint_id, response_id, item, raised_at)
VALUES (1, 'operated_elsewhere', 1, 1, 1, 'since@1/1', '2026-02-01 09:00:00');
INSERT INTO clinic_finding (id, shoulder_id, examined_on, examiner, internal_rotation, strength_newtons, glenoid_wear, loosening,
    migration, made_at)
VALUES (1, 1, '2025-03-01', 'Dr Q', 'T 12', 42, 'Marked', 'none', 'slight, upward', '2026-02-01 09:00:00'),
    (2, 1, '2026-03-01', 'Dr Q', 'to the trousers', NULL, NULL, 'unknown', NULL, '2026-02-01 09:00:00');
INSERT INTO clinic_event (id, shoulder_id, kind, happened_on, happened_precision, source, adjudicator, made_at)
VALUES (1, 1, 'fracture', '2025-03-01', 'month', 'visit', 'Dr Q', '2026-02-01 09:00:00'),
    (2, 1, 'other', '2025-03-01', 'year', 'letter', NULL, '2026-02-01 09:00:00');
INSERT INTO operation_log (id, surgery_on, side, not_enrolled_reason, made_at)
VALUES (1, '2025-03-01', 'left', 'lives abroad', '2026-02-01 09:00:00'),
    (2, '2025-03-01', 'left', 'ran out of forms', '2026-02-01 09:00:00')
"""


def rows(engine: Engine, query: str) -> list[tuple[Any, ...]]:
    with engine.begin() as connection:
        return [tuple(row) for row in connection.execute(text(query))]


def test_findings_keep_every_degree_and_every_text_that_was_no_word(before: Engine) -> None:
    migrate.upgrade(before)
    found = rows(
        before,
        "SELECT internal_rotation, strength, strength_unit, glenoid_erosion, loosening, migration, radiograph_other, note"
        " FROM clinic_finding ORDER BY id",
    )
    assert found == [
        ("t12", 42.0, "n", "marked", "none", "other", "Migration: slight, upward", None),
        ("unknown", None, None, None, "unknown", None, None, "Internal rotation: to the trousers"),
    ]


def test_events_keep_their_source_and_say_how_sure_they_are(before: Engine) -> None:
    migrate.upgrade(before)
    found = rows(
        before, "SELECT kind, kind_other, certainty, source_kind, source, judged_by FROM clinic_event ORDER BY id"
    )
    assert found == [
        ("periprosthetic_fracture", None, "adjudicated", "other", "visit", "Dr Q"),
        ("other", "what it was is not recorded", "confirmed", "other", "letter", None),
    ]


def test_three_words_for_one_fixation_become_one(before: Engine) -> None:
    migrate.upgrade(before)
    assert rows(before, "SELECT fixation FROM operation") == [("uncemented",)]


def test_reasons_of_the_log_become_words_and_keep_their_text(before: Engine) -> None:
    migrate.upgrade(before)
    assert rows(before, "SELECT not_enrolled_reason, not_enrolled_text FROM operation_log ORDER BY id") == [
        ("abroad", None),
        ("other", "ran out of forms"),
    ]


def test_answers_and_their_scores_stay_and_say_what_was_said_of_another_operation(before: Engine) -> None:
    migrate.upgrade(before)
    [(again,)] = rows(before, "SELECT operated_again FROM response")
    assert bool(again)
    assert rows(before, "SELECT response_id FROM score") == [(1,)]
    assert rows(before, "SELECT response_id FROM flag") == [(1,)]


LEFT = """
INSERT INTO operation (id, shoulder_id, position, kind, surgery_on, stage, made_at)
VALUES (2, 1, 2, 'revision', '2025-03-01', 'first_of_two', '2026-02-01 09:00:00');
INSERT INTO follow_up (id, operation_id, attempt, plan_id, plan_version, started_on) VALUES (2, 2, 1, 'standard', '1', '2025-03-01');
INSERT INTO timepoint (id, follow_up_id, patient_id, code, attempt, plan_version, form_id, opens_on, invites_on, due_on,
    not_expected_on, not_expected_reason)
VALUES (2, 2, 1, 'y1', 1, '1', 'g', '2026-01-01', '2026-01-01', '2026-03-01', '2025-03-01', 'cancelled');
UPDATE patient SET withdrew_on = '2020-01-02', withdrawal_extent = 'records' WHERE id = 1;
INSERT INTO audit_entry (id, at, action, thing, detail)
VALUES (901, '2020-01-02 09:00:00', 'patient:withdrew', 'patient 1', '{"extent": "contact", "on": "2020-01-02"}'),
    (902, '2023-04-05 09:00:00', 'patient:withdrew', 'patient 1', '{"extent": "records", "on": "2023-04-05"}')
"""


def test_a_later_step_of_a_withdrawal_gets_its_day_and_no_follow_up_is_no_cancelled_surgery(before: Engine) -> None:
    migrate.upgrade(before, "0023")
    with before.begin() as connection:
        for statement in LEFT.split(";"):
            connection.execute(text(statement.replace(": ", "\\: ")))
    migrate.upgrade(before)
    days = "SELECT withdrew_on, records_closed_on, erasure_asked_on FROM patient"
    assert [str(each) for each in rows(before, days)[0]] == ["2020-01-02", "2023-04-05", "None"]
    ended = "SELECT f.end_reason, t.not_expected_reason FROM follow_up f JOIN timepoint t ON t.follow_up_id = f.id ORDER BY f.id"
    assert rows(before, ended) == [(None, None), ("no_follow_up", "no_follow_up")]


NOT_WANTED = """
UPDATE patient SET messages_stopped_on = '2025-02-01', withdrawal_extent = 'messages' WHERE id = 1;
INSERT INTO consent (id, patient_id, kind, version, given_on, withdrawn_on)
VALUES (1, 1, 'contact', '1', '2024-03-01', '2025-02-20');
INSERT INTO message (id, timepoint_id, step, channel, made_at, lease_no, tries, outcome, done_at)
VALUES (1, 1, 'before', 'email', '2025-01-10 09:00:00', 1, 1, 'no_consent', '2025-01-31 09:00:00'),
    (2, 1, 'on_the_day', 'email', '2025-01-10 09:00:00', 1, 1, 'no_consent', '2025-02-01 09:00:00'),
    (3, 1, 'no_address', 'email', '2025-01-10 09:00:00', 1, 1, 'no_contact', '2025-02-10 09:00:00'),
    (4, 1, 'no_consent', 'email', '2025-01-10 09:00:00', 1, 1, 'no_consent', '2025-02-20 09:00:00')
"""


def test_a_message_that_was_not_wanted_says_so_and_one_without_consent_stays(before: Engine) -> None:
    migrate.upgrade(before, "0028")
    with before.begin() as connection:
        for statement in NOT_WANTED.split(";"):
            connection.execute(text(statement))
    migrate.upgrade(before)
    outcomes = [outcome for (outcome,) in rows(before, "SELECT outcome FROM message ORDER BY id")]
    assert outcomes == ["no_consent", "messages_stopped", "no_contact", "no_consent"]
