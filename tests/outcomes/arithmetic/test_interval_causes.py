"""The self-consistent estimator over cells of interval and cause."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.arithmetic.incidence import aalen_johansen
from server.outcomes.arithmetic.interval_causes import NOT_YET, Cell, Event, self_consistent_by_cause
from server.outcomes.arithmetic.intervals import self_consistent
from tests.outcomes.arithmetic.sets import MERCAPTOPURINE


@st.composite
def events(draw: st.DrawFn) -> Event:
    left, cause = float(draw(st.integers(0, 10))), draw(st.sampled_from(["back", "revised", "died", NOT_YET]))
    if cause == NOT_YET:
        return Event(cause, left)
    return Event(cause, left, left + (draw(st.integers(0, 8)) if cause == "back" else 0))


def test_with_one_cause_it_is_the_estimator_without_causes() -> None:
    rows = [(0.0, 2.0), (1.0, 3.0), (2.0, 4.0), (3.0, inf), (1.0, inf), (4.0, 4.0)]
    found = self_consistent_by_cause([Event("back" if right < inf else NOT_YET, left, right) for left, right in rows])
    assert [cell[1:3] for cell in found] == [mass[:2] for mass in self_consistent(rows)]
    assert [cell.mass for cell in found] == pytest.approx([mass.mass for mass in self_consistent(rows)], abs=1e-8)


def test_with_exact_times_it_is_aalen_and_johansen() -> None:
    """Freireich's treated, every third event being of another cause."""
    spans = [span._replace(status=span.status * (1 + (place % 3 == 0))) for place, span in enumerate(MERCAPTOPURINE)]
    names = {0: NOT_YET, 1: "first", 2: "second"}
    rows = [Event(names[span.status], span.time, span.time if span.status else inf) for span in spans]
    found = self_consistent_by_cause(rows)
    last = {cause: aalen_johansen(spans, cause)[-1].incidence for cause in (1, 2)}
    assert last[1] > 0 < last[2]
    for cause, expected in last.items():
        assert sum(cell.mass for cell in found if cell.cause == names[cause]) == pytest.approx(expected, abs=1e-8)
    assert sum(cell.mass for cell in found if cell.cause == NOT_YET) == pytest.approx(1 - sum(last.values()), abs=1e-8)


def test_four_people_by_hand() -> None:
    """Back in (0, 2] and (1, 3], dead at 2, not yet at 2: one in four died; of the rest a lies in (1, 2] and b in (2, 3], and the
    rows are likeliest, by a (a + b) b, where both are the same. Mass after 2 can be "back" alone: who waits holds that cell too."""
    found = self_consistent_by_cause([Event("back", 0, 2), Event("back", 1, 3), Event("died", 2, 2), Event(NOT_YET, 2)])
    assert [cell[:3] for cell in found] == [("back", 1, 2), ("back", 2, 3), ("died", 2, 2)]
    assert [cell.mass for cell in found] == pytest.approx([0.375, 0.375, 0.25])


def test_nobody_yet_is_known_of_nothing_after_the_last_look() -> None:
    assert self_consistent_by_cause([Event(NOT_YET, 3), Event(NOT_YET, 5)]) == [Cell(NOT_YET, 5, inf, 1)]
    assert self_consistent_by_cause([]) == []


def test_everyone_dead_is_nobody_back() -> None:
    found = self_consistent_by_cause([Event("died", 1, 1), Event("died", 4, 4)])
    assert [(cell.cause, cell.right, cell.mass) for cell in found] == [("died", 1, 0.5), ("died", 4, 0.5)]


def holds(event: Event, cell: Cell) -> bool:
    """Whether the cell lies in the row's."""
    if event.cause == NOT_YET:
        return cell.left > event.left or (cell.left == event.left and cell.left < cell.right)
    after_left = (
        cell.left >= event.left if event.left == event.right or cell.left < cell.right else cell.left > event.left
    )
    return cell.cause == event.cause and after_left and cell.right <= event.right


@given(st.lists(events(), min_size=1, max_size=40))
def test_each_mass_is_what_the_rows_expect_it_to_be(rows: list[Event]) -> None:
    cells = self_consistent_by_cause(rows)
    assert sum(cell.mass for cell in cells) == pytest.approx(1, abs=1e-8)
    expected = [0.0] * len(cells)
    for event in rows:
        share = sum(cell.mass for cell in cells if holds(event, cell))
        for place, cell in enumerate(cells):
            expected[place] += cell.mass / share / len(rows) if holds(event, cell) else 0
    assert [cell.mass for cell in cells] == pytest.approx(expected, abs=1e-8)
