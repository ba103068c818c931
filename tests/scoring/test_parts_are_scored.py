"""Checked parts are scored, and what could name a person is taken out of them."""

from typing import Any

from scoring.parts import score_parts, split_identifying
from tests.scoring.making import AT, answered, library, part


def sst_answers(**states: str) -> dict[str, Any]:
    answers = {str(n): answered(1) for n in range(1, 13)}
    return answers | {key.removeprefix("item_"): {"state": state} for key, state in states.items()}


def test_each_part_is_scored_in_order_and_a_form_has_no_score() -> None:
    parts = [part("since@1", {"1": answered(0)}), part("pass@1", {"1": answered(1)}), part("sst@1", sst_answers())]
    results = score_parts(library(), parts)
    assert [(each.instrument, each.version, each.scale, each.value) for each in results] == [
        ("pass", "1", "acceptable", 1),
        ("sst", "1", "total", 12),
        ("sst", "1", "total_if_blanks_no", 12),
        ("sst", "1", "total_if_blanks_yes", 12),
    ]


def test_declined_and_not_reached_are_missing_and_the_reason_tells_them_apart() -> None:
    total, lowest, highest = score_parts(
        library(), [part("sst@1", sst_answers(item_2="declined", item_11="not_reached", item_12="not_reached"))]
    )
    assert (total.value, total.status) == (None, "not_scored")
    assert total.reason == "9 of 12 items answered, all needed (1 declined, 2 not reached)"
    assert (lowest.value, highest.value) == (9, 12)
    assert lowest.flags == highest.flags == ("bound",)


def test_an_instrument_that_was_declined_throughout_has_no_bounds_either() -> None:
    states = {f"item_{n}": "declined" for n in range(1, 13)}
    results = score_parts(library(), [part("sst@1", sst_answers(**states))])
    assert [each.value for each in results] == [None, None, None]
    assert results[1].reason == "no item answered (12 declined)"


def test_identifying_values_are_taken_out_and_their_states_stay() -> None:
    answers = {"1": answered(1), "1b": answered("Anytown"), "6a": {"state": "declined"}, "6c": answered("1 Any Street")}
    kept, taken = split_identifying(library(), [part("since@1", answers)])
    assert taken == [("since@1", "1b", "Anytown"), ("since@1", "6c", "1 Any Street")]
    assert kept[0]["answers"] == {
        "1": answered(1),
        "1b": {"state": "answered", "first_at": AT, "last_at": AT},
        "6a": {"state": "declined"},
        "6c": {"state": "answered", "first_at": AT, "last_at": AT},
    }


def test_members_the_protocol_does_not_name_are_not_kept() -> None:
    given = part("pain@1", {"1": answered(3) | {"note": "Anytown"}}) | {"name": "Anytown"}
    kept, taken = split_identifying(library(), [given])
    assert kept == [part("pain@1", {"1": answered(3)})]
    assert taken == []


def test_the_parts_given_are_left_as_they_were() -> None:
    given = part("since@1", {"1b": answered("Anytown")})
    split_identifying(library(), [given])
    assert given["answers"]["1b"]["value"] == "Anytown"
