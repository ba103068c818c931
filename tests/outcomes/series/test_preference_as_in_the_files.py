"""Who prefers which shoulder is what anyone counts in operations.csv and long.csv."""

import random
from collections import Counter
from datetime import date

import pytest
from sqlalchemy.orm import Session

from server.outcomes.series.followings import read_followings
from server.outcomes.series.preference import Preference, both_shoulders, preference_of
from server.outcomes.series.preference_answers import read_preferences
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import Sentence
from server.schedule.preference import PREFERS
from tests.exports.clinic import Exporter, consent_to_research
from tests.storehouse import (
    TODAY,
    add_account,
    add_follow_up,
    add_operation,
    add_patient,
    add_response,
    add_timepoint,
    answered,
    part,
)

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
TYPES = ("resurfacing_hemi", "reverse", "stemmed_hemi")
FileRow = dict[str, str]


def fill(exporter: Exporter, session: Session, chance: random.Random) -> None:
    """Both shoulders of most, with types by chance; some withdrew, some were revised; up to two yearly forms with the question."""
    nurse = add_account(session)
    for number in range(50):
        patient = add_patient(session, f"Y-{number:04d}")
        consent_to_research(session, patient, withdrawn_on=TODAY if chance.random() < 0.1 else None)
        cipher = exporter.cipher(patient)
        sides = chance.choice(
            [("left", "right"), ("right", "left"), ("left",)]
            if number % 4 == 0
            else [("left", "right"), ("right", "left")]
        )
        for place, side in enumerate(sides):
            on = date(2018 + place, 3, 1)
            operation = add_operation(
                session, patient, side, surgery_on=on, implant_type=chance.choice([*TYPES, *TYPES, None])
            )
            follow_up = add_follow_up(session, operation)
        for year in (2, 3):
            row = add_timepoint(session, follow_up, f"year-{year}", due_on=date(on.year + year, 3, 1))
            value = chance.choice([0, 1, 2, 1, None, "not asked", "silent"])
            asked = answered({"1": value}) if isinstance(value, int) else {"1": {"state": "not_given"}}
            parts = [
                part("pass@1", answered({"1": 1})),
                *([] if value == "not asked" else [part("preference@1", asked)]),
            ]
            if value != "silent":
                add_response(session, row, parts, cipher=cipher, entered_by=nurse)
        if chance.random() < 0.2:
            add_operation(session, patient, side, surgery_on=date(2020, 1, 1), kind="revision")


def read(exporter: Exporter) -> Preference:
    with exporter.store.reading() as session:
        found = read_followings(session, read_record(session, TODAY))
        people = both_shoulders(found.of.values())
        patients = [each.patient_id for each in people]
        told = read_preferences(session, exporter.keys.patient_cipher, patients, TODAY, Sentence())
    return preference_of(people, told, Sentence(), TODAY)


def counted_from_files(exporter: Exporter) -> dict[tuple[str, str, str], int]:
    """By pair of types and answer, with `unasked` for whoever sent no form that asked it."""
    firsts = [row for row in exporter.rows("operations.csv") if row["operation_kind"] == "index"]
    of: dict[str, dict[str, FileRow]] = {}
    for row in firsts:
        of.setdefault(row["study_number"], {})[row["side"]] = row
    asked = [row for row in exporter.long("item") if row["instrument"] == "preference@1"]
    wide = Counter(row[f"y{year}_prefers"] for row in exporter.rows("wide.csv") for year in (2, 3))
    assert sum(wide[word] for word in PREFERS.values()) == sum(row["value"] != "" for row in asked)
    assert wide["not_given"] == sum(row["value"] == "" for row in asked) and wide["not_asked"] > 0
    counts: Counter[tuple[str, str, str]] = Counter()
    for number, sides in of.items():
        types = sorted((row["implant_type"] for row in sides.values()), key=lambda each: [*TYPES, ""].index(each))
        if len(sides) < 2 or "" in types or types[0] == types[1]:
            continue
        forms = sorted((row for row in asked if row["study_number"] == number), key=lambda row: row["answered_on"])
        said = [row for row in forms if row["value"]]
        last = said[-1] if said else forms[-1] if forms else None
        revised = [row["revised_on"] for row in sides.values() if row["revised_on"]]
        if revised and min(revised) <= (last["answered_on"] if last else TODAY.isoformat()):
            answer = "revised"
        elif not said:
            answer = "unanswered" if forms else "unasked"
        else:
            side = PREFERS[int(said[-1]["value"])]
            answer = side if side not in sides else ("first", "second")[types.index(sides[side]["implant_type"])]
        counts[types[0], types[1], answer] += 1
    return dict(counts)


def test_every_count_is_an_independent_count_from_the_files(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        fill(exporter, session, random.Random(6))
    exporter.export()
    found = read(exporter)
    order = {pair.types: sorted(pair.types, key=TYPES.index) for pair in found.pairs}
    counts: Counter[tuple[str, str, str]] = Counter()
    for pair in found.pairs:
        first, second = order[pair.types]
        turned = {"first": "second", "second": "first"} if pair.types != (first, second) else {}
        for person in pair.people:
            counts[first, second, turned.get(person.answer, person.answer)] += 1
    assert dict(counts) == counted_from_files(exporter)
    assert found.failed_sums() == []
    assert {answer for _first, _second, answer in counts} >= {
        "first",
        "second",
        "no_difference",
        "unanswered",
        "revised",
    }
