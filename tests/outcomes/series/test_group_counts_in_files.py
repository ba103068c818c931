"""The pairs behind a change by group are those that anyone can count in wide.csv."""

import random
from datetime import timedelta

import pytest

from server.outcomes.series.flow import flow_of
from server.outcomes.series.followings import read_followings
from server.outcomes.series.grouping import grouping_of
from server.outcomes.series.groups import change_by_group
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import strip_of
from server.schedule.dates import anniversary
from tests.exports.clinic import SST, SURGERY, Exporter, add_patient
from tests.outcomes.series.test_counts_as_in_the_files import read
from tests.storehouse import (
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


def some_pairs(exporter: Exporter, chance: random.Random) -> None:
    """Patients of whom some answered before surgery, some at year 1, some both; some answers have no score; some are fractures."""
    with exporter.store.writing() as session:
        nurse = add_account(session)
        for number in range(30):
            patient = add_patient(session, f"Y-{number:04d}")
            words = {"diagnosis": chance.choice(["osteoarthritis", "osteoarthritis", "acute_fracture"])}
            side = chance.choice(["left", "right"])
            follow_up = add_follow_up(session, add_operation(session, patient, side, surgery_on=SURGERY, **words))
            for code, due in (("baseline", SURGERY - timedelta(days=5)), ("year-1", anniversary(SURGERY, 1))):
                row = add_timepoint(session, follow_up, code, due_on=due)
                if chance.random() < 0.75:
                    given = [part("sst@1", answered(dict(SST)))]
                    response = add_response(session, row, given, cipher=exporter.cipher(patient), entered_by=nurse)
                    if chance.random() < 0.85:
                        add_score(session, response, value=float(chance.randint(2, 12)))


@pytest.mark.parametrize("seed", [5, 6])
def test_pairs_of_each_group_are_those_of_the_file(exporter: Exporter, seed: int) -> None:
    some_pairs(exporter, random.Random(seed))
    exporter.export()
    record, said = read(exporter), Sentence()
    with exporter.store.reading() as session:
        followings = read_followings(session, record)
    meant = flow_of(record, said).rows_at("meant")
    strip = strip_of(followings, meant, said)
    found = change_by_group(followings, strip, grouping_of(meant, "side"), "sst@1/total", 1)

    rows = [row for row in exporter.rows("wide.csv") if row["y1_status"] == "answered"]
    pairs = [
        row for row in rows if row["base_sst_total"] and row["y1_sst_total"] and row["diagnosis"] != "acute_fracture"
    ]
    counted = {side: sum(row["side"] == side for row in pairs) for side in ("left", "right")}
    assert {group.code: group.n for group in found.groups} == counted and sum(counted.values()) > 4
    assert found.answered == len(rows)
    assert found.fractures == sum(row["diagnosis"] == "acute_fracture" for row in rows) > 0
    assert found.failed_sums() == []
