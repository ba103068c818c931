"""The silence strip and the course are what anyone can count from the exported files, by hand and without this program."""

import random
from collections import Counter
from datetime import date, timedelta
from statistics import mean

import pytest
from sqlalchemy.orm import Session

from server.models import OperationLog
from server.outcomes.series.course import Course, Measure, course_of, said_in
from server.outcomes.series.flow import flow_of
from server.outcomes.series.followings import read_followings
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import PLACES, Strip, strip_of
from server.schedule.dates import anniversary
from tests.exports.clinic import SST, Exporter, add_patient
from tests.storehouse import (
    NOW,
    TODAY,
    add_account,
    add_follow_up,
    add_operation,
    add_response,
    add_score,
    add_timepoint,
    answered,
    part,
)

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
YEARS = (1, 2, 3)
FileRow = dict[str, str]


def fill(exporter: Exporter, session: Session, chance: random.Random) -> None:
    """One shoulder or two, before surgery and three years after it: answered, silent, never asked, revised, dead; and lines of the log."""
    nurse = add_account(session)
    for number in range(18):
        patient = add_patient(session, f"Y-{number:04d}")
        cipher = exporter.cipher(patient)
        patient.died_on = chance.choice([None, None, None, TODAY - timedelta(days=chance.randrange(900))])
        for side in chance.choice([("left",), ("left", "right")]):
            surgery_on = date(2022, 1, 1) + timedelta(days=chance.randrange(700))
            follow_up = add_follow_up(session, add_operation(session, patient, side, surgery_on=surgery_on))
            revised_on = surgery_on + timedelta(days=chance.randrange(40, 900))
            if chance.random() < 0.3 and revised_on < (patient.died_on or TODAY):
                add_operation(session, patient, side, surgery_on=revised_on, kind="revision")
            for year in (0, *YEARS):
                due = anniversary(surgery_on, year) if year else surgery_on - timedelta(days=10)
                asked = {"asked_on": due} if chance.random() < 0.8 else {}
                row = add_timepoint(session, follow_up, f"year-{year}" if year else "baseline", due_on=due, **asked)
                if chance.random() < 0.6 and due < min(patient.died_on or TODAY, TODAY):
                    told = add_response(
                        session, row, [part("sst@1", answered(dict(SST)))], cipher=cipher, entered_by=nurse
                    )
                    if chance.random() < 0.9:
                        add_score(session, told, value=float(chance.randint(0, 12)))
    for reason in ("declined", "declined", "not_asked", "died"):
        session.add(OperationLog(surgery_on=date(2023, 5, 1), side="left", not_enrolled_reason=reason, made_at=NOW))


def read(exporter: Exporter) -> tuple[Strip, Course]:
    with exporter.store.reading() as session:
        followings = read_followings(session, read_record(session, TODAY))
    strip = strip_of(followings, flow_of(followings.record, Sentence()).rows_at("meant"), Sentence())
    measure = Measure("sst@1/total", 0, 12, higher_is_better=True)
    return strip, course_of(followings, strip, said_in(strip), measure)


def key(row: FileRow) -> tuple[str, str]:
    return row["study_number"], row["side"]


def counted_from_files(exporter: Exporter, year: int) -> tuple[Counter[str], list[float], list[float]]:
    """The places of those who take part, the scores of the answered, and the changes of those with a score before surgery."""
    operations = {key(row): row for row in exporter.rows("operations.csv") if row["operation_kind"] == "index"}
    wide = {key(row): row for row in exporter.rows("wide.csv") if row["operation_kind"] == "index"}
    places: Counter[str] = Counter()
    scores, changes = [], []
    for row in exporter.rows("schedule.csv"):
        if row["timepoint"] != f"year-{year}" or key(row) not in operations:
            continue
        operation, files = operations[key(row)], wide[key(row)]
        told = row["status"] in ("answered", "early", "late")
        until = row["answered_on"] if told else row["closes_on"]
        if row["closes_on"] >= row["as_of"]:
            places["to_come"] += 1
        elif not told and operation["died_on"] and operation["died_on"] <= row["closes_on"]:
            places["dead"] += 1
        elif operation["revised_on"] and operation["revised_on"] <= until:
            places["revised"] += 1
        else:
            places["answered" if told else "silent" if row["status"] == "missed" else "never_asked"] += 1
            score, before = files[f"y{year}_sst_total"], files["base_sst_total"]
            scores += [float(score)] if told and score else []
            changes += [float(score) - float(before)] if told and score and before else []
    return places, scores, changes


def test_every_place_and_mean_is_an_independent_count_from_the_files(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        fill(exporter, session, random.Random(1))
    exporter.export()
    strip, course = read(exporter)
    expected = {year: counted_from_files(exporter, year) for year in YEARS}
    log = [row for row in exporter.rows("log.csv") if row["enrolment"] == "not_enrolled"]
    lines: Counter[bool] = Counter()
    for row in log:
        lines[row["reason"] == "died"] += int(row["operations"])
    for year in (1, 2):
        expected[year][0]["never_asked"] += lines[False]
        expected[year][0]["dead"] += lines[True]
    # Year 3 of the lines, 1 May 2026 and its window, is to come as theirs of the others is.
    expected[3][0]["to_come"] += lines.total()
    assert (lines[False], lines[True]) == (3, 1) and strip.failed_sums() == [] and course.failed_sums(strip) == []
    assert [{place: year.count(place) for place in PLACES if year.count(place)} for year in strip.years[:3]] == [
        dict(sorted(places.items(), key=lambda each: PLACES.index(each[0])))
        for places, _scores, _changes in expected.values()
    ]
    assert [(each.n, round(each.limits.mean, 9)) for each in course.years.values()] == [
        (len(scores), round(mean(scores), 9)) for _places, scores, _changes in expected.values()
    ]
    assert [(each.paired.n, round(each.paired.mean_change, 9)) for each in course.changes.values()] == [
        (len(changes), round(mean(changes), 9)) for _places, _scores, changes in list(expected.values())[:2]
    ]
    assert sum(len(scores) for _places, scores, _changes in expected.values()) > 15
