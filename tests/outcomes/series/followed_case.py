"""Followed shoulders made by hand, so that estimation is tested without a database."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from itertools import count
from typing import Any

from server.outcomes.series.followed import Answer, DatedFact, Followed, Followings, Later, Point
from server.outcomes.series.row import Record, Row
from server.schedule.dates import anniversary
from server.schedule.status import Status

TODAY = date(2026, 6, 15)
SURGERY = date(2015, 3, 1)
WINDOW = timedelta(days=90)
_NUMBERS = count(1)


def row(**values: Any) -> Row:
    """Of somebody of their own who agreed to research, unless `values` says otherwise."""
    number = next(_NUMBERS)
    given = {
        "surgery_on": SURGERY, "kind": "index", "procedure": "resurfacing", "implant_type": "resurfacing_hemi", "side": "left",
        "surgeon": "Dr Quill", "age": 60, "operation_id": number, "patient_id": number, "study_number": f"Y-{number:04d}",
        "consent": "given", "model": ("not_recorded",), "diagnosis": "osteoarthritis", "cuff": "intact", "glenoid": "a1",
        "dominant": "yes", "sex": "female", "certainty": "not_recorded",
    }  # fmt: skip
    return Row(**{**given, **values})


def line(**values: Any) -> Row:
    """Of the log, of somebody who declined."""
    given = {
        "surgery_on": SURGERY, "kind": None, "procedure": "resurfacing", "implant_type": "resurfacing_hemi", "side": "left",
        "surgeon": "Dr Quill", "age": 60, "line_id": next(_NUMBERS), "not_enrolled": "declined",
    }  # fmt: skip
    return Row(**{**given, **values})


def fact(on: date) -> DatedFact:
    return DatedFact(on, on, on)


def point(year: int, status: Status = Status.MISSED, *, surgery_on: date = SURGERY, **values: Any) -> Point:
    """The annual timepoint, 90 days to either side."""
    due = anniversary(surgery_on, year)
    return Point(f"year-{year}", due - WINDOW, due, due + WINDOW, status)._replace(**values)


def answered(
    year: int, *, surgery_on: date = SURGERY, on: date | None = None, mode: str = "own_phone", **scores: Any
) -> Point:
    """Answered on the anniversary. `scores`: `sst=9` is the total of sst@1; `texts` says whose words it was asked in."""
    texts = frozenset(scores.pop("texts", {"descriptive"}))
    values = {name if "@" in name else f"{name}@1/total": float(value) for name, value in scores.items()}
    made = point(year, Status.ANSWERED, surgery_on=surgery_on)
    return made._replace(answer=Answer(on or made.due_on, mode, values, texts))


def before_surgery(status: Status = Status.ANSWERED, *, surgery_on: date = SURGERY, **scores: Any) -> Point:
    day = surgery_on + timedelta(days=20 if status == Status.RECALLED else -20)
    values = {name if "@" in name else f"{name}@1/total": float(value) for name, value in scores.items()}
    answer = Answer(day, "own_phone", values, frozenset({"descriptive"}))
    return Point("baseline", surgery_on - WINDOW, day, surgery_on, status, answer)


def later(on: date, kind: str = "revision", **values: Any) -> Later:
    made = Later(
        fact(on), kind, "revision", "reverse", "loosening", "confirmed", "one", kind in ("revision", "conversion")
    )
    return replace(made, **values)


def followed(of: Row, *points: Point, **values: Any) -> Followed:
    surgery = fact(of.surgery_on)
    made = Followed(of, surgery, of.surgery_on, {each.code: each for each in points}, alive_on=TODAY, implant_on=TODAY)
    return replace(made, **values)


def shoulder(*points: Point, died: date | None = None, **values: Any) -> Followed:
    """Of a person of their own; `later` and other members of Followed as they are, the rest as members of the row."""
    own = {name: values.pop(name) for name in tuple(values) if name in Followed.__dataclass_fields__}
    return followed(row(**values), *points, died=None if died is None else fact(died), **own)


def followings(shoulders: Iterable[Followed], *others: Row, as_of: date = TODAY) -> Followings:
    """`others`: rows of the record that nobody follows."""
    known = tuple(shoulders)
    rows = (*(each.row for each in known), *others)
    of = {each.row.operation_id: each for each in known if each.row.operation_id is not None}
    return Followings(Record(as_of, rows, texts_read=True), of, "0" * 64)
