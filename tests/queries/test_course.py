"""The order of the operations of one shoulder, where days are known only to their month or year."""

from datetime import date

from server.models import ClinicEvent, Operation
from server.queries.course import in_course
from server.queries.events import followed


def test_the_order_of_operations_is_known_from_their_kinds_where_days_leave_it_open() -> None:
    index = Operation(kind="index", position=1, surgery_on=date(2018, 3, 10), surgery_precision="day")
    vague = Operation(kind="revision", position=2, surgery_on=date(2018, 1, 1), surgery_precision="year")
    month = Operation(kind="revision", position=3, surgery_on=date(2018, 6, 1), surgery_precision="month")
    planned = Operation(kind="revision", position=4)
    assert in_course([planned, vague, month, index]) == [
        (date(2018, 3, 10), index), (date(2018, 6, 1), month), (date(2018, 7, 1), vague),
    ]  # fmt: skip
    same_day = Operation(kind="index", position=9, surgery_on=date(2018, 1, 1), surgery_precision="year")
    assert [each for _day, each in in_course([vague, same_day])] == [same_day, vague]
    event = ClinicEvent(happened_on=date(2020, 5, 5), happened_precision="day")
    index.id, vague.id = 1, 2
    assert followed(event, [index, vague], None) is vague, "what happened years later followed the revision"


def test_a_day_that_is_guessed_is_kept_before_the_second_stage_and_before_the_end_of_what_is_known() -> None:
    index = Operation(id=1, kind="index", position=1, surgery_on=date(2018, 3, 10), surgery_precision="day")
    vague = Operation(id=2, kind="revision", position=2, surgery_on=date(2018, 1, 1), surgery_precision="year")
    second = Operation(id=3, kind="second_stage", position=3, first_stage_id=2, surgery_on=date(2018, 5, 1))
    assert in_course([second, vague, index]) == [
        (date(2018, 3, 10), index),
        (date(2018, 5, 1), vague),
        (date(2018, 5, 1), second),
    ]
    assert in_course([index, vague], date(2018, 6, 1)) == [(date(2018, 3, 10), index), (date(2018, 6, 1), vague)]
    index.surgery_on = date(2018, 8, 20)
    assert in_course([index, vague]) == [(date(2018, 8, 20), index), (date(2018, 8, 21), vague)]
    vague.surgery_on, vague.surgery_precision = date(2018, 8, 1), "month"
    index.surgery_on = date(2018, 8, 31)
    assert in_course([vague, index]) == [(date(2018, 8, 31), index), (date(2018, 8, 31), vague)], "in its own month"


def test_a_second_stage_known_to_its_year_comes_after_its_first() -> None:
    first = Operation(id=1, kind="revision", position=1, surgery_on=date(2018, 9, 1), surgery_precision="day")
    second = Operation(id=2, kind="second_stage", position=2, first_stage_id=1, surgery_on=date(2018, 1, 1))
    second.surgery_precision = "year"
    assert in_course([second, first]) == [(date(2018, 9, 1), first), (date(2018, 9, 2), second)]
