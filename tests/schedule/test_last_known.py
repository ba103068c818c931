"""The last contact, last known alive and last known implant status: each source moves only what it shows."""

from datetime import date

import pytest

from server.schedule.last_known import SHOWS, Again, Fact, Known, Sighting, Source, State, last_known

AS_OF = date(2026, 6, 15)
EARLY, LATER = date(2024, 3, 1), date(2026, 3, 1)
IN_PLACE, MISSING = State.IN_PLACE, State.OPERATED_NOT_RECORDED
C, A, IMPLANT = Fact.CONTACT, Fact.ALIVE, Fact.IMPLANT
EVERY = frozenset(Fact)

# What one later source moves, when it says all that can be said.
MOVES = {
    Source.ANSWER: {C, A, IMPLANT},
    Source.ANSWER_FOR: set(),
    Source.CALL: {C, A},
    Source.CONSENT: {C, A},
    Source.OPERATION: {C, A, IMPLANT},
    Source.OPERATION_ELSEWHERE: {A, IMPLANT},
    Source.EXAMINATION: {C, A, IMPLANT},
    Source.PATIENT: {C, A, IMPLANT},
    Source.OTHER_DEPARTMENT: {A, IMPLANT},
    Source.GP_LETTER: {A, IMPLANT},
    Source.OTHER_HOSPITAL: {A, IMPLANT},
    Source.REGISTER: {IMPLANT},
    Source.DEATH_REGISTER: {A},
    Source.RELATIVE: set(),
}


def test_the_table_names_every_source() -> None:
    assert set(MOVES) == set(SHOWS) == set(Source)


@pytest.mark.parametrize("source", list(Source))
def test_a_source_moves_what_it_shows_and_nothing_else(source: Source) -> None:
    before = Sighting(EARLY, Source.EXAMINATION, EVERY, "left")
    found = last_known([before, Sighting(LATER, source, EVERY, "left")], AS_OF)
    moved = {C: found.contact, A: found.alive, IMPLANT: found.implant["left"]}
    states = {C: None, A: None, IMPLANT: IN_PLACE}
    assert moved == {
        fact: Known(LATER, source, state) if fact in MOVES[source] else Known(EARLY, before.source, state)
        for fact, state in states.items()
    }


def test_an_answer_without_the_question_about_another_operation_says_nothing_of_the_implant() -> None:
    found = last_known([Sighting(LATER, Source.ANSWER, frozenset({C, A}), "left")], AS_OF)
    assert (found.contact, found.implant) == (Known(LATER, Source.ANSWER), {})


def test_one_shoulder_says_nothing_of_the_other() -> None:
    found = last_known(
        [Sighting(EARLY, Source.ANSWER, EVERY, "left"), Sighting(LATER, Source.EXAMINATION, EVERY, "right")], AS_OF
    )
    assert {side: known.on for side, known in found.implant.items()} == {"left": EARLY, "right": LATER}


def test_a_relatives_word_stands_apart_until_something_known_comes_later() -> None:
    said = Sighting(EARLY, Source.RELATIVE, EVERY, "left")
    alone = last_known([said], AS_OF)
    assert (alone.contact, alone.alive, alone.implant) == (None, None, {})
    of_implant = {"left": Known(EARLY, Source.RELATIVE, IN_PLACE)}
    assert (alone.reported_alive, alone.reported_implant) == (Known(EARLY, Source.RELATIVE), of_implant)
    called = last_known([said, Sighting(LATER, Source.CALL, EVERY)], AS_OF)
    assert (called.reported_alive, called.reported_implant) == (None, of_implant)


def test_what_is_known_of_one_shoulder_leaves_the_others_report_and_takes_over_none_of_it() -> None:
    said = Sighting(EARLY, Source.RELATIVE, EVERY, "left")
    found = last_known([said, Sighting(LATER, Source.EXAMINATION, EVERY, "right")], AS_OF)
    assert found.reported_implant == {"left": Known(EARLY, Source.RELATIVE, IN_PLACE)}
    assert found.implant == {"right": Known(LATER, Source.EXAMINATION, IN_PLACE)}


def test_what_is_only_reported_stands_apart_whatever_its_source() -> None:
    found = last_known([Sighting(LATER, Source.OPERATION_ELSEWHERE, EVERY, "left", reported=True)], AS_OF)
    assert (found.alive, found.implant) == (None, {})
    assert found.reported_implant == {"left": Known(LATER, Source.OPERATION_ELSEWHERE, IN_PLACE)}


PUT_IN = Sighting(date(2015, 1, 1), Source.OPERATION, EVERY, "left")


def _answer(on: date, again: Again) -> Sighting:
    return Sighting(on, Source.ANSWER, EVERY, "left", again)


def _revised(on: date, until: date | None = None) -> Sighting:
    return Sighting(on, Source.OPERATION_ELSEWHERE, EVERY, "left", Again.RECORDED, until)


@pytest.mark.parametrize(
    ("seen", "state"),
    [
        ([], IN_PLACE),
        ([_answer(LATER, Again.NOT_SINCE_LAST)], IN_PLACE),
        ([_answer(EARLY, Again.SAID)], MISSING),
        ([_answer(EARLY, Again.SAID), _answer(LATER, Again.NOT_SINCE_LAST)], MISSING),
        ([_answer(EARLY, Again.SAID), Sighting(LATER, Source.REGISTER, EVERY, "left", Again.NONE)], IN_PLACE),
        ([_answer(EARLY, Again.SAID), Sighting(LATER, Source.EXAMINATION, EVERY, "left")], MISSING),
        ([_revised(date(2024, 1, 9)), _answer(EARLY, Again.SAID)], IN_PLACE),
        ([_answer(EARLY, Again.SAID), _revised(date(2025, 1, 9))], MISSING),
        ([_revised(date(2023, 1, 9)), _answer(EARLY, Again.NOT_SINCE_LAST), _answer(LATER, Again.SAID)], MISSING),
        ([_answer(EARLY, Again.NOT_SINCE_LAST), _revised(date(2024, 1, 1), date(2024, 12, 31)), _answer(LATER, Again.SAID)], IN_PLACE),
        ([Sighting(EARLY, Source.RELATIVE, EVERY, "left", Again.SAID), _answer(LATER, Again.NOT_SINCE_LAST)], IN_PLACE),
        ([Sighting(EARLY, Source.EXAMINATION, EVERY, "right", Again.SAID)], IN_PLACE),
    ],
    ids=[
        "put in", "no", "operated, not recorded", "no, but only since the form that said yes", "a register knows of none",
        "an examination counts no operations", "recorded before it was said", "recorded, but later than it was said",
        "recorded, but before the no", "recorded to the year", "only a relative said so", "the other shoulder",
    ],
)  # fmt: skip
def test_an_operation_that_was_told_is_missing_until_one_that_it_can_be_is_recorded(
    seen: list[Sighting], state: State
) -> None:
    assert last_known([PUT_IN, *seen], AS_OF).implant["left"].state == state


def test_nothing_after_the_as_of_day_or_after_a_death_counts() -> None:
    seen = [Sighting(EARLY, Source.CALL, EVERY), Sighting(LATER, Source.OTHER_DEPARTMENT, EVERY)]
    assert last_known(seen, date(2025, 1, 1)).alive == Known(EARLY, Source.CALL)
    assert last_known(seen, AS_OF, died_on=date(2025, 1, 1)).alive == Known(EARLY, Source.CALL)
    assert last_known([], AS_OF).alive is None


def test_of_two_on_one_day_the_nearer_source_is_named() -> None:
    same_day = [Sighting(LATER, Source.GP_LETTER, EVERY, "left"), Sighting(LATER, Source.ANSWER, EVERY, "left")]
    assert last_known(same_day, AS_OF).implant["left"].source == Source.ANSWER
    assert last_known(same_day[::-1], AS_OF).implant["left"].source == Source.ANSWER


@pytest.mark.parametrize(
    ("seen_on", "lost"),
    [(date(2024, 6, 16), False), (date(2024, 6, 15), True), (date(2020, 1, 1), True), (None, True)],
)
def test_an_implant_of_which_nothing_was_known_for_two_years_is_lost(seen_on: date | None, lost: bool) -> None:
    seen = [] if seen_on is None else [Sighting(seen_on, Source.EXAMINATION, EVERY, "left")]
    assert last_known(seen, AS_OF).implant_lost("left", date(2015, 1, 1), AS_OF) is lost


def test_an_implant_put_in_a_year_ago_is_not_lost_yet() -> None:
    assert not last_known([], AS_OF).implant_lost("left", date(2025, 6, 16), AS_OF)
