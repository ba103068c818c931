"""Timepoints of an earlier version: who was asked is found again, a revision ends nothing any more, and what was withheld says so."""

from typing import Any

import pytest
from sqlalchemy import Engine, text

from server.store import migrate
from tests.structure.test_migrations import two_engines

__all__ = ["two_engines"]

MADE = "'2026-02-01 09:00:00'"
PATIENT = f"""
INSERT INTO patient (id, handle, study_number, first_name, last_name, birth_on, birth_year, sex, language, time_zone,
    channel_order, died_on, transferred_on, made_at)
VALUES (:id, :handle, :handle, :sealed, :sealed, :sealed, 1952, 'female', 'en', 'Europe/Madrid', 'email', :died_on,
    :transferred_on, {MADE})
"""
FOLLOW_UP = """
INSERT INTO follow_up (id, operation_id, attempt, plan_id, plan_version, started_on, ended_on, end_reason)
VALUES (:id, :id, 1, 'standard', '1', '2024-03-01', :ended_on, :end_reason)
"""
TIMEPOINT = f"""
INSERT INTO timepoint (id, follow_up_id, patient_id, code, attempt, plan_version, form_id, opens_on, invites_on, due_on, closes_on,
    window_state, answered_on, not_expected_on, not_expected_reason, withheld_on, done_at, look_again_on)
VALUES (:id, :of, :of, :code, 1, '1', :code_form, :opens_on, :opens_on, :opens_on, :closes_on, :window_state, :answered_on,
    :not_expected_on, :reason, :withheld_on, {MADE}, NULL)
"""
REST = f"""
INSERT INTO staff_account (id, email, name, role, language, password_hash, made_at)
VALUES (1, 'n@c.example', 'N', 'nurse', 'en', 'none', {MADE});
INSERT INTO message (id, timepoint_id, step, channel, made_at, lease_no, tries, outcome, done_at)
VALUES (1, 1, 'invite', 'email', {MADE}, 1, 1, 'sent', '2025-02-10 09:00:00'),
    (2, 1, 'remind', 'email', {MADE}, 1, 1, 'sent', '2025-02-20 09:00:00'),
    (3, 2, 'invite', 'email', {MADE}, 1, 1, 'channel_failed', '2025-02-10 09:00:00'),
    (4, 3, 'invite', 'email', {MADE}, 1, 1, 'sent', '2026-01-10 09:00:00');
INSERT INTO contact_attempt (id, patient_id, timepoint_id, at, by_id, channel, result)
VALUES (1, 2, NULL, '2025-03-05 09:00:00', 1, 'phone', 'left_message'),
    (2, 3, NULL, '2025-03-05 09:00:00', 1, 'phone', 'no_answer');
INSERT INTO gate (lookup_hash, handle, state, revision) VALUES (:sealed, 'h', 'due', 1);
INSERT INTO gate_fetch (lookup_hash, revision, fetched_at) VALUES (:sealed, 1, '2025-03-09 09:00:00');
INSERT INTO link (id, patient_id, lookup_hash, made_at, sheet_stale) VALUES (1, 3, :sealed, {MADE}, :no);
INSERT INTO transition (id, timepoint_id, at, status_before, status_after, reason)
VALUES (1, 6, {MADE}, 'open', 'withheld', 'text_withheld'), (2, 6, {MADE}, 'withheld', 'missed', 'closed')
"""
# By patient: the follow-up's end, and the days on which the patient died or was transferred.
PEOPLE: dict[int, dict[str, Any]] = {
    1: {},
    2: {"ended_on": "2025-06-01", "end_reason": "revised"},
    3: {"ended_on": "2025-06-01", "end_reason": "revised", "died_on": "2025-09-01", "transferred_on": "2025-10-01"},
    4: {"ended_on": "2025-06-01", "end_reason": "died", "died_on": "2025-06-01"},
}
SPRING: dict[str, Any] = {"opens_on": "2025-02-01", "closes_on": "2025-04-01"}
GONE: dict[str, Any] = {"not_expected_on": "2025-06-01", "reason": "revised"}
LATER: dict[str, Any] = {"opens_on": "2026-01-01", "closes_on": "2026-04-01", **GONE}
TIMEPOINTS: dict[int, dict[str, Any]] = {
    1: {"of": 1, **SPRING},  # its invitation was sent
    2: {"of": 1, **SPRING},  # its message failed
    3: {"of": 1, **SPRING},  # its message left after it had closed
    4: {
        "of": 2,
        **SPRING,
        "window_state": "recalled",
        "answered_on": "2025-03-07",
    },  # somebody left a word about all that was open
    5: {"of": 3, **SPRING},  # its form was fetched
    6: {"of": 3, **SPRING, "withheld_on": "2025-02-01"},  # a sheet was fetched, without it
    7: {"of": 1, "opens_on": "2023-02-01", "closes_on": "2024-02-01"},  # had closed before the follow-up began
    8: {"of": 2, **LATER},
    9: {"of": 3, **LATER},
    10: {"of": 4, **LATER, "reason": "died"},
}


def upgraded(engine: Engine) -> None:
    """Everything of version 0020, brought up to date."""
    migrate.upgrade(engine, "0020")
    with engine.begin() as connection:
        for number, given in PEOPLE.items():
            empty = dict.fromkeys(("died_on", "transferred_on", "ended_on", "end_reason"))
            values = {"id": number, "handle": f"Y-{number}", "sealed": b"x", **empty, **given}
            connection.execute(text(PATIENT), values)
            connection.execute(text("INSERT INTO shoulder (id, patient_id, side) VALUES (:id, :id, 'left')"), values)
            operation = "INSERT INTO operation (id, shoulder_id, position, kind, surgery_on, made_at)"
            connection.execute(text(f"{operation} VALUES (:id, :id, 1, 'index', '2024-03-01', {MADE})"), values)
            connection.execute(text(FOLLOW_UP), values)
        for number, given in TIMEPOINTS.items():
            empty = dict.fromkeys(("window_state", "answered_on", "not_expected_on", "reason", "withheld_on"))
            values = {"id": number, "code": f"year-{number}", "code_form": f"f{number}", **empty, **given}
            connection.execute(text(TIMEPOINT), values)
        for statement in REST.split(";"):
            connection.execute(text(statement), {"sealed": b"x", "no": False})
    migrate.upgrade(engine)


@pytest.fixture
def engine(two_engines: tuple[Engine, Engine]) -> Engine:
    upgraded(two_engines[0])
    return two_engines[0]


def rows(engine: Engine, query: str) -> list[tuple[Any, ...]]:
    """Days as their text, which SQLite gives for itself."""
    with engine.connect() as connection:
        found = connection.execute(text(query)).all()
    return [tuple(each if each is None or isinstance(each, int | str) else str(each) for each in row) for row in found]


def test_who_was_asked_is_found_again_and_whose_window_had_closed_before(engine: Engine) -> None:
    found = rows(engine, "SELECT id, asked_on FROM timepoint WHERE asked_on IS NOT NULL ORDER BY id")
    assert found == [(1, "2025-02-10"), (4, "2025-03-05"), (5, "2025-03-09")]
    assert [number for (number,) in rows(engine, "SELECT id FROM timepoint WHERE historical")] == [7]


def test_what_may_stand_otherwise_now_is_looked_at_again_and_nothing_else(engine: Engine) -> None:
    found = rows(engine, "SELECT id, look_again_on FROM timepoint WHERE done_at IS NULL ORDER BY id")
    of_the_revised = [(8, "2026-01-01"), (9, "2026-01-01")]
    unasked_or_recalled = [(number, "2025-02-01") for number in (2, 3, 4, 5, 6)]
    assert found == [*unasked_or_recalled, (7, "2023-02-01"), *of_the_revised, (10, "2026-01-01")]
    assert rows(engine, "SELECT id FROM timepoint WHERE done_at IS NOT NULL") == [(1,)]


def test_a_revision_ends_nothing_and_a_death_after_it_does(engine: Engine) -> None:
    assert rows(engine, "SELECT id, ended_on, end_reason FROM follow_up ORDER BY id") == [
        (1, None, None),
        (2, None, None),
        (3, "2025-09-01", "died"),
        (4, "2025-06-01", "died"),
    ]
    expected = "SELECT id, not_expected_on, not_expected_reason FROM timepoint WHERE id > 7 ORDER BY id"
    assert rows(engine, expected) == [(8, None, None), (9, "2025-09-01", "died"), (10, "2025-06-01", "died")]


def test_what_was_withheld_is_never_asked_in_the_history(engine: Engine) -> None:
    found = rows(engine, "SELECT status_before, status_after FROM transition ORDER BY id")
    assert found == [("open", "never_asked"), ("never_asked", "missed")]
