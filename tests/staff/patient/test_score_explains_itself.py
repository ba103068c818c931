"""The page of one response: each score with its status, items, blanks and why, arithmetic, versions and source."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.models import Patient, Score
from tests.staff.course_case import add_part, followed, last_response, page_of, sheet
from tests.staff.staff_case import DECLINED, StaffCase
from tests.staff.tree import Node

# What a page says does not depend on the database; the forms, the list and signing in are tested on both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

FULL_ASES: dict[str, int | str] = {"1": 2, **{str(item): 3 for item in range(2, 12)}}


def answered(staff: StaffCase, values: dict[str, int] | None = None) -> int:
    return last_response(staff, followed(staff, None, values or sheet(9)))


def shown(staff: StaffCase, response_id: int, anchor: str) -> Node:
    found = page_of(staff, f"/responses/{response_id}").by_id(anchor)
    assert found is not None, anchor
    return found


def is_open(explanation: Node) -> bool:
    return "open" in next(explanation.all("details")).attributes


def main_score(staff: StaffCase, response_id: int, **changes: object) -> Score:
    """The stored row of the shoulder test, changed as if an older scoring had made it."""
    with staff.case.store.writing() as session:
        found = select(Score).where(Score.response_id == response_id, Score.scale == "total", Score.instrument == "sst")
        row = session.scalars(found.where(Score.superseded_at.is_(None))).one()
        for name, value in changes.items():
            setattr(row, name, value)
        session.flush()
        session.expunge(row)  # to be read after the session
        return row


def test_a_complete_score_shows_its_value_and_keeps_the_rest_folded(staff: StaffCase) -> None:
    score = shown(staff, answered(staff), "sst-total")
    assert score.words.startswith("Score: 9 0 to 12, higher is better; 12 of 12 answered How it came about")
    assert not is_open(score)
    for said in (
        "Method number of yes of 12, all 12 needed",
        "Items used 1 to 12 Items missing none",
        "Arithmetic 1 + 1 + 1 + 1 + 1 + 1 + 1 + 1 + 1 + 0 + 0 + 0 = 9 shown as 9",
        "Blanks All items are needed. No published rule was found; the project gives no total unless all 12",
        "University of Washington",
        "Versions instrument sst@1, scoring 1, scored",
        "text sst@1/en/descriptive-1",
    ):
        assert said in score.words, said
    assert {"/instruments/sst@1#scale-total", "/instruments/sst@1#sources"} <= set(score.links)


def test_every_scale_explains_itself_not_only_the_first(staff: StaffCase) -> None:
    page = page_of(staff, f"/responses/{answered(staff)}")
    for anchor in ("sst-total", "sst-total_if_blanks_no", "sst-total_if_blanks_yes", "pain-pain", "sane-sane"):
        score = page.by_id(anchor)
        assert score is not None and "Arithmetic" in score.words, anchor
    further = next(page.all("details", klass="further"))
    assert further.words.startswith("Two further scales: lowest possible score 9, highest possible score 9")
    assert "open" not in further.attributes


def test_a_declined_item_is_named_with_its_reason_and_nothing_stays_folded(staff: StaffCase) -> None:
    response_id = answered(staff, sheet(9) | {"sst@1/10": DECLINED})
    score = shown(staff, response_id, "sst-total")
    assert score.words.startswith("Score: no score not scored") and is_open(score)
    assert "Items used 1 to 9, 11 and 12" in score.words
    assert "10, overhand throw of about 18 m (20 yards): preferred not to answer" in score.words
    assert "Arithmetic none: there is no score" in score.words
    assert "11 of 12 items answered, all needed (1 declined)" in score.words
    high = shown(staff, response_id, "sst-total_if_blanks_yes")
    assert "Highest possible score: 10" in high.words and "each counted as 1" in high.words


def test_each_kind_of_blank_keeps_its_own_words(staff: StaffCase) -> None:
    response_id = answered(staff)
    states: dict[str, int | str] = {"2": "declined", "3": "skipped", "4": "not_reached", "5": "not_applicable"}
    add_part(staff, response_id, "ases@1", FULL_ASES | states)
    missing = [each.words.split(": ")[-1] for each in next(shown(staff, response_id, "ases-total").all("ul")).all("li")]
    assert missing == [
        "preferred not to answer",
        "skipped by rule, because of an earlier answer",
        "not reached",
        "does not apply",
    ]


def test_a_prorated_score_says_so_and_shows_how(staff: StaffCase) -> None:
    response_id = answered(staff)
    add_part(staff, response_id, "ases@1", FULL_ASES | {"5": "declined"})
    score = shown(staff, response_id, "ases-function")
    assert "prorated" in score.words.split("How it came about")[0] and is_open(score)
    assert "27 from 9 items, for all 10: x 10/9 = 30" in score.words
    assert "rule without a published source" in score.words
    assert "From 8 answers of 10 on, those given stand for all (rule without a published source)." in score.words


def test_a_stored_value_that_the_answers_do_not_give_stands_beside_the_one_they_do(staff: StaffCase) -> None:
    response_id = answered(staff)
    main_score(staff, response_id, value=7.0, scoring_version="0")
    score = shown(staff, response_id, "sst-total")
    assert score.words.startswith("Score: 7") and is_open(score)
    assert "The stored value and the answers disagree. Stored, by scoring 0: 7 (scored)." in score.words
    assert "Worked out now from the same answers, by scoring 1: 9 (scored)." in score.words
    assert "worked out now: 9" in score.words and "shown as" not in score.words


def test_an_older_scoring_with_the_same_value_is_named_and_no_alarm(staff: StaffCase) -> None:
    response_id = answered(staff)
    main_score(staff, response_id, scoring_version="0")
    score = shown(staff, response_id, "sst-total")
    assert "worked out now by scoring 1, with the same value" in score.words
    assert "disagree" not in score.words and not is_open(score)


def test_a_scale_without_a_stored_score_is_worked_out_and_said_to_be(staff: StaffCase) -> None:
    response_id = answered(staff)
    row = main_score(staff, response_id)
    with staff.case.store.writing() as session:
        session.delete(session.get_one(Score, row.id))
    score = shown(staff, response_id, "sst-total")
    assert "No score is stored for this scale" in score.words and "Worked out now by scoring 1: 9." in score.words


def rescored(staff: StaffCase, response_id: int) -> None:
    """As scoring anew leaves it: the old row kept and marked, a new one valid."""
    now = staff.case.now + timedelta(days=1)
    row = main_score(staff, response_id, value=7.0, scoring_version="0", superseded_at=now)
    kept = (
        "response_id",
        "instrument",
        "instrument_version",
        "text_id",
        "scale",
        "status",
        "answered",
        "items",
        "method",
    )
    with staff.case.store.writing() as session:
        new = {name: getattr(row, name) for name in kept}
        session.add(Score(**new, value=9.0, scoring_version="1", scored_at=now))


def test_what_was_scored_before_stays_to_be_seen(staff: StaffCase) -> None:
    response_id = answered(staff)
    assert not list(page_of(staff, f"/responses/{response_id}").all("table", klass="earlier"))
    rescored(staff, response_id)
    page = page_of(staff, f"/responses/{response_id}")
    earlier = next(page.all("table", klass="earlier"))
    assert (
        earlier.words.startswith("Earlier scoring: what was stored before")
        and "Nothing of it is used." in earlier.words
    )
    row = [each.words for each in next(earlier.all("tbody")).all("tr")]
    assert len(row) == 1 and row[0].startswith("Score 7 instrument sst@1, scoring 0")
    with staff.case.store.reading() as session:
        replaced_at = session.scalars(select(Score.superseded_at).where(Score.superseded_at.is_not(None))).one()
    assert replaced_at is not None and row[0].endswith(f"{replaced_at:%B} {replaced_at:%Y}, 11:00")
    valid = page.by_id("sst-total")
    assert valid is not None and valid.words.startswith("Score: 9") and "disagree" not in valid.words


def test_a_replaced_score_is_printed_nowhere_else(staff: StaffCase) -> None:
    patient_id = followed(staff, None, sheet(9))
    rescored(staff, last_response(staff, patient_id))
    page = page_of(staff, f"/patients/{patient_id}")
    row = next(each for each in next(page.all("table", klass="forms")).all("tr") if "Year 1" in each.words)
    assert next(row.all("td", klass="number")).words == "9"


def test_without_the_key_the_stored_scores_stay_with_their_places(staff: StaffCase) -> None:
    patient_id = followed(staff, None, sheet(9))
    response_id = last_response(staff, patient_id)
    rescored(staff, response_id)
    with staff.case.store.reading() as session:
        handle = session.get_one(Patient, patient_id).handle
    (staff.case.runtime.keys.folder / "patient" / handle[:2] / f"{handle}.key").unlink()
    page = page_of(staff, f"/responses/{response_id}")
    row = page.by_id("sst-total")
    assert row is not None and row.words.startswith("sst total 9 scored; number of yes of 12, all 12 needed; scoring 1")
    assert "/instruments/sst@1#sources" in row.links
    assert "How each came about cannot be shown without the answers." in page.words
    assert next(page.all("table", klass="earlier")).words.count("scoring 0") == 1
