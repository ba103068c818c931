"""The kinds that SQL finds agree with the status table, over every combination of facts."""

from datetime import date, timedelta
from itertools import product
from typing import Any

from sqlalchemy import event

from server.queries.facts import status_of
from server.schedule.status import DONE, Status
from server.worklist import list_work
from tests.storehouse import NOW, TODAY, add_follow_up, add_operation, add_timepoint
from tests.worklist.ward import DAY, Ward, baseline, no_key, patient

KIND_OF = {Status.OPEN: "due", Status.OVERDUE: "overdue", Status.NON_RESPONDER: "non_responder"}
NEAR = (-1, 0, 1)


def combinations() -> list[dict[str, Any]]:
    """Opening, due and closing day, last reminder and end, each yesterday, today, tomorrow or not at all."""
    found = []
    for opens, due, closes, silent, end in product(NEAR, NEAR, NEAR, (None, *NEAR), (None, *NEAR)):
        if opens <= due <= closes:
            found.append(
                {
                    "opens_on": TODAY + opens * DAY,
                    "due_on": TODAY + due * DAY,
                    "closes_on": TODAY + closes * DAY,
                    "ladder_exhausted_on": None if silent is None else TODAY + silent * DAY,
                    "not_expected_on": None if end is None else TODAY + end * DAY,
                    "not_expected_reason": None if end is None else "withdrew",
                    "anchor_on": TODAY - 365 * DAY,
                }
            )
    return found


def test_what_sql_lists_is_what_the_status_table_says(ward: Ward) -> None:
    expected: dict[str, int] = {}
    with ward.store.writing() as session:
        follow_up = add_follow_up(session, add_operation(session, patient(session), surgery_on=date(2020, 1, 1)))
        for number, facts in enumerate(combinations(), start=1):
            row = add_timepoint(session, follow_up, "year-2", attempt=number, **facts)
            status = status_of(row, TODAY)
            if status in DONE:
                row.done_at = None  # the tick has not run yet: the list must not wait for it
            if status in KIND_OF:
                expected[KIND_OF[status]] = expected.get(KIND_OF[status], 0) + 1
        for number, facts in enumerate(combinations(), start=1):
            back = {**facts, "withheld_on": TODAY, "withheld_texts": "a"}
            row = add_timepoint(session, follow_up, "year-3", attempt=number, **back)
            if status_of(row, TODAY) in KIND_OF:
                expected["withheld"] = expected.get("withheld", 0) + 1
        tries = [
            ("promised", TODAY + DAY),
            ("promised", TODAY),
            ("no_answer", TODAY + DAY),
            ("declined", None),
            ("declined", TODAY),
        ]
        for code, (last_try, again_on) in zip(("year-4", "year-5", "year-6", "year-7", "year-8"), tries, strict=True):
            for number, facts in enumerate(combinations(), start=1):
                row = add_timepoint(
                    session, follow_up, code, attempt=number, **{**facts, "last_try": last_try, "again_on": again_on}
                )
                status = status_of(row, TODAY)
                if status in KIND_OF:
                    kind = KIND_OF[status] if again_on == TODAY else "later"
                    expected[kind] = expected.get(kind, 0) + 1
    assert len(expected) == 5
    counts = ward.work(limit=1).counts
    assert {kind: count for kind, count in counts.items() if count} == expected


def test_what_is_done_is_never_listed(ward: Ward) -> None:
    with ward.store.writing() as session:
        follow_up = add_follow_up(session, add_operation(session, patient(session), surgery_on=date(2024, 6, 15)))
        add_timepoint(session, follow_up, "year-2", due_on=TODAY, done_at=NOW)
    assert ward.work().total == 0


def test_a_baseline_becomes_a_persons_task_when_surgery_is_near_or_it_is_late(ward: Ward) -> None:
    with ward.store.writing() as session:
        baseline(session, "Y-0001", planned_on=TODAY + 15 * DAY)
        baseline(session, "Y-0002", planned_on=TODAY + 14 * DAY)
        baseline(session, "Y-0003", planned_on=None)
        baseline(session, "Y-0004", planned_on=None, due_on=TODAY - DAY)
        baseline(session, "Y-0005", planned_on=None, ladder_exhausted_on=TODAY)
        baseline(session, "Y-0006", planned_on=TODAY, closes_on=TODAY)
    kinds = {row.study_number: row.kind for row in ward.work().rows}
    assert {number for number, kind in kinds.items() if kind == "baseline_missing"} == {
        "Y-0002",
        "Y-0004",
        "Y-0005",
        "Y-0006",
    }
    assert {kinds["Y-0001"], kinds["Y-0003"]} == {"due"}


def test_a_planned_day_that_passed_waits_for_a_word_even_when_the_baseline_was_answered(ward: Ward) -> None:
    ended: list[dict[str, Any]] = [{"died_on": TODAY}, {"withdrew_on": TODAY}, {"transferred_on": TODAY}]
    with ward.store.writing() as session:
        baseline(session, "Y-0001", planned_on=TODAY - DAY, answered_at=NOW, done_at=NOW)
        baseline(session, "Y-0002", planned_on=TODAY, answered_at=NOW, done_at=NOW)
        baseline(session, "Y-0003", planned_on=TODAY - DAY)  # the row of the baseline asks the same
        add_operation(session, patient(session, "Y-0004"), surgery_planned_on=TODAY - 9 * DAY, cancelled_on=TODAY)
        add_operation(session, patient(session, "Y-0005"), surgery_planned_on=TODAY - 9 * DAY, surgery_on=TODAY - DAY)
        for number, end in enumerate(ended, start=6):
            add_operation(session, patient(session, f"Y-000{number}", **end), surgery_planned_on=TODAY - DAY)
        add_operation(session, patient(session, "Y-0009"), surgery_planned_on=TODAY - 30 * DAY)
    rows = [(row.study_number, row.kind) for row in ward.work().rows if row.kind != "due"]
    assert rows == [
        ("Y-0009", "surgery_passed"),
        ("Y-0001", "surgery_passed"),
        ("Y-0003", "baseline_missing"),
    ]
    assert ward.work().counts["surgery_passed"] == 2


def test_counts_and_pages_read_nothing_but_an_index_on_sqlite(ward: Ward) -> None:
    """Row by row look-ups in the table took seven times as long at a million rows."""
    if ward.store.engine.dialect.name != "sqlite":
        assert ward.work().total == 0  # PostgreSQL plans by the size of the table; nothing to hold it to here
        return
    seen: list[tuple[str, Any]] = []
    with ward.store.reading() as session:
        connection = session.connection()

        @event.listens_for(connection, "before_cursor_execute")
        def note(_connection: Any, _cursor: Any, sql: str, values: Any, *_rest: Any) -> None:
            seen.append((sql, values))

        list_work(session, today=TODAY, now=NOW, cipher_of=no_key)
        of_operations = [each for each in seen if "FROM operation" in each[0]]
        of_timepoints = [each for each in seen if "FROM timepoint" in each[0] and each not in of_operations]
        others = [*of_operations, *of_timepoints]
        held_ones = [each for each in seen if "FROM envelope" in each[0] and each not in others]
        assert of_operations
        assert of_timepoints
        assert held_ones
        for (sql, values), index in [
            *((each, "COVERING INDEX ix_timepoint_undone") for each in of_timepoints),
            *((each, "COVERING INDEX ix_envelope_held") for each in held_ones),
            *((each, "ix_operation_surgery_on") for each in of_operations),  # few have no day of surgery
        ]:
            plan = str(connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}", values).all())
            assert index in plan


def test_names_are_opened_for_the_page_shown_and_no_further(ward: Ward, monkeypatch: Any) -> None:
    with ward.store.writing() as session:
        for number in range(30):
            baseline(session, f"Y-{number:04d}", planned_on=TODAY + timedelta(days=number % 14))
    opened: list[str] = []
    ring_type, plain = type(ward.store.ring), type(ward.store.ring).open

    def counting(self: Any, sealed: bytes, context: str) -> bytes:
        opened.append(context)
        return plain(self, sealed, context)

    monkeypatch.setattr(ring_type, "open", counting)
    assert len(ward.work(limit=5).rows) == 5
    assert opened.count("patient.last_name") == 5
