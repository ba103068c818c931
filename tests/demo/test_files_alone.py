"""Rates, flow, coverage and time to revision, found from the files alone, equal what the database gives."""

import shutil
import subprocess
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select, true
from sqlalchemy.orm import Session

from server.models import FollowUp, Operation, OperationLog, Patient, Shoulder, Timepoint
from server.queries.coverage import read_lines
from server.queries.facts import standing_of
from server.queries.last_known import last_known_of_all
from server.queries.research import included
from server.timepoints.asked import fetched_days
from tests.demo import from_files
from tests.demo.from_files import ANSWERED, Rates, Time
from tests.demo.play import Demo


def operations(session: Session, demo: Demo) -> Any:
    """Operation, shoulder and patient of everybody whose consent to research stands."""
    query = select(Operation, Shoulder, Patient).join(Shoulder, Shoulder.id == Operation.shoulder_id)
    query = query.join(Patient, Patient.id == Shoulder.patient_id).where(included(Patient.id, demo.today, False))
    return session.execute(query.where(Patient.merged_into_id.is_(None))).all()


def rates_of(session: Session, demo: Demo) -> dict[str, Rates]:
    """From the timepoints themselves, by the rule of server/schedule/status.py."""
    found: dict[str, Rates] = {}
    ours = {row.Operation.id for row in operations(session, demo)}
    attempts: dict[tuple[int, str], list[Timepoint]] = {}
    query = select(Timepoint, FollowUp.operation_id).join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    for timepoint, operation_id in session.execute(query.order_by(Timepoint.attempt)):
        closed = timepoint.closes_on is not None and timepoint.closes_on < demo.today
        if operation_id in ours and closed:
            attempts.setdefault((operation_id, timepoint.code), []).append(timepoint)
    for (_operation, code), each in attempts.items():
        standings = [standing_of(timepoint, demo.today) for timepoint in each]
        given = any(str(standing.status) in ANSWERED for standing in standings)
        last = standings[-1]
        out = str(last.status) == "not_expected" or str(last.reason) == "enrolled_later"
        before = found.get(code, Rates(0, 0, 0))
        found[code] = Rates(before.answered + given, before.all + 1, before.expected + (given or not out))
    return found


def test_both_response_rates_of_each_timepoint(seeded: Demo, demo_files: Path) -> None:
    with seeded.runtime.store.reading() as session:
        known = rates_of(session, seeded)
    found = from_files.response_rates(demo_files)
    assert found == known
    assert len(found) > 8 and found["year-1"].answered > 10
    assert all(each.answered <= each.expected <= each.all for each in found.values())
    assert any(each.expected < each.all for each in found.values())


def test_the_flow_from_operated_to_analysed(seeded: Demo, demo_files: Path) -> None:
    found = from_files.flow(demo_files)
    with seeded.runtime.store.reading() as session:
        here = [
            row
            for row in operations(session, seeded)
            if row.Operation.surgery_on and row.Operation.surgery_on <= seeded.today
        ]
        done = session.scalars(
            select(Operation.id)
            .join(Shoulder)
            .join(Patient)
            .where(Operation.surgery_on <= seeded.today, Patient.merged_into_id.is_(None))
        ).all()
        lines = session.scalars(
            select(OperationLog.id).where(OperationLog.operation_id.is_(None), OperationLog.taken_back_at.is_(None))
        ).all()
    assert found["", "in_files"] == len(here) > 20
    assert found["", "enrolled"] == len(done)
    assert found["", "operated"] == len(done) + len(lines) > len(done)
    steps = Counter[str]()
    for (timepoint, _step), count in found.items():
        steps[timepoint] += count * bool(timepoint)
    assert {count for timepoint, count in steps.items() if timepoint} == {len(here)}


def test_coverage_by_year(seeded: Demo, demo_files: Path) -> None:
    with seeded.runtime.store.reading() as session:
        known: dict[str, tuple[int, int]] = {}
        for line in read_lines(session, until=seeded.today):
            done, enrolled = known.get(str(line.surgery_on.year), (0, 0))
            known[str(line.surgery_on.year)] = done + 1, enrolled + line.enrolled
    assert from_files.coverage(demo_files) == from_files.coverage_by_flow(demo_files) == known
    assert len(known) > 5 and any(enrolled < done for done, enrolled in known.values())


def test_time_to_revision_with_the_day_to_which_the_implant_was_known(seeded: Demo, demo_files: Path) -> None:
    with seeded.runtime.store.reading() as session:
        known_of, known = last_known_of_all(session, seeded.today), []
        for row in operations(session, seeded):
            operation, start = row.Operation, row.Operation.surgery_on
            if operation.kind != "index" or start is None:
                continue
            revised = [
                each.surgery_on for each in row.Shoulder.operations if each.kind == "revision" and each.surgery_on
            ]
            implant = known_of[row.Patient.id].implant.get(row.Shoulder.side)
            if revised:
                known.append(Time((min(revised) - start).days, 1))
            elif row.Patient.died_on:
                known.append(Time((row.Patient.died_on - start).days, 2))
            else:
                known.append(Time((max(implant.on, start) - start).days if implant else 0, 0))
    found = from_files.times_to_revision(demo_files)
    assert found == sorted(known)
    assert {each.status for each in found} == {0, 1, 2}


def test_why_nobody_answered_who_was_asked(seeded: Demo, demo_files: Path) -> None:
    known = Counter[str]()
    with seeded.runtime.store.reading() as session:
        fetched = fetched_days(session, true())
        for row in operations(session, seeded):
            for timepoint in (each for follow_up in row.Operation.follow_ups for each in follow_up.timepoints):
                on = fetched.get(timepoint.id)
                found = standing_of(timepoint, seeded.today, fetched_on=on, lost_on=row.Patient.lost_on)
                known[str(found.reason)] += str(found.status) == "missed"
    assert from_files.silences(demo_files) == +known
    assert {"no_answer", "opened_not_finished", "lost", "declined"} <= from_files.silences(demo_files).keys()


def test_answers_after_a_revision_are_told_from_those_of_the_first_implant(seeded: Demo, demo_files: Path) -> None:
    found = from_files.answered_with_another_implant(demo_files)
    known: dict[str, tuple[int, int]] = {}
    with seeded.runtime.store.reading() as session:
        for row in operations(session, seeded):
            later = [
                each.surgery_on
                for each in row.Shoulder.operations
                if each.kind == "revision" and each.surgery_on and each.position > row.Operation.position
            ]
            for timepoint in (each for follow_up in row.Operation.follow_ups for each in follow_up.timepoints):
                if str(standing_of(timepoint, seeded.today).status) in ANSWERED and timepoint.answered_on:
                    revised = bool(later) and timepoint.answered_on > min(later)
                    first, another = known.get(timepoint.code, (0, 0))
                    known[timepoint.code] = first + (not revised), another + revised
    assert found == known
    assert any(another for _first, another in found.values())


def test_r_finds_the_same_rates(demo_files: Path, tmp_path: Path) -> None:
    r = shutil.which("Rscript") or pytest.skip("R is not installed here: the rates were not found by R")
    asks = [
        'source("read.R")',
        'rows <- read_yearmark("schedule.csv")',
        'rows <- rows[!is.na(rows$closes_on) & rows$closes_on < rows$as_of & rows$timepoint == "year-1", ]',
        'given <- rows$status %in% c("answered", "answered early", "answered late", "early", "late", "recalled")',
        'cat(sum(given), nrow(rows), sum(given | rows$eligible == "yes"))',
    ]
    (tmp_path / "ask.R").write_text("\n".join(asks), encoding="utf-8")
    said = subprocess.run(
        [r, "--vanilla", tmp_path / "ask.R"], cwd=demo_files, capture_output=True, text=True, check=True
    )
    assert said.stdout.split() == [str(count) for count in from_files.response_rates(demo_files)["year-1"]]
