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
        (date(2018, 3, 10), index), (date(2018, 6, 1), month), (date(2018, 12, 31), vague),
    ]  # fmt: skip
    same_day = Operation(kind="index", position=9, surgery_on=date(2018, 1, 1), surgery_precision="year")
    assert [each for _day, each in in_course([vague, same_day])] == [same_day, vague]
    event = ClinicEvent(happened_on=date(2020, 5, 5), happened_precision="day")
    index.id, vague.id = 1, 2
    assert followed(event, [index, vague], None) is vague, "what happened years later followed the revision"
