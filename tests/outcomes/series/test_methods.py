"""What the methods text counts, by hand, and against the exported files."""

import random
from datetime import date, timedelta
from typing import Any

import pytest

from server.outcomes.series.flow import flow_of
from server.outcomes.series.followed import Followed
from server.outcomes.series.followings import read_followings
from server.outcomes.series.methods import Asking, MethodsFacts, Window, facts_of
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.schedule.status import Status
from tests.exports.clinic import Exporter
from tests.exports.random_clinic import fill
from tests.outcomes.series.followed_case import (
    SURGERY,
    answered,
    before_surgery,
    followings,
    later,
    line,
    point,
    shoulder,
)
from tests.outcomes.series.test_counts_as_in_the_files import read

IN_FILES = {"answered", "early", "late", "recalled"}


def of(*shoulders: Followed, others: tuple[Row, ...] = ()) -> MethodsFacts:
    found = followings(shoulders, *others)
    return facts_of(found, flow_of(found.record, Sentence()))


def test_what_a_figure_does_not_count_is_counted_apart() -> None:
    early = answered(1, sst=9)._replace(code="week-6")
    bare = shoulder(early, answered(1, sst=9), procedure="cuff_repair", later=(later(date(2017, 1, 1)),))
    found = of(bare, shoulder(answered(2, sst=9), later=(later(date(2018, 1, 1)),)))
    assert (found.after, found.after_years, found.revised, found.revised_without_implant) == (3, 2, 2, 1)


def test_the_log_shows_years_without_an_operation_and_whoever_is_not_enrolled() -> None:
    """Both from the first to the last operation that is meant: of 2010 nobody is, since it was a revision."""
    days = [date(2015, 3, 1), date(2016, 3, 1), date(2019, 3, 1)]
    before = line(surgery_on=date(2010, 3, 1), procedure="modular_exchange")
    found = of(*(shoulder(surgery_on=on) for on in days), others=(before, line(surgery_on=date(2018, 1, 1))))
    assert (found.log, found.meant) == (5, 4)
    assert (found.log_not_enrolled, found.years_without) == (1, (2017,))
    nobody = facts_of(followings([], line()), flow_of(followings([], line()).record, Sentence(side=("right",))))
    assert (nobody.meant, nobody.log_not_enrolled, nobody.years_without) == (0, 0, ())


def test_every_count_is_that_of_the_shoulders_that_are_meant() -> None:
    drawn: dict[str, Any] = {"lot_cast_on": SURGERY, "drawn_on": SURGERY + timedelta(days=1), "probability": 0.25}
    found = of(
        shoulder(before_surgery(sst=3), answered(1, sst=9, mode="telephone"), answered(2, sst=9)._replace(**drawn)),
        shoulder(point(1, Status.LATE)._replace(answer=answered(1, pain=2).answer), later=(later(date(2017, 1, 1)),)),
        shoulder(before_surgery(Status.RECALLED, sst=3)._replace(code="recalled"), diagnosis="acute_fracture"),
        shoulder(point(1, by_other=True), point(2, lot_cast_on=SURGERY), died=date(2020, 1, 1), patient_id=77),
        shoulder(patient_id=77, side="right", surgery_on=date(2016, 1, 1)),
        others=(line(),),
    )
    assert (found.log, found.meant, found.meant_people, found.taking_part, found.taking_part_people) == (6, 6, 5, 5, 4)
    assert (found.answered, found.answered_people, found.losses["taking_part.declined"]) == (0, 0, 1)
    assert (found.first, found.last) == (SURGERY, date(2016, 1, 1))
    assert (found.before, found.after, found.recalled, found.outside_window, found.by_other) == (1, 3, 1, 1, 1)
    assert (found.revised, found.died, found.fractures, found.both) == (1, 1, 1, 1)
    assert (found.lots_cast, found.drawn, found.drawn_answered) == (2, 1, 1)
    assert found.modes == {"own_phone": 4, "telephone": 1}
    assert found.instruments == (
        Asking("sst@1", 4, {"descriptive": 4}),
        Asking("pain@1", 1, {"descriptive": 1}),
    )
    assert found.windows == (Window("year-1", 276, 456), Window("year-2", 641, 821))


def test_two_versions_and_two_kinds_of_text_are_counted_apart() -> None:
    second: dict[str, Any] = {"sst@2/total": 9, "texts": {"licensed"}}
    found = of(shoulder(answered(1, sst=9), answered(2, **second)), shoulder(answered(1, sst=8, texts={"licensed"})))
    assert found.instruments == (
        Asking("sst@1", 2, {"descriptive": 1, "licensed": 1}),
        Asking("sst@2", 1, {"licensed": 1}),
    )


def test_nobody_gives_nothing_to_count() -> None:
    found = of()
    assert (found.first, found.log, found.instruments, found.windows, found.modes) == (None, 0, (), (), {})


def is_told(row: dict[str, str], code: str, as_of: date) -> bool:
    """Whether the file has the patient's own answer of that day or earlier."""
    if row.get(f"{code}_status") not in IN_FILES or row[f"{code}_missing"]:
        return False
    return date.fromisoformat(row["surgery_on"]) + timedelta(days=int(row[f"{code}_days"])) <= as_of


@pytest.mark.parametrize("seed", [3, 4])
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_the_answers_are_those_of_the_exported_files(exporter: Exporter, seed: int) -> None:
    with exporter.store.writing() as session:
        fill(exporter, session, random.Random(seed))
    exporter.export()
    record = read(exporter)
    with exporter.store.reading() as session:
        found = facts_of(read_followings(session, record), flow_of(record, Sentence()))
    rows = [
        row
        for row in exporter.rows("wide.csv")
        if row["operation_kind"] == "index" and row["surgery_on"] and row["surgery_on"] <= record.as_of.isoformat()
    ]
    codes = sorted({name.split("_")[0] for row in rows for name in row if name.endswith("_status")})
    told = [(code, row) for row in rows for code in codes if is_told(row, code, record.as_of)]
    years = [code for code, _row in told if code.startswith("y")]
    assert found.taking_part == len(rows) > 0
    assert found.after == len(years) > 0
    assert found.before + found.recalled == len(told) - len(years)
