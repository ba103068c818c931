"""The random quarter of the silent of one year, and whom its answers stand for. Pure counting.

Lots are cast while a window is open, so the estimate is of the shoulders whose window closed on or after the day of that year's first
lot. Of them, those who answered before their lot was cast, or had none, count once; the frame is everybody whose lot was cast, and the
drawn stand for it, whatever somebody not drawn answered later. Silent shoulders of that time whose lot was never cast, as one that was
never tried before its window closed, are `without_lot`: nothing is said of them, and the estimate is primary only where they are few.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from server.outcomes.arithmetic.double_sampling import DoubleSampled, Lot, Told, double_sampled
from server.outcomes.arithmetic.proportion import Interval, wilson_by_person
from server.outcomes.series.acceptable import own_state
from server.outcomes.series.followed import Answer, Followed, Followings, Point
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import YEARS, YearPlaces, wanted_answer
from server.schedule.timepoint_code import TimepointCode

FEW_WITHOUT_LOT = 0.1  # of the silent


@dataclass(frozen=True)
class Lots:
    """How many lots were cast about a timepoint, how many were drawn, and of how many the window is still open."""

    cast: int
    drawn: int
    open: int


@dataclass(frozen=True)
class Sampled:
    """`told`: of the shoulders that it is of, who answered by the strip, and `complete` their share; `since`: these are not all.

    `of`: how many shoulders there are of that time with an answer to the question or without any.
    """

    found: DoubleSampled
    told: Mapping[Row, bool]
    without_lot: int
    of: int
    since: bool

    @property
    def complete(self) -> Interval | None:
        return share_of(self.told)

    @property
    def is_primary(self) -> bool:
        return self.found.answered_well and self.without_lot <= FEW_WITHOUT_LOT * (self.found.cast + self.without_lot)

    @property
    def counted(self) -> int:
        return self.found.answered + self.found.cast + self.without_lot


def sampled_of(
    followings: Followings, places: YearPlaces, told: Mapping[Row, bool], sentence: Sentence, questions: tuple[str, ...]
) -> Sampled | None:
    """None where no lot was cast about that year, or windows are all open. `told`: what those at `answered` said to the question."""
    frame = frame_of(followings, places)
    if not frame:
        return None
    first = min(point.lot_cast_on for point in frame.values() if point.lot_cast_on is not None)
    points = _points(followings, places)
    of_time = {row for row, point in points.items() if point.closes_on is not None and point.closes_on >= first}
    lots = _lots(frame, sentence, questions)
    answered = [Told(row.patient_id, float(yes)) for row, yes in told.items() if row in of_time and row not in frame]
    silent = set(places.rows["silent"])
    without = [row for row in silent if row in of_time and row not in frame]
    return Sampled(
        double_sampled(answered, lots, share=True),
        {row: yes for row, yes in told.items() if row in of_time},
        len(without),
        len([row for row in of_time if row in told or row in frame or row in silent]),
        len(of_time) < len(points),
    )


def lots_of_year(followings: Followings, places: YearPlaces) -> Lots:
    """Of all whom the sentence means; who stands at `to_come` may still answer."""
    cast = {
        place: [point for row in rows if (point := _lot(followings, row, places.year)) is not None]
        for place, rows in places.rows.items()
    }
    points = [point for of_place in cast.values() for point in of_place]
    return Lots(len(points), sum(point.drawn_on is not None for point in points), len(cast["to_come"]))


def lots_with_open_windows(followings: Followings) -> dict[str, Lots]:
    """By the code of the timepoint, in the order of its day: whoever of the record it is about."""
    as_of, found = followings.record.as_of, dict[str, list[Point]]()
    for shoulder in followings.of.values():
        for code, point in shoulder.points.items():
            if point.lot_cast_on is not None and (point.closes_on is None or point.closes_on >= as_of):
                found.setdefault(code, []).append(point)
    return {
        code: Lots(len(points), sum(point.drawn_on is not None for point in points), len(points))
        for code, points in sorted(found.items(), key=lambda each: TimepointCode.parse(each[0]))
    }


def _lot(followings: Followings, row: Row, year: int) -> Point | None:
    """The timepoint of that year where its lot was cast."""
    shoulder = followings.of.get(row.operation_id or 0) if row.takes_part else None
    point = None if shoulder is None else shoulder.points.get(YEARS[year])
    return None if point is None or point.lot_cast_on is None else point


def drawn_answered_well(
    followings: Followings, places: YearPlaces, sentence: Sentence, questions: tuple[str, ...]
) -> bool:
    lots = _lots(frame_of(followings, places), sentence, questions)
    return double_sampled((), lots, share=True).answered_well


def frame_of(followings: Followings, places: YearPlaces) -> dict[Row, Point]:
    """Whose lot about that year was cast before they answered, if they did."""
    return {
        row: point
        for row, point in _points(followings, places).items()
        if point.lot_cast_on is not None and (point.answer is None or point.answer.on >= point.lot_cast_on)
    }


def _points(followings: Followings, places: YearPlaces) -> dict[Row, Point]:
    code = YEARS[places.year]
    return {row: followed(followings, row).points[code] for row in _asked(places)}


def _asked(places: YearPlaces) -> tuple[Row, ...]:
    """All who were asked about that year and stand at `answered` or `silent`."""
    return (*places.rows["answered"], *places.rows["silent"])


def followed(followings: Followings, row: Row) -> Followed:
    return followings.of[row.operation_id or 0]


def stated(answer: Answer | None, questions: tuple[str, ...]) -> bool | None:
    """What the patient answered to the question; None where it was not answered."""
    return None if answer is None else own_state(answer, questions)


def share_of(told: Mapping[Row, bool]) -> Interval | None:
    """With limits by person; None of nobody."""
    of: dict[int | None, tuple[int, int]] = {}
    for row, yes in told.items():
        before = of.get(row.patient_id, (0, 0))
        of[row.patient_id] = (before[0] + yes, before[1] + 1)
    persons: dict[tuple[int, int], int] = {}
    for counts in of.values():
        persons[counts] = persons.get(counts, 0) + 1
    return wilson_by_person(persons) if persons else None


def _lots(frame: Mapping[Row, Point], sentence: Sentence, questions: tuple[str, ...]) -> list[Lot]:
    return [
        Lot(row.patient_id, point.probability, _once_drawn(point, sentence, questions)) for row, point in frame.items()
    ]


def _once_drawn(point: Point, sentence: Sentence, questions: tuple[str, ...]) -> float | None:
    """What the drawn answered, in the way that the sentence wants; of others nothing."""
    if point.drawn_on is None:
        return None
    said = stated(wanted_answer(point._replace(drawn_on=None), sentence), questions)
    return None if said is None else float(said)
