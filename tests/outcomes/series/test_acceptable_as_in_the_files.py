"""Who is in an acceptable state at each year is what anyone can count from the exported files, by hand and without this program."""

import random
from collections import Counter
from datetime import date, timedelta

import pytest
from sqlalchemy.orm import Session

from scoring.library import load_library
from server.outcomes.series.acceptable import AcceptableSeries, acceptable_of
from server.outcomes.series.acceptable_levels import Levels
from server.outcomes.series.flow import flow_of
from server.outcomes.series.followings import read_followings
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import strip_of
from server.schedule.dates import anniversary
from tests.exports.clinic import Exporter, add_patient
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
YEARS = (1, 2, 3)
FileRow = dict[str, str]


def fill(exporter: Exporter, session: Session, chance: random.Random) -> None:
    """Everybody takes part and has one shoulder or two, of which some are revised; some have died, and many are silent."""
    nurse = add_account(session)
    for number in range(16):
        patient = add_patient(session, f"Y-{number:04d}")
        cipher = exporter.cipher(patient)
        patient.died_on = chance.choice([None, None, None, TODAY - timedelta(days=chance.randrange(900))])
        for side in chance.choice([("left",), ("left", "right")]):
            surgery_on = date(2022, 1, 1) + timedelta(days=chance.randrange(300))
            follow_up = add_follow_up(session, add_operation(session, patient, side, surgery_on=surgery_on))
            if chance.random() < 0.3:
                on = surgery_on + timedelta(days=chance.randrange(40, 900))
                if patient.died_on is None or on < patient.died_on:
                    add_operation(session, patient, side, surgery_on=on, kind="revision")
            for year in YEARS:
                due = anniversary(surgery_on, year)
                row = add_timepoint(session, follow_up, f"year-{year}", due_on=due, asked_on=due)
                if chance.random() < 0.6 and due < min(patient.died_on or TODAY, TODAY):
                    again = chance.choice([False, None])
                    parts = [part("pass@1", answered({"1": 1}))]
                    told = add_response(session, row, parts, cipher=cipher, entered_by=nurse, operated_again=again)
                    add_score(session, told, "pass", scale="acceptable", value=chance.choice([1.0, 1.0, 0.0]))


def read(exporter: Exporter) -> AcceptableSeries:
    with exporter.store.reading() as session:
        followings = read_followings(session, read_record(session, TODAY))
    meant = flow_of(followings.record, Sentence()).rows_at("meant")
    strip = strip_of(followings, meant, Sentence())
    return acceptable_of(followings, strip, Levels(load_library().definitions))


def counted_from_files(exporter: Exporter, year: int) -> tuple[Counter[str], Counter[bool]]:
    """The states, and of how many of the living it is known that they are unrevised (True) or revised (False)."""
    operations = {key(row): row for row in exporter.rows("operations.csv") if row["operation_kind"] == "index"}
    wide = {key(row): row for row in exporter.rows("wide.csv") if row["operation_kind"] == "index"}
    states: Counter[str] = Counter()
    implants: Counter[bool] = Counter()
    for row in exporter.rows("schedule.csv"):
        if row["timepoint"] != f"year-{year}" or row["closes_on"] >= row["as_of"] or key(row) not in operations:
            continue
        operation, said = operations[key(row)], wide[key(row)][f"y{year}_pass_acceptable"]
        revised = operation["revised_on"] and operation["revised_on"] <= (row["answered_on"] or row["closes_on"])
        if not said and operation["died_on"] and operation["died_on"] <= row["closes_on"]:
            states["dead"] += 1
            continue
        alive = max(operation["last_alive_on"], operation["died_on"]) >= row["opens_on"]
        if not said and not alive:
            states["not_known_alive"] += 1
            continue
        states["revised" if revised else {"": "unanswered", "1": "yes", "0": "no"}[said]] += 1
        if revised:
            implants[False] += 1
        elif operation["revised_on"] or operation["last_implant_on"] >= row["opens_on"]:
            implants[True] += 1
    return states, implants


def key(row: FileRow) -> tuple[str, str]:
    return row["study_number"], row["side"]


@pytest.mark.parametrize("seed", [1, 2])
def test_every_state_is_an_independent_count_from_the_files(exporter: Exporter, seed: int) -> None:
    with exporter.store.writing() as session:
        fill(exporter, session, random.Random(seed))
    exporter.export()
    series = read(exporter)
    expected = {year: counted_from_files(exporter, year) for year in YEARS}
    assert {at.at: Counter({k: n for k, n in at.counts.items() if n}) for at in series.years[:3]} == {
        year: states for year, (states, _implants) in expected.items()
    }
    assert [at.implants for at in series.years[:3]] == [
        (implants[True], implants[False]) for _states, implants in expected.values()
    ]
    assert [round(at.acceptable.estimate, 9) for at in series.years[:3] if at.acceptable] == [
        round(implants[True] / implants.total() * states["yes"] / (states["yes"] + states["no"]), 9)
        for states, implants in expected.values()
    ]
    assert series.failed_sums() == [] and sum(states["yes"] for states, _implants in expected.values()) > 10
