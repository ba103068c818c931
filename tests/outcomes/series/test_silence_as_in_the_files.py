"""Who answered, who was silent and what the drawn quarter makes of it is what anyone can count from the exported files."""

import random
from datetime import date, timedelta

import pytest
from sqlalchemy.orm import Session

from server.models import SilenceDraw
from server.outcomes.series.flow import flow_of
from server.outcomes.series.followings import read_followings
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.silence import Silence, silence_of
from server.outcomes.series.strip import strip_of
from server.schedule.dates import anniversary
from tests.exports.clinic import Exporter, add_patient
from tests.outcomes.series.test_silence import QUESTIONS
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
YEAR = 2
DAY = timedelta(days=1)


def fill(exporter: Exporter, session: Session, chance: random.Random) -> None:
    """Seventy shoulders two years after: half answered, of the rest most had a lot cast, some were drawn, and most of those answered."""
    nurse = add_account(session)
    draw = SilenceDraw(drawn_on=TODAY, drawn_at=NOW, seed="s", probability=0.25, people=30, people_drawn=12)
    session.add(draw)
    session.flush()
    for number in range(70):
        patient = add_patient(session, f"Y-{number:04d}", sex=chance.choice(["female", "male"]))
        cipher = exporter.cipher(patient)
        surgery_on = date(2023, 1, 1) + timedelta(days=chance.randrange(200))
        follow_up = add_follow_up(session, add_operation(session, patient, surgery_on=surgery_on))
        for year in (1, YEAR):
            due, answers, on = anniversary(surgery_on, year), chance.random() < 0.5, None
            row = add_timepoint(session, follow_up, f"year-{year}", due_on=due)
            row.asked_on = due if chance.random() < 0.95 else None
            if year == YEAR and not answers and row.asked_on and chance.random() < 0.9:
                row.lot_cast_on, row.draw_id = due + 30 * DAY, draw.id
                if chance.random() < 0.4:
                    row.drawn_on, row.drawing_probability = row.lot_cast_on, 0.25
                answers, on = chance.random() < (0.85 if row.drawn_on else 0.15), due + 50 * DAY
            if answers:
                parts = [part("pass@1", answered({"1": 1}))]
                told = add_response(session, row, parts, cipher=cipher, entered_by=nurse, on=on)
                if chance.random() < 0.95:
                    add_score(session, told, "pass", scale="acceptable", value=chance.choice([1.0, 1.0, 0.0]))


def read(exporter: Exporter) -> Silence:
    with exporter.store.reading() as session:
        followings = read_followings(session, read_record(session, TODAY))
    strip = strip_of(followings, flow_of(followings.record, Sentence()).rows_at("meant"), Sentence())
    return silence_of(followings, strip, Sentence(), QUESTIONS, YEAR)


def counted_from_files(exporter: Exporter) -> dict[str, int]:
    """By the columns of schedule.csv and wide.csv alone. ISO days compare as text."""
    wide = {row["study_number"]: row for row in exporter.rows("wide.csv")}
    rows = {(row["study_number"], row["timepoint"]): row for row in exporter.rows("schedule.csv")}
    of_year = {number: row for (number, timepoint), row in rows.items() if timepoint == f"year-{YEAR}"}
    said = {number: wide[number][f"y{YEAR}_pass_acceptable"] for number in of_year}
    before = {number for number, row in of_year.items() if row["drawn_on"] and row["drawn_on"] <= row["answered_on"]}
    told = [number for number in of_year if number not in before and said[number]]
    silent = [number for number, row in of_year.items() if number in before or row["status"] == "missed"]
    cast = [number for number, row in of_year.items() if row["lot_cast_on"]]
    reached = [number for number in cast if of_year[number]["drawn_on"] and said[number]]
    return {
        "told": len(told),
        "yes": sum(said[number] == "1" for number in told),
        "silent": len(silent),
        "silent_answered_before": sum(rows[number, "year-1"]["status"] == "answered" for number in silent),
        "silent_women": sum(wide[number]["sex"] == "female" for number in silent),
        "answered_first": sum(number not in cast for number in told),
        "yes_first": sum(said[number] == "1" and number not in cast for number in told),
        "cast": len(cast),
        "drawn": sum(of_year[number]["drawn_on"] != "" for number in cast),
        "reached": len(reached),
        "yes_reached": sum(said[number] == "1" for number in reached),
        "without_lot": sum(number not in cast for number in silent),
    }


@pytest.mark.parametrize("seed", [1, 2])
def test_every_count_is_an_independent_count_from_the_files(exporter: Exporter, seed: int) -> None:
    with exporter.store.writing() as session:
        fill(exporter, session, random.Random(seed))
    exporter.export()
    found, files = read(exporter), counted_from_files(exporter)
    assert found.sampled is not None and found.failed_sums() == []
    compared, lots = {each.name: each for each in found.compared}, found.sampled.found
    assert files == {
        "told": len(found.told),
        "yes": found.yes,
        "silent": len(found.silent),
        "silent_answered_before": compared["answered_before"].silent.total,
        "silent_women": compared["female"].silent.total,
        "answered_first": lots.answered,
        "yes_first": files["yes_first"],
        "cast": lots.cast,
        "drawn": lots.drawn,
        "reached": lots.drawn_answered,
        "yes_reached": files["yes_reached"],
        "without_lot": found.sampled.without_lot,
    }
    assert found.complete is not None and found.complete.estimate == pytest.approx(files["yes"] / files["told"])
    assert lots.result is not None
    of_frame = files["cast"] * files["yes_reached"] / files["reached"]
    whole = (files["yes_first"] + of_frame) / (files["answered_first"] + files["cast"])
    assert lots.result.estimate == pytest.approx(whole)
    assert files["reached"] >= 5 and files["without_lot"] > 0
