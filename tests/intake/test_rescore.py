"""Scores are rebuilt from the answers: the same bits after twenty years, and where something else is stored, superseded and said."""

from datetime import timedelta
from typing import Any

from sqlalchemy import select

from server.models import Score
from tests.clinic_case import Case
from tests.intake.archive import (
    LONG_AGO,
    NOW,
    Archive,
    pain,
    recorded_forms,
    recorded_values,
    response_ids,
    sst,
)
from tests.stranger import best


def test_answers_of_twenty_years_ago_give_the_same_rows_to_the_last_bit(archive: Archive) -> None:
    archive.add_patient(1, recorded_forms())
    before, place = archive.rows(), response_ids(archive)
    kept = {(place[n], *scale): value for (n, *scale), value in recorded_values().items()}
    assert {key: None if value is None else value.hex() for key, value in archive.values().items()} == kept
    found, changes, left_alone = archive.run()
    assert (found.unchanged.total(), changes, left_alone) == (len(kept), [], [])
    assert archive.rows() == before


def test_a_form_that_a_phone_sent_twenty_years_ago_is_unchanged_today(case: Case) -> None:
    case.now -= timedelta(days=20 * 365)
    phone = case.phone(case.enrol())
    phone.fetch()

    def choose(item: dict[str, Any]) -> Any:
        return "2006-01" if item["type"] == "month" else best(item)

    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], choose, case.now)))
    assert case.process().recorded == 1
    archive = Archive(case.store, case.runtime.keys, case.runtime.library)
    before = archive.rows()
    found, changes, _left_alone = archive.run()
    assert (len(before), found.unchanged.total(), changes) == (6, 6, [])
    assert archive.rows() == before


def test_a_score_of_an_older_version_with_another_value_is_superseded_readable_and_said(archive: Archive) -> None:
    archive.add_patient(1, [[sst(item_7=0), pain(3)]])
    assert archive.change_scores(Score.scale == "total", value=9.5, scoring_version="0") == 1
    before = archive.rows()
    found, (change,), _left_alone = archive.run()
    assert (found.changed, found.unchanged) == ({"value": 1}, {"1": 3})
    assert change.response[1:] == ("Y-0001", "left", "year-1", 1)
    assert change.group == ("sst", "total", "value", "scoring version 0 → 1; instrument version the same")
    with archive.store.reading() as session:
        old, new = session.scalars(select(Score).where(Score.scale == "total").order_by(Score.id)).all()
        assert (old.value, old.scoring_version, old.scored_at, old.superseded_at) == (9.5, "0", LONG_AGO, NOW)
        assert (new.value, new.scoring_version, new.scored_at, new.superseded_at) == (11, "1", NOW, None)
    after = archive.rows()
    assert [row[:-1] for row in after[:-1]] == [row[:-1] for row in before]  # nothing but superseded_at was touched


def test_a_second_run_changes_nothing(archive: Archive) -> None:
    archive.add_patient(1, [[sst(), pain(3)], [sst(item_2=0), pain(1)]])
    archive.change_scores(Score.instrument == "sst", value=0.25)
    assert archive.run()[0].changed.total() == 6
    after = archive.rows()
    found, changes, _left_alone = archive.run(now=NOW + timedelta(days=1))
    assert (found.unchanged.total(), changes) == (8, [])
    assert archive.rows() == after


def test_another_scoring_version_alone_rewrites_no_row(archive: Archive) -> None:
    archive.add_patient(1, [[sst(), pain(3)]])
    archive.change_scores(scoring_version="0")
    before = archive.rows()
    found, changes, _left_alone = archive.run()
    assert (found.unchanged, changes) == ({"0": 4}, [])
    assert archive.rows() == before


def test_each_kind_of_change_is_told_apart(archive: Archive) -> None:
    archive.add_patient(1, [[sst(), pain(3)]])
    archive.change_scores(Score.scale == "total", value=None, status="not_scored", reason="other words")
    archive.change_scores(Score.scale == "total_if_blanks_no", method="other words")
    archive.change_scores(Score.scale == "total_if_blanks_yes", reason="other words")
    archive.change_scores(Score.scale == "pain", scale="pain_of_old")
    found, changes, _left_alone = archive.run()
    assert {change.group.scale: change.group.kind for change in changes} == {
        "total": "status",
        "total_if_blanks_no": "method",
        "total_if_blanks_yes": "details",
        "pain": "new_scale",
        "pain_of_old": "scale_gone",
    }
    why = {change.group.scale: change.group.why for change in changes}
    assert why["total"] == "scoring and instrument version the same: the old row does not follow from the answers"
    assert why["total_if_blanks_no"] == "method words changed"
    assert {scale for _response, _instrument, scale in archive.values()} == {
        "total", "total_if_blanks_no", "total_if_blanks_yes", "pain",
    }  # fmt: skip
    assert found.counts() == {
        "responses": 1, "unchanged": 0, "status": 1, "method": 1, "details": 1, "new_scale": 1, "scale_gone": 1,
    }  # fmt: skip


def test_a_check_tells_the_same_and_writes_nothing(archive: Archive) -> None:
    archive.add_patient(1, [[sst(), pain(3)]])
    archive.change_scores(Score.scale == "total", value=2)
    before, actions = archive.rows(), archive.actions()
    checked, told, _left_alone = archive.run(check=True)
    assert (archive.rows(), archive.actions()) == (before, actions)
    done, changes, _left_alone = archive.run()
    assert (checked.counts(), told) == (done.counts(), changes) != ({}, [])


def test_a_run_stands_in_the_audit_trail_from_its_first_change_on(archive: Archive) -> None:
    archive.add_patient(1, [[sst()]])
    archive.run()
    assert archive.actions() == ["scores:rebuilt"]
    archive.change_scores(Score.scale == "total", value=2)
    archive.run()
    assert archive.actions() == ["scores:rebuilt", "scores:rebuild_begun", "scores:rebuilt"]


def test_the_lock_is_free_between_two_batches(archive: Archive) -> None:
    for number in range(1, 6):
        archive.add_patient(number, [[sst()], [sst(item_1=0)]])
    archive.change_scores(Score.scale == "total", value=2)
    others = []

    def progress(_batch: object) -> None:
        with archive.store.writing() as session:  # waits for ever if the run holds the lock
            others.append(session.scalars(select(Score.id).where(Score.superseded_at == NOW)).all())

    archive.run(progress=progress, at_once=2)
    assert [len(each) for each in others] == [2, 4, 6, 8, 10]


def test_nothing_is_rescored_where_nothing_was_answered(archive: Archive) -> None:
    assert archive.run()[0].counts() == {"responses": 0, "unchanged": 0}
