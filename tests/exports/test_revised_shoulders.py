"""An answer that came after a revision is told from one of the first implant, in every file that holds scores."""

from datetime import date, timedelta
from statistics import mean

import pytest

from tests.exports.clinic import SST, Exporter, add_patient
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

REVISED_ON, DIED_ON = date(2022, 3, 1), date(2025, 2, 1)


def two_shoulders(exporter: Exporter) -> None:
    """One was revised in March 2022, so the record says, and answers on that day and in year 5; the other one never was."""
    with exporter.store.writing() as session:
        patient, nurse = add_patient(session, died_on=DIED_ON), add_account(session)
        cipher = exporter.cipher(patient)
        for side, score in (("left", 12.0), ("right", 4.0)):
            operation = add_operation(session, patient, side, surgery_on=date(2018, 1, 1), surgery_precision="year")
            follow_up = add_follow_up(session, operation)
            for code, on in (("year-1", date(2019, 1, 1)), ("year-4", REVISED_ON), ("year-5", date(2023, 1, 1))):
                row = add_timepoint(session, follow_up, code, due_on=on)
                parts = [part("sst@1", answered(dict(SST)))]
                response = add_response(session, row, parts, cipher=cipher, entered_by=nurse)
                add_score(session, response, value=score)
            add_timepoint(session, follow_up, "year-8", due_on=date(2026, 1, 1))
        told = {"surgery_precision": "month", "certainty": "reported", "kind": "revision"}
        add_operation(session, patient, "left", surgery_on=REVISED_ON, **told)
        add_operation(session, patient, "left", surgery_on=date(2024, 1, 1), kind="revision")
    exporter.export()


def test_a_mean_of_the_unrevised_can_be_taken_from_the_wide_file_alone(exporter: Exporter) -> None:
    two_shoulders(exporter)
    left, right = exporter.rows("wide.csv")
    assert [left[f"{at}_revised"] for at in ("y1", "y4", "y5", "y8")] == ["0", "0", "1", "1"]
    assert [right[f"{at}_revised"] for at in ("y1", "y4", "y5", "y8")] == ["0", "0", "0", "0"]
    assert mean(float(row["y5_sst_total"]) for row in (left, right) if row["y5_revised"] == "0") == 4
    assert (left["revised_on"], left["revised_precision"], left["revised_certainty"]) == (
        "2022-03-01", "month", "reported",
    )  # fmt: skip
    assert (right["revised_on"], right["revised_precision"], right["revised_certainty"]) == ("", "", "")
    assert left["died_on"] == right["died_on"] == "2025-02-01"


def test_the_long_files_and_the_operations_say_the_same(exporter: Exporter) -> None:
    two_shoulders(exporter)
    scores = [row for row in exporter.long("score") if row["scale"] == "total"]
    assert [(row["side"], row["timepoint"]) for row in scores if row["revised"] == "1"] == [("left", "year-5")]
    assert {row["revised"] for row in scores} == {"0", "1"}
    planned = [(row["side"], row["timepoint"]) for row in exporter.rows("schedule.csv") if row["revised"] == "1"]
    assert planned == [("left", "year-5"), ("left", "year-8")]
    first = exporter.rows("operations.csv")[0]
    assert (first["revised_on"], first["revised_certainty"]) == ("2022-03-01", "reported")


def test_a_revision_known_to_its_year_comes_after_the_operation_of_that_year(exporter: Exporter) -> None:
    """Its first possible day is before that operation, so it stands in the middle, in every file and for every form."""
    with exporter.store.writing() as session:
        patient, nurse = add_patient(session, died_on=date(2025, 1, 1), died_precision="year"), add_account(session)
        first = add_operation(session, patient, surgery_on=date(2018, 3, 10))
        follow_up = add_follow_up(session, first)
        for code, on in (("month-6", date(2018, 9, 10)), ("year-1", date(2019, 3, 10))):
            parts = [part("sst@1", answered(dict(SST)))]
            row = add_timepoint(session, follow_up, code, due_on=on)
            add_response(session, row, parts, cipher=exporter.cipher(patient), entered_by=nurse)
        again = add_operation(session, patient, surgery_on=date(2018, 1, 1), surgery_precision="year", kind="revision")
        add_follow_up(session, again)
    exporter.export()
    first_row, revision = exporter.rows("operations.csv")
    assert (first_row["revised_on"], first_row["revised_precision"]) == ("2018-07-01", "year")
    assert (revision["surgery_on"], revision["revised_on"]) == ("2018-01-01", ""), "it does not revise itself"
    wide = exporter.rows("wide.csv")[0]
    assert (wide["m6_revised"], wide["y1_revised"], wide["revised_on"]) == ("1", "1", "2018-07-01")
    assert (wide["died_on"], wide["died_precision"]) == ("2025-01-01", "year"), (
        "beside each day how exactly it is known"
    )
    book = {(row["file"], row["name"]): row["note"] for row in exporter.rows("codebook.csv")}
    assert "or 1 July" in book["wide.csv", "revised_on"]


def test_a_revision_known_to_its_year_is_neither_after_its_second_stage_nor_a_death_nor_the_day_of_the_files(
    exporter: Exporter,
) -> None:
    vague = {"surgery_precision": "year", "kind": "revision"}
    with exporter.store.writing() as session:
        staged = add_patient(session, "Y-0001")
        first = add_operation(session, staged, surgery_on=date(2018, 3, 10))
        follow_up = add_follow_up(session, first)
        for code, on in (
            ("month-3", date(2018, 6, 10)),
            ("month-4", date(2018, 7, 10)),
            ("month-6", date(2018, 9, 10)),
        ):
            add_timepoint(session, follow_up, code, due_on=on)
        removal = add_operation(session, staged, surgery_on=date(2018, 1, 1), stage="first_of_two", **vague)
        add_operation(session, staged, surgery_on=date(2018, 8, 1), kind="second_stage", first_stage_id=removal.id)
        dead = add_patient(session, "Y-0002", died_on=date(2018, 6, 1))
        add_operation(session, dead, surgery_on=date(2018, 3, 10))
        add_operation(session, dead, surgery_on=date(2018, 1, 1), **vague)
        lately = add_patient(session, "Y-0003")
        add_operation(session, lately, surgery_on=TODAY - timedelta(days=2))
        add_operation(session, lately, surgery_on=date(TODAY.year, 1, 1), **vague)
    exporter.export()
    found = [(row["study_number"], row["operation_kind"], row["revised_on"]) for row in exporter.rows("operations.csv")]
    assert found == [
        ("Y-0001", "index", "2018-07-01"), ("Y-0001", "revision", ""), ("Y-0001", "second_stage", ""),
        ("Y-0002", "index", "2018-06-01"), ("Y-0002", "revision", ""),
        ("Y-0003", "index", TODAY.isoformat()), ("Y-0003", "revision", ""),
    ]  # fmt: skip
    forms = {row["timepoint"]: (row["revised"], row["spacer_in"]) for row in exporter.rows("schedule.csv")}
    assert forms == {"month-3": ("0", "0"), "month-4": ("1", "1"), "month-6": ("1", "0")}


def test_every_file_that_counts_from_surgery_says_how_exactly_that_day_is_known(exporter: Exporter) -> None:
    two_shoulders(exporter)
    for file in ("wide.csv", "long.csv", "schedule.csv", "operations.csv"):
        row = next(row for row in exporter.rows(file) if row["side"] == "right")
        assert (row["surgery_on"], row["surgery_precision"]) == ("2018-01-01", "year"), file
    book = {(row["file"], row["name"]): row for row in exporter.rows("codebook.csv")}
    for file, name in (("wide.csv", "y5_days"), ("wide.csv", "age_at_surgery"), ("schedule.csv", "opens_on")):
        assert "surgery_precision" in book[file, name]["note"]
    assert "the first it can have been" in book["long.csv", "surgery_on"]["label"]
