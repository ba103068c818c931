"""The years of a shoulder as every figure reads them are those that anyone finds in the exported files."""

import random
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import load_library
from server.exports import export_set
from server.models import Component, Operation, Patient, Response, Score, SilenceDraw, Timepoint
from server.outcomes.series.followed import DatedFact, Followed, Followings
from server.outcomes.series.followings import read_followings
from server.outcomes.series.rows import read_record
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
    make_store,
    part,
)

on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
LATER = NOW + timedelta(days=300)  # when all of the random clinic's answers have come
CODES = {"base": "baseline", "rec": "recalled", "y1": "year-1", "y2": "year-2", "y3": "year-3"}
Told = tuple[str, ...]


def read(exporter: Exporter, as_of: date = TODAY, **more: object) -> Followings:
    with exporter.store.reading() as session:
        return read_followings(session, read_record(session, as_of), **more)  # type: ignore[arg-type]


def the_one(exporter: Exporter) -> Followed:
    (found,) = read(exporter).of.values()
    return found


def scored(session: Session, chance: random.Random) -> None:
    """Every answer of the random clinic gets scores, one of them superseded."""
    for response in session.scalars(select(Response).order_by(Response.id)):
        add_score(session, response, value=13.0, superseded_at=NOW)
        add_score(session, response, value=float(chance.randrange(13)))


def points_read(exporter: Exporter) -> list[Told]:
    return sorted(
        (
            each.row.study_number or "", each.row.side, each.row.surgery_on.isoformat(), code, str(point.status),
            point.answer.mode if point.answer else "", f"{point.answer.scores['sst@1/total']:g}" if point.answer else "",
            point.answer.on.isoformat() if point.answer else "",
        )
        for each in read(exporter, LATER.date()).of.values()
        for code, point in each.points.items()
    )  # fmt: skip


def points_in_files(exporter: Exporter) -> list[Told]:
    rows = [row for row in exporter.rows("wide.csv") if row["operation_kind"] == "index" and row["surgery_on"]]
    return sorted(
        (
            row["study_number"], row["side"], row["surgery_on"], code, row[f"{short}_status"],
            row[f"{short}_mode"], row[f"{short}_sst_total"],
            (date.fromisoformat(row["surgery_on"]) + timedelta(days=int(row[f"{short}_days"]))).isoformat()
            if row[f"{short}_mode"] else "",
        )
        for row in rows
        for short, code in CODES.items() if row.get(f"{short}_status")
    )  # fmt: skip


@on_sqlite
@pytest.mark.parametrize("seed", [10, 18, 27])  # of those that give many timepoints
def test_every_timepoint_and_score_is_the_one_in_the_files(exporter: Exporter, seed: int) -> None:
    chance = random.Random(seed)
    with exporter.store.writing() as session:
        fill(exporter, session, chance)
        scored(session, chance)
    export_set(exporter.store, exporter.keys.patient_cipher, load_library(), exporter.folder / "set", now=LATER)
    found = points_read(exporter)
    assert found == points_in_files(exporter)
    assert len(found) > 15
    assert {point[4] for point in found} >= {"answered", "recalled", "not_expected"}


@on_sqlite
def test_what_came_later_to_a_shoulder_is_what_the_files_say(exporter: Exporter) -> None:
    chance = random.Random(7)
    with exporter.store.writing() as session:
        for number in range(12):
            ada = add_patient(session, f"Y-{number:04d}")
            add_operation(session, ada, surgery_on=SURGERY)
            for kind in chance.sample(["revision", "conversion", "other"], chance.randrange(3)):
                on = SURGERY + timedelta(days=chance.randrange(700))
                add_operation(
                    session, ada, surgery_on=on, kind=kind, taken_back_at=NOW if chance.random() < 0.3 else None
                )
            ada.died_on = chance.choice([None, None, date(2026, 2, 1)])
    exporter.export()
    rows = [row for row in exporter.rows("operations.csv") if row["operation_kind"] == "index"]
    expected = {row["study_number"]: (row["revised_on"], row["converted_on"], row["died_on"]) for row in rows}
    found = {}
    for each in read(exporter).of.values():
        by_kind = {later.kind: later.day.on.isoformat() for later in reversed(each.later)}
        died = each.died.on.isoformat() if each.died else ""
        found[each.row.study_number] = by_kind.get("revision", ""), by_kind.get("conversion", ""), died
    assert found == expected
    assert all(len({said[place] for said in found.values()}) > 1 for place in range(3))


@on_sqlite
def test_last_alive_and_the_last_look_at_the_implant_are_those_of_the_files(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        fill(exporter, session, random.Random(3))
        for response in session.scalars(select(Response)):
            response.operated_again = False
    exporter.export()
    rows = [row for row in exporter.rows("operations.csv") if row["operation_kind"] == "index" and row["surgery_on"]]
    done = [row for row in rows if row["surgery_on"] <= TODAY.isoformat()]
    expected = sorted(
        (
            row["study_number"],
            row["side"],
            *(max(row[column], row["surgery_on"]) for column in ("last_alive_on", "last_implant_on")),
        )
        for row in done
    )
    found = sorted(
        (each.row.study_number, each.row.side, str(each.alive_on), str(each.implant_on))
        for each in read(exporter).of.values()
    )
    assert found == expected
    assert found


@on_sqlite
def test_whoever_does_not_take_part_is_in_the_record_and_not_followed(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        for number, ends_on in enumerate((None, TODAY, TODAY + timedelta(days=1))):
            ada = add_patient(session, f"Y-{number:04d}")
            ada.consents[0].withdrawn_on = ends_on
            add_operation(session, ada, surgery_on=SURGERY)
    found = read(exporter)
    assert [row.study_number for row in found.record.rows] == ["Y-0000", None, "Y-0002"]
    assert [each.row.study_number for each in found.of.values()] == ["Y-0000", "Y-0002"]


@on_sqlite
def test_somebody_elses_answer_has_no_score_and_what_was_erased_says_so(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        nurse, ada, bea = add_account(session), add_patient(session, "Y-0001"), add_patient(session, "Y-0002")
        by_other = add_timepoint(
            session, add_follow_up(session, add_operation(session, ada, surgery_on=SURGERY)), "year-1", due_on=TODAY
        )
        told = add_response(
            session, by_other, [], cipher=exporter.cipher(ada), entered_by=nurse, answered_by="someone_else"
        )
        add_score(session, told)
        gone = add_timepoint(
            session, add_follow_up(session, add_operation(session, bea, surgery_on=SURGERY)), "year-1", due_on=TODAY
        )
        gone.answered_on, gone.window_state, bea.erased_at = TODAY, "in", NOW
    found = [each.points["year-1"] for each in read(exporter).of.values()]
    assert [(point.answer, point.by_other, point.erased) for point in found] == [
        (None, True, False),
        (None, False, True),
    ]
    assert {str(point.status) for point in found} == {"answered"}


@on_sqlite
def test_an_answer_to_the_form_of_a_revision_counts_for_the_first_operation_too(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        nurse, ada = add_account(session), add_patient(session)
        first = add_follow_up(session, add_operation(session, ada, surgery_on=SURGERY))
        again = add_follow_up(session, add_operation(session, ada, surgery_on=date(2025, 6, 1), kind="revision"))
        row = add_timepoint(session, again, "year-1", due_on=date(2026, 5, 20))
        response = add_response(
            session, row, [part("sst@1", answered(dict(SST)))], cipher=exporter.cipher(ada), entered_by=nurse
        )
        add_score(session, response, value=7.0)
        counts_too = add_timepoint(session, first, "year-2", due_on=date(2026, 5, 10), answer_from_id=row.id)
        counts_too.answered_on, counts_too.window_state = row.answered_on, "in"
    (found,) = read(exporter).of.values()
    answer = found.points["year-2"].answer
    assert answer is not None
    assert (answer.on, dict(answer.scores), set(answer.texts)) == (
        date(2026, 5, 20),
        {"sst@1/total": 7.0},
        {"descriptive"},
    )
    assert [later.day.on for later in found.later] == [date(2025, 6, 1)]


@on_sqlite
@pytest.mark.parametrize(
    ("kind", "procedure", "component", "exchanges"),
    [
        ("revision", "modular_exchange", False, True),
        ("revision", None, False, True),
        ("other", "washout", False, False),
        ("other", "washout", True, True),
        ("other", None, False, False),
    ],
)
def test_components_in_or_out_make_an_exchange(
    exporter: Exporter, kind: str, procedure: str | None, component: bool, exchanges: bool
) -> None:
    with exporter.store.writing() as session:
        ada = add_patient(session)
        add_operation(session, ada, surgery_on=SURGERY)
        again = add_operation(session, ada, surgery_on=date(2025, 6, 1), kind=kind, procedure=procedure)
        if component:
            session.add(Component(put_in_id=again.id, role="head", made_at=NOW))
    assert [later.exchanges for later in the_one(exporter).later] == [exchanges]


@on_sqlite
@pytest.mark.parametrize(
    ("started_on", "searched", "watched_from"),
    [
        (SURGERY, (), SURGERY),
        (SURGERY - timedelta(days=40), (), SURGERY),
        (SURGERY + timedelta(days=400), (), SURGERY + timedelta(days=400)),
        (SURGERY + timedelta(days=400), (2024,), SURGERY),
        (None, (), TODAY),  # no follow-up: since it was entered
    ],
)
def test_a_shoulder_is_watched_since_its_follow_up_began(
    exporter: Exporter, started_on: date | None, searched: tuple[int, ...], watched_from: date
) -> None:
    with exporter.store.writing() as session:
        operation = add_operation(session, add_patient(session), surgery_on=SURGERY)
        if started_on is not None:
            add_follow_up(session, operation, started_on=started_on)
    followings, unsearched = read(exporter, searched=searched), read(exporter)
    (found,) = followings.of.values()
    assert found.watched_from == watched_from
    # The setting moves curves, so it moves the hash that stands under them.
    (as_if,) = unsearched.of.values()
    assert (followings.digest == unsearched.digest) == (as_if.watched_from == watched_from)


@on_sqlite
def test_nothing_after_the_as_of_day_is_told(exporter: Exporter) -> None:
    as_of = date(2025, 1, 1)
    with exporter.store.writing() as session:
        nurse, ada = add_account(session), add_patient(session)
        follow_up = add_follow_up(session, add_operation(session, ada, surgery_on=SURGERY))
        row = add_timepoint(session, follow_up, "year-1", due_on=date(2025, 5, 10))
        on = date(2025, 6, 1)
        draw = SilenceDraw(drawn_on=on, drawn_at=NOW, seed="1", probability=0.25, people=4, people_drawn=1)
        session.add(draw)
        session.flush()
        row.lot_cast_on, row.draw_id, row.drawn_on, row.drawing_probability = on, draw.id, on, 0.25
        add_response(session, row, [], cipher=exporter.cipher(ada), entered_by=nurse)
        add_operation(session, ada, surgery_on=date(2026, 1, 1), kind="revision")
        ada.died_on = date(2026, 2, 1)
    (then,), (now,) = read(exporter, as_of).of.values(), read(exporter).of.values()
    point = then.points["year-1"]
    assert (str(point.status), point.answer, point.drawn_on, then.later, then.died) == (
        "upcoming",
        None,
        None,
        (),
        None,
    )
    assert now.points["year-1"].answer is not None
    assert (now.points["year-1"].probability, len(now.later)) == (0.25, 1)
    assert now.died == DatedFact(date(2026, 2, 1), date(2026, 2, 1), date(2026, 2, 1))


def test_the_same_data_have_one_digest_in_every_database_and_other_data_another(
    exporter: Exporter, tmp_path: Path
) -> None:
    """Beside the database that the test runs on stands one of SQLite with the same clinic."""
    beside = replace(exporter, store=make_store(f"sqlite:///{tmp_path / 'beside.sqlite3'}", tmp_path))
    for each in (exporter, beside):
        with each.store.writing() as session:
            fill(each, session, random.Random(1))
            scored(session, random.Random(1))
    digests = [read(exporter).digest]
    assert digests == [read(beside).digest]
    changes: list[tuple[type[Any], str, object]] = [
        (Score, "value", 0.5),
        (Timepoint, "closes_on", TODAY + timedelta(days=900)),
        (Patient, "died_on", SURGERY),
        (Operation, "diagnosis", "osteonecrosis"),
    ]
    for table, column, value in changes:
        with exporter.store.writing() as session:
            for row in session.scalars(select(table)):
                setattr(row, column, value)
        digests.append(read(exporter).digest)
    beside.store.engine.dispose()
    assert len(set(digests)) == 5
