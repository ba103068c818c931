"""Answers and scores in long.csv and wide.csv."""

from datetime import date
from typing import Any

import pytest
from sqlalchemy import delete, select, update

from server.exports import KeysMissing
from server.models import Patient, Response, Score, StaffAccount, Timepoint
from tests.exports.clinic import SST, SURGERY, Exporter, ada_answers, add_patient
from tests.storehouse import (
    NOW,
    add_account,
    add_follow_up,
    add_operation,
    add_response,
    add_score,
    add_timepoint,
    answered,
    part,
)

# What a file says is the same on either database; test_files.py and test_records.py read both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def test_the_rows_equal_the_answers_given(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    exporter.export()
    rows = exporter.long("item", instrument="sst@1")
    assert {row["item"]: int(row["value"]) for row in rows} == SST
    assert {(row["study_number"], row["side"], row["timepoint"], row["mode"], row["answered_by"]) for row in rows} == {
        ("Y-0001", "left", "year-1", "telephone", "patient")
    }
    assert {(row["window_state"], row["text_id"], row["text_kind"]) for row in rows} == {
        ("in", "sst@1/en/descriptive-1", "descriptive")
    }
    assert {row["days_from_surgery"] for row in rows} == {"375"}


@pytest.mark.parametrize(
    ("item", "value", "reason"),
    [
        ("1", "1", ""),
        ("2", "", "declined"),
        ("3", "", "not_applicable"),
        ("4", "", "not_reached"),
        ("5", "", "not_given"),
        ("6", "0", ""),
    ],
)
def test_an_item_without_an_answer_has_an_empty_cell_and_the_reason_beside_it(
    exporter: Exporter, item: str, value: str, reason: str
) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    exporter.export()
    (row,) = exporter.long("item", instrument="since@1", item=item)
    assert (row["value"], row["missing"]) == (value, reason)


def test_a_month_stands_in_its_own_column_and_identifying_items_nowhere(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    exporter.export()
    (month,) = exporter.long("item", instrument="since@1", item="1a")
    assert (month["value"], month["value_month"], month["missing"]) == ("", "2025-02", "")
    assert not exporter.long("item", item="1b")
    assert not exporter.long("item", item="6a")


def test_scores_have_their_own_rows_and_wide_columns(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    exporter.export()
    (total,) = exporter.long("score", scale="total")
    assert (total["value"], total["score_status"], total["scoring_version"]) == ("9", "scored", "1")
    (pain,) = exporter.long("score", scale="pain")
    assert (pain["value"], pain["missing"], pain["score_reason"]) == ("", "not_scored", "not answered")
    (wide,) = exporter.rows("wide.csv")
    assert (wide["y1_sst_total"], wide["y1_pain"], wide["y1_status"], wide["y1_days"]) == ("9", "", "answered", "375")
    assert (wide["y1_sst_missing"], wide["y1_pain_missing"], wide["y1_missing"]) == ("", "not_scored", "")


def test_wide_says_for_each_instrument_and_timepoint_what_kind_of_text_was_asked(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        response = ada_answers(exporter, session)
        follow_up = session.get_one(Timepoint, response.timepoint_id).follow_up
        nurse = session.scalars(select(StaffAccount)).one()
        cipher = exporter.cipher(session.get_one(Patient, response.patient_id))
        year_2 = add_timepoint(session, follow_up, "year-2", due_on=date(2026, 5, 10))
        later = add_response(session, year_2, [part("sst@1", answered(dict(SST)))], cipher=cipher, entered_by=nurse)
        add_score(session, later, text_id="sst@1/en/licensed-1")
        add_timepoint(session, follow_up, "week-6", due_on=date(2024, 6, 21))
    exporter.export()
    (wide,) = exporter.rows("wide.csv")
    said = {name: wide[name] for name in wide if name.endswith("_text")}
    assert said == {
        "w6_pain_text": "",
        "w6_sst_text": "",
        "y1_pain_text": "descriptive",
        "y1_sst_text": "descriptive",
        "y2_pain_text": "",
        "y2_sst_text": "licensed",
    }
    names = list(wide)
    assert names[names.index("y1_sst_text") :][:4] == [
        "y1_sst_text",
        "y1_sst_prorated",
        "y1_sst_missing",
        "y1_sst_total",
    ]
    (entry,) = [row for row in exporter.rows("codebook.csv") if row["name"] == "y1_sst_text"]
    assert (entry["codes"], entry["type"]) == ("licensed | descriptive", "word") and "owner's words" in entry["note"]


def test_a_prorated_score_and_a_bound_are_told_from_a_whole_score(exporter: Exporter) -> None:
    """wide.csv holds numbers; without a word beside them one from 11 of 12 items would look like one from 12."""
    with exporter.store.writing() as session:
        response = ada_answers(exporter, session)
        add_score(session, response, instrument="sst", scale="total_if_blanks_no", value=9.0)
        add_score(session, response, instrument="oss", scale="total", value=40.0, status="prorated", reason="11 of 12")
    exporter.export()
    (bound,) = exporter.long("score", scale="total_if_blanks_no")
    assert (bound["score_status"], bound["value"]) == ("bound", "9")
    (prorated,) = exporter.long("score", instrument="oss@1")
    assert (prorated["score_status"], prorated["score_reason"]) == ("prorated", "11 of 12")
    (wide,) = exporter.rows("wide.csv")
    said = {name: wide[name] for name in wide if name.endswith("_prorated")}
    assert said == {"y1_oss_prorated": "1", "y1_pain_prorated": "0", "y1_sst_prorated": "0"}
    (entry,) = [row for row in exporter.rows("codebook.csv") if row["name"] == "score_status"]
    assert entry["codes"] == "scored | prorated | not_scored | bound"


def test_a_superseded_score_is_left_out(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        response = ada_answers(exporter, session)
        response.scores[1].superseded_at = response.recorded_at
    exporter.export()
    assert [row["scale"] for row in exporter.long("score")] == ["total"]


def test_a_repeated_form_is_counted_but_its_answers_are_not_exported(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        response = ada_answers(exporter, session)
        cipher = exporter.cipher(session.get_one(Patient, response.patient_id))
        timepoint, nurse = (
            session.get_one(Timepoint, response.timepoint_id),
            session.scalars(select(StaffAccount)).one(),
        )
        again = [part("sst@1", answered(dict.fromkeys(SST, 0)))]
        add_response(session, timepoint, again, cipher=cipher, entered_by=nurse, counted=False)
    manifest = exporter.export()
    assert manifest.counts["responses_repeated"] == 1
    assert [row["repeats"] for row in exporter.long("form")] == ["1"]
    assert {row["item"]: int(row["value"]) for row in exporter.long("item", instrument="sst@1")} == SST


@pytest.mark.parametrize("key_came_back", [False, True], ids=["key-gone", "key-back-from-a-backup"])
def test_answers_of_an_erased_patient_are_reported_and_not_guessed(exporter: Exporter, key_came_back: bool) -> None:
    with exporter.store.writing() as session:
        patient = session.get_one(Patient, ada_answers(exporter, session).patient_id)
        patient.erased_at = NOW
        if not key_came_back:
            exporter.keys.erase_patient_key(patient.handle)
    manifest = exporter.export()
    (form,) = exporter.long("form")
    assert (form["value"], form["missing"], form["status"]) == ("", "erased", "answered")
    assert not exporter.long("item")
    assert not exporter.long("score")
    (wide,) = exporter.rows("wide.csv")
    assert (wide["y1_missing"], "y1_sst_total" in wide and wide["y1_sst_total"]) == ("erased", "")
    assert manifest.counts["forms_erased"] == 1


def test_a_lost_key_stops_the_export_and_never_looks_like_an_erasure(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    exporter.export()
    before = (exporter.folder / "set" / "long.csv").read_bytes()
    with exporter.store.reading() as session:
        exporter.keys.erase_patient_key(session.scalars(select(Patient.handle)).one())
    with pytest.raises(KeysMissing, match=r"patient Y-0001.*from its backup"):
        exporter.export()
    assert (exporter.folder / "set" / "long.csv").read_bytes() == before


def test_answers_that_do_not_open_are_reported_and_the_rest_is_written(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session).answers = b"x" * 60
    assert exporter.export().counts["forms_unreadable"] == 1
    (form,) = exporter.long("form")
    assert (form["value"], form["missing"]) == ("", "unreadable")


def test_where_somebody_else_answered_events_stand_and_no_value_of_a_scored_item(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
        session.execute(update(Response).values(answered_by="someone_else"))
        session.execute(delete(Score))
    exporter.export()
    assert {(row["value"], row["missing"]) for row in exporter.long("item", instrument="sst@1")} == {
        ("", "answered_for")
    }
    assert [row["value"] for row in exporter.long("item", instrument="since@1", item="1")] == ["1"]
    (row,) = exporter.rows("wide.csv")
    assert (row["y1_by"], row["y1_status"]) == ("someone_else", "answered")


def test_weeks_to_work_and_the_preferred_shoulder_are_rows_of_long_each_with_its_reason(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ben = add_patient(session, "Y-0002")
        operation = add_operation(session, ben, surgery_on=SURGERY)
        year_2 = add_timepoint(session, add_follow_up(session, operation), "year-2", due_on=date(2026, 5, 10))
        weeks: dict[str, dict[str, Any]] = {
            "1": {"state": "answered", "value": 1},
            "1a": {"state": "answered", "value": 9},
            "2a": {"state": "skipped"},
        }
        parts = [part("return@1", weeks), part("preference@1", answered({"1": 2}))]
        add_response(
            session, year_2, parts, cipher=exporter.cipher(ben), entered_by=add_account(session), on=date(2026, 5, 12)
        )
    exporter.export()
    found = {(row["instrument"], row["item"]): (row["value"], row["missing"]) for row in exporter.long("item")}
    assert found == {
        ("return@1", "1"): ("1", ""),
        ("return@1", "1a"): ("9", ""),
        ("return@1", "2a"): ("", "skipped"),
        ("preference@1", "1"): ("2", ""),
    }
    codes = {row["name"]: row["codes"] for row in exporter.rows("codebook.csv")}
    assert codes["preference@1/1"] == "1 = The right one | 2 = The left one | 0 = No difference"
