"""Recovery is what anyone can count from the exported files: the answers at each window, and who went back to work, when."""

import random
from collections import Counter
from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from scoring.library import load_library
from server.outcomes.series.acceptable_levels import Levels
from server.outcomes.series.flow import flow_of
from server.outcomes.series.followings import read_followings
from server.outcomes.series.recovery import WINDOWS, Recovery, recovery_of
from server.outcomes.series.returns_reading import read_returns
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import Sentence
from server.timepoints.plans import shipped_plans
from tests.exports.clinic import Exporter, add_patient
from tests.outcomes.series.test_returns_reading import opened_by
from tests.storehouse import (
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
DAYS = {
    "week-6": (28, 42, 63),
    "month-3": (75, 91, 120),
    "month-6": (150, 182, 215),
    "year-1": (305, 365, 425),
    "year-2": (640, 730, 850),
}
SHORT = {"week-6": "w6", "month-3": "m3", "month-6": "m6", "year-1": "y1", "year-2": "y2"}
RETURNS = ("month-3", "month-6", "year-1", "year-2")
FileRow = dict[str, str]


def fill(exporter: Exporter, session: Session, chance: random.Random) -> None:
    """Close and standard plans; what one goes back to was drawn once, so that a person's answers fit each other."""
    nurse = add_account(session)
    for number in range(14):
        patient = add_patient(session, f"Y-{number:04d}")
        cipher = exporter.cipher(patient)
        surgery_on = TODAY - timedelta(days=chance.randrange(100, 1200))
        follow_up = add_follow_up(session, add_operation(session, patient, "left", surgery_on=surgery_on))
        follow_up.plan_id = chance.choice(["close", "close", "standard"])
        worked, week = chance.random() < 0.7, chance.randrange(2, 60)
        for code, (opens, due, closes) in DAYS.items():
            on = surgery_on + timedelta(days=due)
            days = {
                "opens_on": surgery_on + timedelta(opens),
                "closes_on": surgery_on + timedelta(closes),
                "invites_on": on,
            }
            row = add_timepoint(session, follow_up, code, due_on=on, asked_on=on, **days)
            if on >= TODAY or chance.random() < 0.3:
                continue
            parts = [part("pass@1", answered({"1": 1}))]
            if follow_up.plan_id == "close" and code in RETURNS:
                told: dict[str, int | str] = (
                    {"1": 3} if not worked else {"1": 1, "1a": week} if 7 * week <= due else {"1": 0}
                )
                parts.append(part("return@1", answered(told)))
            response = add_response(session, row, parts, cipher=cipher, entered_by=nurse)
            add_score(session, response, "pass", scale="acceptable", value=float(chance.random() < 0.6))


def read(exporter: Exporter) -> Recovery:
    with exporter.store.reading() as session:
        followings = read_followings(session, read_record(session, TODAY))
        told = read_returns(session, followings, Sentence(), shipped_plans().values(), opened_by(exporter))
    meant = flow_of(followings.record, Sentence()).rows_at("meant")
    return recovery_of(followings, meant, Sentence(), Levels(load_library().definitions), told)


def windows_in_files(exporter: Exporter) -> dict[str, tuple[int, int, int]]:
    """How many said yes and no, and for how many it has closed."""
    wide = {row["study_number"]: row for row in exporter.rows("wide.csv")}
    found = {}
    for code in WINDOWS:
        closed = [
            row for row in exporter.rows("schedule.csv") if row["timepoint"] == code and row["closes_on"] < row["as_of"]
        ]
        said = Counter(wide[row["study_number"]][f"{SHORT[code]}_pass_acceptable"] for row in closed)
        found[code] = said["1"], said["0"], len(closed)
    return found


def work_in_files(exporter: Exporter) -> tuple[int, int, list[int], int]:
    """Who was asked, who did not work before, the weeks of who is back, and how many were not back when last heard of."""
    asked = {
        row["study_number"]
        for row in exporter.rows("schedule.csv")
        if row["plan_version"].startswith("close") and row["timepoint"] in RETURNS and row["closes_on"] < row["as_of"]
    }
    told: dict[str, dict[str, set[int]]] = {number: {"1": set(), "1a": set()} for number in asked}
    closed = {
        (row["study_number"], row["timepoint"])
        for row in exporter.rows("schedule.csv")
        if row["closes_on"] < row["as_of"]
    }
    for row in exporter.long("item", instrument="return@1"):
        if row["item"] in ("1", "1a") and (row["study_number"], row["timepoint"]) in closed and row["value"]:
            told[row["study_number"]][row["item"]].add(int(row["value"]))
    weeks = sorted(min(each["1a"]) for each in told.values() if each["1a"])
    return (
        len(asked),
        sum(3 in each["1"] for each in told.values()),
        weeks,
        sum(each["1"] == {0} for each in told.values()),
    )


@pytest.mark.parametrize("seed", [1, 2])
def test_windows_and_returns_are_independent_counts_from_the_files(exporter: Exporter, seed: int) -> None:
    with exporter.store.writing() as session:
        fill(exporter, session, random.Random(seed))
    exporter.export()
    found = read(exporter)
    counts = {
        window.code: (window.standings.counts["yes"], window.standings.counts["no"], window.come)
        for window in found.windows
    }
    work = next(each for each in found.returns if each.activity == "work")
    weeks = sorted(round(event.right) for event in work.times.events if event.cause == "back")
    assert counts == windows_in_files(exporter)
    assert (work.asked, work.did_not, weeks, work.times.count("")) == work_in_files(exporter)
    assert found.failed_sums() == [] and len(weeks) > 1 and counts["year-1"][0] > 1
