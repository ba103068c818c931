"""log.csv and flow.csv: everybody is counted once, and every column adds up to the log."""

import random
from collections import Counter
from datetime import timedelta

import pytest
from sqlalchemy import func, select

from server.exports.flow import STEPS
from server.models import Operation, OperationLog, Patient, Shoulder
from server.queries.clock import the_clinic
from server.queries.coverage import read_lines
from tests.exports.clinic import SST, SURGERY, Exporter, add_patient, consent_to_research
from tests.exports.random_clinic import fill
from tests.storehouse import (
    NOW,
    TODAY,
    add_account,
    add_follow_up,
    add_operation,
    add_response,
    add_timepoint,
    answered,
    part,
)
from tests.storehouse import add_patient as add_person

BY = ("surgery_year", "side", "operation_kind", "procedure", "implant_type", "done_here")
AT_A_TIMEPOINT = tuple(STEPS)[5:]


def flow(exporter: Exporter) -> dict[tuple[str, ...], Counter[tuple[str, str]]]:
    """For each group, how many stand at (timepoint, step)."""
    found: dict[tuple[str, ...], Counter[tuple[str, str]]] = {}
    for row in exporter.rows("flow.csv"):
        group = found.setdefault(tuple(row[name] for name in BY), Counter())
        group[row["timepoint"], row["step"]] += int(row["operations"])
    return found


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_every_column_of_the_flow_adds_up_to_the_log(exporter: Exporter, seed: int) -> None:
    with exporter.store.writing() as session:
        fill(exporter, session, random.Random(seed))
    exporter.export()
    found = flow(exporter)
    assert len(found) > 3
    timepoints = {row["timepoint"] for row in exporter.rows("flow.csv")} - {""}
    assert len(timepoints) > 1
    for group, steps in found.items():
        at = {step: steps["", step] for step in STEPS}
        assert at["operated"] == at["not_enrolled"] + at["enrolled"], group
        assert at["enrolled"] == at["no_research_consent"] + at["in_files"], group
        for timepoint in timepoints:
            assert sum(steps[timepoint, step] for step in AT_A_TIMEPOINT) == at["in_files"], (group, timepoint)
    logged = Counter[str]()
    for row in exporter.rows("log.csv"):
        logged[row["enrolment"]] += int(row["operations"])
    with exporter.store.reading() as session:
        done = session.scalar(select(func.count(Operation.id)).where(Operation.surgery_on <= TODAY))
    assert sum(logged.values()) == sum(steps["", "operated"] for steps in found.values()) == (done or 0) + 5
    assert all(
        sum(steps["", step] for steps in found.values()) == logged[step]
        for step in ("not_enrolled", "no_research_consent", "in_files")
    )


def test_the_flow_has_the_reason_of_each_loss(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        add_operation(session, add_person(session, "Y-0001"), surgery_on=SURGERY)
        consent_to_research(session, session.get_one(Patient, 1), withdrawn_on=SURGERY)
        follow_up = add_follow_up(session, add_operation(session, add_patient(session, "Y-0002"), surgery_on=SURGERY))
        gone = {"not_expected_on": TODAY, "not_expected_reason": "died"}
        long_ago = TODAY - timedelta(days=400)
        add_timepoint(session, follow_up, "year-1", due_on=long_ago, asked_on=long_ago)
        add_timepoint(session, follow_up, "year-2", due_on=TODAY, **gone)
        logged = {"surgery_on": SURGERY, "side": "right", "procedure": "resurfacing", "made_at": NOW}
        session.add(OperationLog(not_enrolled_reason="declined", birth_year=1931, surgeon="Dr Blackwood", **logged))
        session.add(OperationLog(not_enrolled_reason="other", taken_back_at=NOW, **logged))
    exporter.export()
    losses = {
        (row["timepoint"], row["step"], row["reason"]): int(row["operations"])
        for row in exporter.rows("flow.csv")
        if row["reason"]
    }
    assert losses == {
        ("", "not_enrolled", "declined"): 1,
        ("", "no_research_consent", "withdrawn"): 1,
        ("year-1", "missed", "no_answer"): 1,
        ("year-2", "not_expected", "died"): 1,
    }
    (line,) = [row for row in exporter.rows("log.csv") if row["enrolment"] == "not_enrolled"]
    assert (line["procedure"], line["reason"], line["surgeon"][:2], line["operations"]) == (
        "resurfacing",
        "declined",
        "S-",
        "1",
    )
    assert not any("1931" in row.values() for row in exporter.rows("log.csv"))


def test_what_somebody_else_answered_stands_at_a_step_of_its_own(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        nurse, ada = add_account(session), add_patient(session)
        cipher = exporter.cipher(ada)
        follow_up = add_follow_up(session, add_operation(session, ada, surgery_on=SURGERY))
        for code, by in (("year-1", "someone_else"), ("year-2", "patient_with_help")):
            row = add_timepoint(session, follow_up, code, due_on=TODAY - timedelta(days=10))
            parts = [part("sst@1", answered(dict(SST)))]
            add_response(session, row, parts, cipher=cipher, entered_by=nurse, answered_by=by)
    exporter.export()
    steps = {row["timepoint"]: row["step"] for row in exporter.rows("flow.csv") if row["timepoint"]}
    assert steps == {"year-1": "answered_for", "year-2": "analysed"}


def test_what_was_not_done_here_is_told_apart(exporter: Exporter) -> None:
    """Where no place is recorded it was here, but for an operation before the first one here."""
    places = [
        ("index", None),
        ("earlier", None),
        ("earlier", "here"),
        ("earlier", "elsewhere"),
        ("revision", "elsewhere"),
    ]
    with exporter.store.writing() as session:
        for number, (kind, place) in enumerate(places):
            patient = add_patient(session, f"Y-{number:04d}")
            add_operation(session, patient, surgery_on=SURGERY, kind=kind, place=place)
        session.add(OperationLog(surgery_on=SURGERY, side="left", not_enrolled_reason="declined", made_at=NOW))
        session.flush()
        here = Counter(line.enrolled for line in read_lines(session))
    exporter.export()
    logged, operated = Counter[tuple[str, str]](), Counter[str]()
    for row in exporter.rows("log.csv"):
        logged[row["done_here"], row["enrolment"]] += int(row["operations"])
    for row in exporter.rows("flow.csv"):
        operated[row["done_here"]] += int(row["operations"]) * (row["step"] == "operated")
    assert logged == {("1", "in_files"): 2, ("0", "in_files"): 3, ("1", "not_enrolled"): 1}
    assert here == {True: 2, False: 1} and operated == {"1": 3, "0": 3}


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_the_codebook_says_on_which_basis_people_who_are_not_enrolled_are_counted(exporter: Exporter) -> None:
    exporter.export("before")
    with exporter.store.writing() as session:
        the_clinic(session).log_basis = "Hospital act, § 12"
    exporter.export()
    (before,), (after,) = (
        [row for row in exporter.rows("codebook.csv", name) if row["type"] == "basis"] for name in ("before", "set")
    )
    assert (before["file"], before["note"]) == ("log.csv", "The clinic has not stated it")
    assert after["note"] == "Hospital act, § 12"


def test_the_record_of_a_duplicate_is_counted_once(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        kept = add_patient(session, "Y-0001")
        add_operation(session, kept, surgery_on=SURGERY)
        alias = add_patient(session, "Y-0002", merged_into_id=kept.id)
        session.add(Shoulder(patient_id=alias.id, side="left"))
        session.flush()
        session.refresh(alias)
        add_operation(session, alias, surgery_on=SURGERY)
    exporter.export()
    assert [row["operations"] for row in exporter.rows("flow.csv") if row["step"] == "operated"] == ["1"]
    assert [row["operations"] for row in exporter.rows("log.csv")] == ["1"]
