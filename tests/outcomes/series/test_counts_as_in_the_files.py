"""The flow of a series is what anyone can count from the exported files, by hand and without this program."""

import random
from collections.abc import Callable
from datetime import date, timedelta

import pytest

from server.models import Component, OperationLog
from server.outcomes.series.flow import Flow, flow_of
from server.outcomes.series.row import Record
from server.outcomes.series.rows import read_record
from server.outcomes.series.sentence import Sentence, Span
from tests.exports.clinic import SST, SURGERY, Exporter, add_patient
from tests.exports.random_clinic import fill
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
ANSWERED = {"answered", "early", "late"}
FileRow = dict[str, str]
# Each with the same condition on a row of log.csv and of wide.csv.
SENTENCES: dict[str, tuple[Sentence, Callable[[FileRow], bool]]] = {
    "everybody": (Sentence(), lambda row: True),
    "a side": (Sentence(side=("left",)), lambda row: row["side"] == "left"),
    "no implant type recorded": (Sentence(implant_type=("not_recorded",)), lambda row: row["implant_type"] == ""),
    "years": (Sentence(years=Span(2024, None)), lambda row: int(row["surgery_year"]) >= 2024),
}


def read(exporter: Exporter, *, texts: bool = False) -> Record:
    with exporter.store.reading() as session:
        return read_record(session, TODAY, texts=texts)


def steps(found: Flow) -> list[int]:
    return [len(step.rows) for step in found.steps]


def silent(found: Flow) -> int:
    return sum(len(loss.rows) for loss in found.losses if loss.name == "answered.silent")


def counted_from_files(exporter: Exporter, fits: Callable[[FileRow], bool]) -> tuple[list[int], int]:
    """Log, meant, taking part, answered; and how many of the rest were silent. `fits`: over rows of log.csv and wide.csv alike."""
    log = [row for row in exporter.rows("log.csv") if row["done_here"] == "1"]
    meant = [row for row in log if row["operation_kind"] in ("", "index") and fits(row)]
    in_files = [row for row in meant if row["enrolment"] == "in_files"]
    done = [row for row in exporter.rows("wide.csv") if row["surgery_on"] and row["surgery_on"] <= TODAY.isoformat()]
    shoulders = [{**row, "surgery_year": row["surgery_on"][:4]} for row in done if row["operation_kind"] == "index"]
    shoulders = [row for row in shoulders if fits(row)]
    years = sorted(
        {name.split("_")[0] for row in shoulders for name in row if name[0] == "y" and name.endswith("_status")}
    )
    told = [row for row in shoulders if any(row[f"{y}_status"] in ANSWERED and not row[f"{y}_missing"] for y in years)]
    unanswered = [row for row in shoulders if row not in told and any(row[f"{y}_status"] == "missed" for y in years)]
    sums = [sum(int(row["operations"]) for row in rows) for rows in (log, meant, in_files)]
    assert sums[2] == len(shoulders)
    return [*sums, len(told)], len(unanswered)


@pytest.mark.parametrize("seed", [1, 2])
def test_every_step_is_an_independent_count_from_the_files(exporter: Exporter, seed: int) -> None:
    with exporter.store.writing() as session:
        fill(exporter, session, random.Random(seed))
    exporter.export()
    flows = {said: flow_of(read(exporter), sentence) for said, (sentence, _fits) in SENTENCES.items()}
    expected = {said: counted_from_files(exporter, fits) for said, (_sentence, fits) in SENTENCES.items()}
    assert {said: (steps(found), silent(found)) for said, found in flows.items()} == expected
    assert [found.failed_sums() for found in flows.values()] == [[]] * len(SENTENCES)
    assert expected["everybody"][0][0] > 10


def test_what_was_done_elsewhere_or_is_to_come_is_in_no_log(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        add_operation(session, add_patient(session, "Y-0001"), surgery_on=SURGERY)
        add_operation(session, add_patient(session, "Y-0002"), surgery_on=SURGERY, place="elsewhere")
        add_operation(session, add_patient(session, "Y-0003"), surgery_on=TODAY + timedelta(days=1))
        add_operation(session, add_patient(session, "Y-0004"))
        add_operation(session, add_patient(session, "Y-0005"), surgery_on=SURGERY, taken_back_at=NOW)
        session.add(OperationLog(surgery_on=SURGERY, side="left", not_enrolled_reason="declined", made_at=NOW))
        session.add(
            OperationLog(surgery_on=TODAY + timedelta(days=1), side="left", not_enrolled_reason="declined", made_at=NOW)
        )
    assert [row.study_number for row in read(exporter).rows] == ["Y-0001", None]


def test_a_row_tells_what_the_record_holds(exporter: Exporter) -> None:
    words = {
        "procedure": "resurfacing", "diagnosis": "osteoarthritis", "cuff_supraspinatus": "intact", "cuff_subscapularis": "thinned",
        "glenoid_type": "B2, I think", "surgeon": "Dr Quill", "certainty": "confirmed",
    }  # fmt: skip
    with exporter.store.writing() as session:
        ada = add_patient(session, "Y-0001", birth_on=date(1957, 12, 30))
        operation = add_operation(session, ada, "right", surgery_on=SURGERY, **words)
        operation.shoulder.dominant = "no"
        for model, struck in (("Stem 2", None), ("Cup 1", None), ("Cup 1", None), ("Wrong 9", NOW)):
            session.add(Component(put_in_id=operation.id, role="head", model=model, made_at=NOW, struck_at=struck))
    (row,) = read(exporter).rows
    assert (row.model, row.cuff, row.glenoid, row.dominant) == (("Cup 1", "Stem 2"), "thinned", "other", "no")
    assert (row.age, row.sex, row.implant_type, row.certainty) == (67, "female", "not_recorded", "confirmed")


def test_of_somebody_without_consent_no_more_is_told_than_the_log_tells(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada = add_patient(session, "Y-0001")
        add_operation(session, ada, surgery_on=SURGERY, diagnosis="osteoarthritis", cuff_supraspinatus="intact")
        ada.consents[0].withdrawn_on = TODAY
    (row,) = read(exporter).rows
    assert (row.consent, row.study_number, row.diagnosis, row.cuff, row.sex, row.forms) == (
        "withdrawn",
        *[None] * 4,
        (),
    )


def test_an_answer_tells_its_way_its_text_and_for_whom_it_counts(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        nurse, ada = add_account(session), add_patient(session)
        cipher = exporter.cipher(ada)
        first = add_follow_up(session, add_operation(session, ada, surgery_on=SURGERY))
        again = add_follow_up(session, add_operation(session, ada, surgery_on=SURGERY, kind="revision"))
        row = add_timepoint(session, again, "year-1", due_on=TODAY - timedelta(days=10))
        response = add_response(
            session, row, [part("sst@1", answered(dict(SST)))], cipher=cipher, entered_by=nurse, mode="paper"
        )
        add_score(session, response)
        counts_too = add_timepoint(session, first, "year-2", due_on=row.due_on, answer_from_id=row.id)
        counts_too.answered_on, counts_too.window_state = row.answered_on, "in"
        add_timepoint(session, first, "baseline", due_on=SURGERY)
    read_twice = [read(exporter, texts=texts).rows[0].forms for texts in (False, True)]
    assert [
        [(form.status, form.mode, form.answered_by, set(form.texts)) for form in forms] for forms in read_twice
    ] == [
        [("answered", "paper", "patient", set())],
        [("answered", "paper", "patient", {"descriptive"})],
    ]


def test_what_came_after_the_end_is_no_answer_and_what_came_before_it_is(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        nurse, ada = add_account(session), add_patient(session)
        cipher = exporter.cipher(ada)
        for side, ended_after_days in (("left", -1), ("right", 1)):
            follow_up = add_follow_up(session, add_operation(session, ada, side, surgery_on=SURGERY))
            due = TODAY - timedelta(days=10)
            ends = {"not_expected_on": due + timedelta(days=ended_after_days), "not_expected_reason": "withdrew"}
            row = add_timepoint(session, follow_up, "year-1", due_on=due, **ends)
            add_response(session, row, [part("sst@1", answered(dict(SST)))], cipher=cipher, entered_by=nurse)
    exporter.export()
    found = flow_of(read(exporter), Sentence())
    assert [row.side for row in found.rows_at("answered")] == ["right"]
    assert {loss.name: [row.side for row in loss.rows] for loss in found.losses} == {"answered.not_expected": ["left"]}
    in_files = {(row["side"], row["y1_status"]) for row in exporter.rows("wide.csv")}
    assert in_files == {("left", "not_expected"), ("right", "answered")}
