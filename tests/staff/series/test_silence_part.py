"""Silence on the page on a series: what is said of the silent, the draw of the random quarter, and its lots as a file."""

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from html import unescape
from typing import Any

import pytest

from server.models import AuditEntry, Patient, SilenceDraw, Timepoint
from server.outcomes.figures.silence_drawing import draw_silence
from server.outcomes.series.followed import Followed
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.silence import silence_of
from server.outcomes.series.silence_sampled import lots_with_open_windows
from server.outcomes.series.strip import strip_of
from server.schedule.lots import lot
from server.schedule.status import Status
from server.staff.series import silence_part, silence_words
from server.staff.series.part import foot_of, whom
from server.staff.series.strip_words import strip_figure
from tests.outcomes.series.followed_case import TODAY, followings, line, point, shoulder
from tests.outcomes.series.test_silence import QUESTIONS, cast, crowd, said
from tests.staff.series.part_case import asked_of
from tests.staff.series.test_series_page import a_small_clinic, enrol
from tests.staff.staff_case import Staff, StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def page(staff: StaffCase) -> Iterator[None]:
    with staff.app.test_request_context("/series"):
        yield


def section(page: str) -> str:
    return unescape(page.split('aria-labelledby="silence"')[1].split("</section>")[0])


def told(shoulders: list[Followed]) -> tuple[str, str, list[str]]:
    """What is said of year 2, what is said with care, and what the figure has no estimate of."""
    read = followings(shoulders)
    strip = strip_of(read, read.record.rows, Sentence())
    found = silence_of(read, strip, Sentence(), QUESTIONS, 2)
    figure = silence_words.figure_of(found, strip_figure(strip, Sentence()))
    assert "<svg" in draw_silence(figure, 320)
    return (
        " ".join(silence_words.says(found)),
        " ".join(silence_words.care(found)),
        [why for _name, why in figure.missing],
    )


def quarter(reached: int, drawn: int, frame: int) -> list[Followed]:
    some = [shoulder(point(1), cast(True, number % 2 > 0 if number < reached else None)) for number in range(drawn)]
    return [*some, *(shoulder(point(1), cast()) for _ in range(frame - drawn))]


@pytest.mark.usefixtures("page")
def test_the_random_quarter_is_the_one_to_go_by_where_it_answered_well() -> None:
    says, care, missing = told([*crowd(60, 20, 0), *quarter(11, 12, 48)])
    assert "in shoulders: 80 answered, 48 silent" in says and "75 % of the 128 asked" in says
    assert "By lot, before anybody called: 12 of 48 silent shoulders drawn, 11 of them with an answer." in says
    assert "By them 45 % of the silent find it acceptable. This is the result to go by" in says
    assert "effective n of 80" in says and "takes no part" in care and missing == []


@pytest.mark.usefixtures("page")
def test_it_stands_beside_where_it_did_not_or_where_many_had_no_lot() -> None:
    assert "10 of the drawn and three of four have to answer" in told([*crowd(60, 20, 0), *quarter(8, 12, 48)])[0]
    many = told([*crowd(60, 20, 9), *quarter(11, 12, 48)])[0]
    assert "No lot was cast for 9 more of the silent" in many and "too many silent had no lot" in many


@pytest.mark.usefixtures("page")
def test_what_there_is_none_of_is_said_with_why() -> None:
    says, _care, missing = told(crowd(60, 20, 19))
    assert missing == [
        "There is none: 19 silent, and it takes 20.",
        "There is none: no lot was cast about this year.",
    ]
    assert "Even if none of the 19 silent found it acceptable, more than half of the 99 asked would." in says
    assert told([*crowd(60, 20, 0), *quarter(3, 12, 48)])[2] == [
        "There is none: 3 of 12 drawn answered, and it takes 5."
    ]
    assert told(crowd(20, 9, 30))[2][0] == "There is none: the weights leave an effective n of 29, and it takes 30."
    assert told(crowd(5, 4, 30))[2][0] == "There is none: fewer than ten answered."


@pytest.mark.usefixtures("page")
def test_lots_whose_window_is_still_open_are_told_and_never_called_none() -> None:
    """Operated on two years and eleven days ago: the window of year 2 closes in 79 days."""
    surgery_on = TODAY - timedelta(days=2 * 365 + 11)
    lot: dict[str, Any] = {"lot_cast_on": TODAY, "surgery_on": surgery_on}
    drawn = point(2, Status.NON_RESPONDER, **lot, drawn_on=TODAY, probability=0.25)
    waiting = [shoulder(each, surgery_on=surgery_on) for each in (drawn, *(point(2, Status.NON_RESPONDER, **lot),) * 2)]
    missing = told([*crowd(60, 20, 19), *waiting])[2]
    assert missing[1] == "There is none: lots cast for 3, 1 drawn, windows still open: 3."
    says = told([*crowd(60, 20, 0), *quarter(11, 12, 48), *waiting])[0]
    assert "12 of 48 silent shoulders drawn" in says and "which do not count yet: 3." in says
    young = lots_with_open_windows(followings([*crowd(1, 1, 1), *quarter(1, 1, 4), *waiting]))
    assert silence_words.lots_still_open(young) == ["year 2 (cast for 3, 1 drawn)"]


@pytest.mark.usefixtures("page")
def test_what_the_silent_could_change_is_told_of_those_asked_and_again_with_whoever_was_never_asked() -> None:
    """77 of 96 say yes and 3 are silent: of the 99 asked more than half whatever these are, of the 171 due 77 may be all there are."""
    never = [shoulder(point(1), point(2, Status.NEVER_ASKED)) for _ in range(72)]
    says, care, _missing = told([*crowd(77, 19, 3), *never])
    assert "80 % of the 99 asked find their state acceptable" in says and "of all" not in says
    assert (
        "Even if none of the 3 silent found it acceptable, the share of the 99 asked would not fall below 71 %" in says
    )
    assert "more than half of the 99 asked would" not in says  # the stronger sentence says it
    assert (
        "With the 72 never asked or not taking part counted as silent too, fewer than half of the 171 due find it acceptable"
        " once fewer than 11 % of these 75 do, 69 points below those who answered." in says
    )
    assert "The shares are of those who were asked." in care
    assert "never asked" not in told(crowd(77, 19, 3))[0]


@pytest.mark.usefixtures("page")
def test_of_fewer_than_ten_answers_no_share_is_said() -> None:
    says, _care, _missing = told([shoulder(point(1), said(2, True)), shoulder(point(1), point(2))])
    assert says.endswith("in shoulders: 1 answered, 1 silent. Fewer than ten answers make no share.")
    assert "%" not in says
    read = followings([*crowd(9, 0, 3)])
    strip = strip_of(read, read.record.rows, Sentence())
    figure = silence_words.figure_of(silence_of(read, strip, Sentence(), QUESTIONS, 2), strip_figure(strip, Sentence()))
    assert [each.said for each in figure.estimates] == ["fewer than ten answers: not shown"]
    assert "<circle" not in draw_silence(figure, 820)


@pytest.mark.usefixtures("page")
def test_the_silent_are_told_by_what_was_known_before() -> None:
    read = followings([shoulder(said(1, True), said(2, True), age=60), shoulder(point(1), point(2), age=80, sex=None)])
    found = silence_of(read, strip_of(read, read.record.rows, Sentence()), Sentence(), QUESTIONS, 2)
    rows = {label: (answered, silent) for label, answered, silent in silence_words.compared_rows(found)}
    assert rows["answered the form before"] == ("1 of 1 (100 %)", "0 of 1 (0 %)")
    assert rows["age at surgery, mean"] == ("60 (n = 1)", "80 (n = 1)")
    assert rows["women"] == ("1 of 1 (100 %)", "–")


@pytest.mark.usefixtures("page")
def test_whoever_answered_otherwise_than_the_sentence_wants_is_not_called_silent(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """18 answered year 1 by telephone, 199 on a phone of their own, and 8 are silent; eleven years have come for each."""
    monkeypatch.setattr(silence_part, "_draws", lambda _asked: {})  # they are the same whatever the sentence says
    by_telephone = [shoulder(said(1, True, mode="telephone")) for _ in range(18)]
    people = [*by_telephone, *(shoulder(said(1, True)) for _ in range(199)), *(shoulder(point(1)) for _ in range(8))]
    asked = asked_of(people, sentence=Sentence(mode=("telephone",), text=("licensed",)))
    part = silence_part.silence_part(asked)
    assert part.says[0].startswith("Year 1, in shoulders: 217 answered, 8 silent.")
    assert part.draw is not None and "answered otherwise" not in part.draw(820)
    foot = foot_of(part, asked)
    assert foot.startswith("Every answer counts here, in whatever way and words") and "Forms: 217 of 2475 due" in foot
    assert part.values["years"][0].href == "/series?mode=telephone&text=licensed&silence=1#silence"
    assert "way of answering" not in whom((part.asked or asked).sentence).lower()
    assert "Every answer" not in foot_of(silence_part.silence_part(asked_of(people)), asked_of(people))


@pytest.mark.usefixtures("page")
def test_the_foot_of_one_year_counts_of_those_who_take_no_part_whose_year_has_come(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(silence_part, "_draws", lambda _asked: {})
    lines = [line(), line(), line(surgery_on=TODAY - timedelta(days=100))]
    asked = asked_of(crowd(60, 20, 9), *lines, sentence=Sentence(diagnosis=("osteoarthritis",)))
    part = silence_part.silence_part(asked)
    assert part.year == 2 and "Of 2 shoulders whose year 2 has come and whose patients do not take part" in foot_of(
        part, asked
    )
    assert "Of 3 shoulders whose patients do not take part" in foot_of(replace(part, year=None), asked)


def silent_people(staff: StaffCase, number: int) -> None:
    """Whose window of year 3 is open, and whose last reminder has gone."""
    patients = [enrol(staff, f"Ada{chr(97 + each)}") for each in range(number)]
    with staff.case.store.writing() as session:
        for patient_id in patients:
            row = session.query(Timepoint).filter_by(patient_id=patient_id, code="year-3").one()
            row.ladder_exhausted_on = staff.case.today


def test_a_surgeon_draws_one_in_four_and_finds_the_draw_again(staff: StaffCase) -> None:
    silent_people(staff, 8)
    surgeon = staff.sign_in("surgeon")
    assert "8 people wait for a lot" in section(surgeon.get("/series").text)
    answer = surgeon.post("/series/silence/draw?side=left", {})
    assert answer.status_code == 302 and answer.headers["Location"] == "/series?side=left&done=silence-drawn#quarter"
    page = surgeon.get(answer.headers["Location"]).text
    assert "The lots are cast" in page and "Nobody waits for a lot today" in section(page)
    assert "2 of 8 people, drawn by" in section(page)
    assert "cast for 8, 2 drawn" in section(page)
    with staff.case.store.reading() as session:
        draw = session.query(SilenceDraw).one()
        drawn = {
            number
            for number, on in session.query(Patient.study_number, Timepoint.drawn_on).join(
                Timepoint, Timepoint.patient_id == Patient.id
            )
            if on is not None
        }
        assert session.query(AuditEntry).filter_by(action="silence:drawn").one().by_id == draw.drawn_by_id
        assert f"Seed: <code>{draw.seed}</code>" in re.sub(r"\s+", " ", section(page))
        lots = list(csv.DictReader(io.StringIO(surgeon.get(f"/series/silence/lots/{draw.id}.csv").text)))
        assert [row["lot"] for row in lots] == sorted(lot(draw.seed, row["study_number"]) for row in lots)
    assert [row["drawn"] for row in lots] == ["1", "1", *["0"] * 6]
    assert {row["study_number"] for row in lots[:2]} == drawn and {row["timepoints"] for row in lots} == {"year-3"}
    assert surgeon.get("/series/silence/lots/99.csv").status_code == 404


def test_a_second_draw_casts_nobodys_lot_again(staff: StaffCase) -> None:
    silent_people(staff, 4)
    manager = staff.sign_in("data_manager")
    manager.post("/series/silence/draw", {})
    again = manager.post("/series/silence/draw", {})
    assert again.headers["Location"] == "/series?done=silence-nobody#quarter"
    with staff.case.store.reading() as session:
        assert session.query(SilenceDraw).count() == 1


def test_a_nurse_sees_who_waits_and_draws_nobody(staff: StaffCase, nurse: Staff) -> None:
    silent_people(staff, 1)
    page = section(nurse.get("/series").text)
    assert "1 person waits for a lot. A surgeon or a data manager draws." in re.sub(r"\s+", " ", page)
    assert "<form" not in page and nurse.post("/series/silence/draw", {}).status_code == 403


def test_where_no_year_has_answers_and_silence_the_words_say_so(staff: StaffCase, nurse: Staff) -> None:
    a_small_clinic(staff, nurse)
    page = section(nurse.get("/series?silence=12").text)
    assert "In no year are there both answers and silence" in page
    assert "“12” is no year in which somebody answered and somebody was silent" in page
    assert nurse.get("/series/silence/table.csv").text.startswith(
        "year,row_kind,name,of,n,value,lower,upper,as_of\r\n1,place,"
    )
    young = section(nurse.get("/series?years_from=2026").text)
    assert "No year after surgery has come yet" in young and "<svg" not in young
