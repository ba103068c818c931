"""From the log to those who answered: each operation stands once, each loss has one reason, and a sum that fails is told."""

import random
from dataclasses import replace
from datetime import date
from itertools import count
from typing import Any

import pytest

from server.outcomes.series.flow import WITHOUT_ANSWER, Flow, Loss, Step, choices, flow_of, people_at
from server.outcomes.series.row import Form, Record, Row
from server.outcomes.series.sentence import Sentence, Span
from server.schedule.status import Status

TODAY = date(2026, 6, 15)
ANSWERED = Form(Status.ANSWERED, "own_phone", "patient", frozenset({"descriptive"}))
SILENT = Form(Status.MISSED)
_NUMBERS = count(1)


def shoulder(*forms: Form, **values: Any) -> Row:
    """Of somebody of their own who agreed to research, unless `values` says otherwise."""
    number = next(_NUMBERS)
    given = {
        "surgery_on": date(2020, 3, 1), "kind": "index", "procedure": "resurfacing", "implant_type": "resurfacing_hemi", "side": "left",
        "surgeon": "Dr Quill", "age": 60, "operation_id": number, "patient_id": number, "study_number": f"Y-{number:04d}",
        "consent": "given", "model": ("not_recorded",), "diagnosis": "osteoarthritis", "cuff": "intact", "glenoid": "a1",
        "dominant": "yes", "sex": "female", "certainty": "not_recorded", "forms": forms,
    }  # fmt: skip
    return Row(**{**given, **values})


def line(**values: Any) -> Row:
    """Of the log, of somebody who declined."""
    given = {
        "surgery_on": date(2020, 3, 1), "kind": None, "procedure": "resurfacing", "implant_type": "resurfacing_hemi", "side": "left",
        "surgeon": "Dr Quill", "age": 60, "line_id": next(_NUMBERS), "not_enrolled": "declined",
    }  # fmt: skip
    return Row(**{**given, **values})


def refusing(consent: str) -> Row:
    untold: dict[str, Any] = dict.fromkeys(
        ("study_number", "model", "diagnosis", "cuff", "glenoid", "dominant", "sex", "certainty")
    )
    return replace(shoulder(ANSWERED), **untold, consent=consent, forms=())


def flow(*rows: Row, sentence: Sentence | None = None) -> Flow:
    return flow_of(Record(TODAY, rows, texts_read=True), sentence or Sentence())


def counts(found: Flow) -> tuple[list[int], dict[str, int]]:
    return [len(step.rows) for step in found.steps], {loss.name: len(loss.rows) for loss in found.losses}


def test_an_empty_log_has_an_empty_flow() -> None:
    found = flow()
    assert counts(found) == ([0, 0, 0, 0], {}) and found.failed_sums() == []


def test_every_way_out_has_its_reason() -> None:
    found = flow(
        shoulder(ANSWERED), shoulder(SILENT), shoulder(SILENT, kind="revision"), shoulder(SILENT, diagnosis="not_recorded"),
        line(), line(not_enrolled=None), refusing("none"), refusing("withdrawn"), line(procedure="component_exchange"),
        sentence=Sentence(diagnosis=("osteoarthritis",)),
    )  # fmt: skip
    assert counts(found) == (
        [9, 6, 2, 1],
        {
            "meant.again": 2, "meant.diagnosis": 1, "taking_part.consent_withdrawn": 1, "taking_part.declined": 1,
            "taking_part.no_consent": 1, "taking_part.not_recorded": 1, "answered.silent": 1,
        },
    )  # fmt: skip
    assert found.failed_sums() == []


@pytest.mark.parametrize(
    ("forms", "reason"),
    [
        ([], "no_follow_up"),
        ([Form(Status.UPCOMING)], "upcoming"),
        ([Form(Status.NOT_EXPECTED), Form(Status.UPCOMING)], "not_expected"),
        ([Form(Status.NEVER_ASKED), Form(Status.NOT_EXPECTED)], "never_asked"),
        ([Form(Status.NEVER_ASKED), Form(Status.OVERDUE)], "waiting"),
        ([SILENT, Form(Status.OPEN)], "silent"),
        ([replace(ANSWERED, answered_by="someone_else"), Form(Status.MISSED)], "answered_for"),
        ([replace(ANSWERED, readable=False)], "erased"),
        ([replace(ANSWERED, answered_by=None, mode=None)], "erased"),
    ],
)  # fmt: skip
def test_who_takes_part_and_answered_nothing_is_lost_for_the_first_reason_that_holds(
    forms: list[Form], reason: str
) -> None:
    found = flow(shoulder(*forms))
    assert counts(found) == ([1, 1, 1, 0], {f"answered.{reason}": 1})
    assert reason in WITHOUT_ANSWER


def test_an_answer_in_another_way_or_text_is_no_silence() -> None:
    rows = [shoulder(ANSWERED), shoulder(replace(ANSWERED, mode="telephone")), shoulder(SILENT)]
    by_phone = flow(*rows, sentence=Sentence(mode=("telephone",)))
    assert counts(by_phone)[1] == {"answered.other_answers": 1, "answered.silent": 1}
    both = Sentence(mode=("telephone",), text=("licensed",))
    assert counts(flow(*rows, sentence=both))[1] == {"answered.other_answers": 2, "answered.silent": 1}


def test_mode_and_text_must_be_of_one_answer() -> None:
    apart = shoulder(replace(ANSWERED, mode="telephone"), replace(ANSWERED, texts=frozenset({"licensed"})))
    found = flow(apart, sentence=Sentence(mode=("telephone",), text=("licensed",)))
    assert counts(found) == ([1, 1, 1, 0], {"answered.other_answers": 1})


def test_what_the_log_does_not_tell_leaves_nobody_out() -> None:
    found = flow(
        line(), refusing("none"), line(side="right"), sentence=Sentence(cuff=("intact",), sex=("male",), side=("left",))
    )
    assert counts(found) == ([3, 2, 0, 0], {"meant.side": 1, "taking_part.declined": 1, "taking_part.no_consent": 1})


def test_a_year_of_birth_that_is_not_recorded_fits_no_age() -> None:
    found = flow(line(age=None), line(age=60), sentence=Sentence(age=Span(50, 60)))
    assert counts(found) == ([2, 1, 0, 0], {"meant.age": 1, "taking_part.declined": 1})


def test_years_are_those_of_the_operation() -> None:
    found = flow(
        shoulder(ANSWERED), shoulder(ANSWERED, surgery_on=date(2009, 12, 31)), sentence=Sentence(years=Span(2010, 2020))
    )
    assert counts(found) == ([2, 1, 1, 1], {"meant.years": 1})


def test_the_first_shoulder_is_the_first_that_fits_all_else() -> None:
    early = shoulder(ANSWERED, patient_id=7, surgery_on=date(2010, 1, 1), diagnosis="osteonecrosis")
    middle = shoulder(ANSWERED, patient_id=7, side="right", surgery_on=date(2012, 1, 1))
    late = shoulder(ANSWERED, patient_id=7, surgery_on=date(2014, 1, 1))
    found = flow(late, early, middle, sentence=Sentence(first_shoulder=True))
    assert found.rows_at("answered") == (early,)
    arthritis = flow(late, early, middle, sentence=Sentence(first_shoulder=True, diagnosis=("osteoarthritis",)))
    assert arthritis.rows_at("answered") == (middle,)
    assert counts(arthritis)[1] == {"meant.diagnosis": 1, "meant.first_shoulder": 1}


def test_people_are_counted_once_and_lines_of_the_log_each() -> None:
    found = flow(shoulder(ANSWERED, patient_id=7), shoulder(ANSWERED, patient_id=7, side="right"), line(), line())
    assert [people_at(step) for step in found.steps] == [3, 3, 1, 1]
    assert [people_at(loss) for loss in found.losses] == [2]


def test_a_choice_tells_how_many_it_would_leave() -> None:
    rows = (shoulder(SILENT), shoulder(ANSWERED, cuff="full_tear"), shoulder(ANSWERED, side="right"), line())
    said = Sentence(side=("left",), cuff=("intact",))
    assert choices(Record(TODAY, rows), said, "cuff") == ({"intact": 1, "full_tear": 1}, 1)
    assert choices(Record(TODAY, rows), said, "side") == ({"left": 2, "right": 1}, 0)
    assert choices(Record(TODAY, rows), Sentence(), "mode") == ({"own_phone": 2}, 0)


def test_a_choice_tells_of_several_models_of_one_implant_each() -> None:
    rows = (shoulder(model=("Cup 1", "Stem 2")), shoulder(model=("Cup 1",)))
    assert choices(Record(TODAY, rows), Sentence(), "model") == ({"Cup 1": 2, "Stem 2": 1}, 0)
    assert counts(flow(*rows, sentence=Sentence(model=("Stem 2",))))[1]["meant.model"] == 1


def test_an_operation_that_is_nowhere_or_twice_fails_the_sum() -> None:
    one, two = shoulder(ANSWERED), shoulder(SILENT)
    steps = (
        Step("log", (one, two)),
        Step("meant", (one, two)),
        Step("taking_part", (one, two)),
        Step("answered", (one,)),
    )
    assert Flow(TODAY, steps, (Loss("answered", "silent", (two,)),)).failed_sums() == []
    assert Flow(TODAY, steps, ()).failed_sums() == [("answered", 2, 1)]
    assert Flow(TODAY, steps, (Loss("answered", "silent", (one,)),)).failed_sums() == [("log", 2, 2)]


@pytest.mark.parametrize("seed", range(20))
def test_every_sum_holds_whatever_the_sentence_says(seed: int) -> None:
    chance = random.Random(seed)
    stands = [ANSWERED, SILENT, Form(Status.UPCOMING), replace(ANSWERED, mode="paper")]
    rows = [
        chance.choice([line(), refusing("none"), shoulder(*chance.sample(stands, chance.randint(0, 3)), patient_id=chance.randint(1, 9))])
        for _each in range(40)
    ]  # fmt: skip
    said = Sentence(
        side=tuple(chance.sample(["left", "right"], chance.randint(0, 1))), mode=tuple(chance.sample(["paper"], chance.randint(0, 1))),
        first_shoulder=chance.random() < 0.5, years=Span(chance.choice([None, 2010]), None),
    )  # fmt: skip
    found = flow(*rows, sentence=said)
    assert found.failed_sums() == []
    assert len(rows) == len(found.rows_at("answered")) + sum(len(loss.rows) for loss in found.losses)
