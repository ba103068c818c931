"""What is kept of a checked form: one reader and one writer, and no value that could name a person."""

import copy
from typing import Any

import pytest

from server.crypto.fields import FieldProblem, PatientCipher
from server.forms.check import CheckedAnswers, IdentifyingAnswer, check_answers
from server.forms.stored import (
    StoredAnswer,
    StoredAnswersProblem,
    open_answers,
    read_stored,
    seal_answers,
    write_stored,
)
from tests.forms.making import AT, answered, part, whole_part
from tests.forms.test_parts_are_checked import SINCE, since_answers
from tests.scoring.making import library

# As a server wrote it before there was a type for it. Never to be changed: such rows lie in every data folder.
WRITTEN = (
    b'[{"instrument":"since@1","text_id":"since@1/es/descriptive-1","answers":{"1":{"state":"answered","value":1,'
    b'"first_at":"2026-03-01T09:00:00.000Z","last_at":"2026-03-01T09:00:07.250Z"},"1a":{"state":"answered","value":"2025-11"},'
    b'"1b":{"state":"answered","first_at":"2026-03-01T09:00:09.000Z"},"2":{"state":"declined"}}},'
    b'{"instrument":"pain@1","text_id":"pain@1/es/descriptive-1","answers":{"1":{"state":"answered","value":0}}}]'
)
OPERATED_ELSEWHERE = {"item_1": answered(1), "item_1a": answered("2025-11"), "item_1b": answered("Anytown")}


def checked(given: Any) -> CheckedAnswers:
    return check_answers(library(), [SINCE], [given])


def test_what_was_stored_once_is_read_and_written_again_to_the_same_bytes() -> None:
    answers = read_stored(WRITTEN)
    assert [(each.instrument, each.text_id) for each in answers.parts] == [
        ("since@1", "since@1/es/descriptive-1"),
        ("pain@1", "pain@1/es/descriptive-1"),
    ]
    assert answers.parts[0].answers["1"] == StoredAnswer("answered", 1, AT, "2026-03-01T09:00:07.250Z")
    assert answers.parts[0].answers["1b"] == StoredAnswer("answered", None, "2026-03-01T09:00:09.000Z")
    assert answers.parts[1].answers["1"] == StoredAnswer("answered", 0)
    assert write_stored(answers) == WRITTEN


def test_items_keep_the_order_in_which_they_were_handed_in() -> None:
    given = dict(reversed(since_answers().items()))
    stored = checked(part("since@1", given)).stored
    assert list(stored.parts[0].answers) == list(given)
    assert list(read_stored(write_stored(stored)).parts[0].answers) == list(given)


def test_identifying_values_are_taken_out_and_their_states_stay() -> None:
    found = checked(part("since@1", since_answers(**OPERATED_ELSEWHERE)))
    assert found.identifying == (IdentifyingAnswer("since@1", "1b", "Anytown"),)
    answers = found.stored.parts[0].answers
    assert answers["1b"] == StoredAnswer("answered", None, AT, AT)
    assert answers["6a"] == StoredAnswer("skipped")
    assert b"Anytown" not in write_stored(found.stored)


def test_members_the_protocol_does_not_name_are_not_kept() -> None:
    given = part("pain@1", {"1": answered(3) | {"note": "Anytown"}}) | {"name": "Anytown"}
    found = check_answers(library(), [whole_part("pain@1")], [given])
    assert found.identifying == ()
    assert write_stored(found.stored) == write_stored(
        check_answers(library(), [whole_part("pain@1")], [part("pain@1", {"1": answered(3)})]).stored
    )
    assert b"Anytown" not in write_stored(found.stored)


def test_what_was_handed_in_is_left_as_it_was() -> None:
    given = part("since@1", since_answers(**OPERATED_ELSEWHERE))
    before = copy.deepcopy(given)
    checked(given)
    assert given == before


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"not json",
        b"{}]",
        b"7",
        b"[7]",
        b"[{}]",
        b'[{"instrument":"pain@1","answers":{}}]',
        b'[{"instrument":"pain@1","text_id":"t","answers":[]}]',
        b'[{"instrument":"pain@1","text_id":"t","answers":{"1":7}}]',
        b'[{"instrument":"pain@1","text_id":"t","answers":{"1":{}}}]',
        b'[{"instrument":"pain@1","text_id":"t","answers":{"1":{"state":"declined","note":""}}}]',
        b'[{"instrument":"pain@1","text_id":"t","answers":{"1":{"state":"answered","value":1e999}}}]',
    ],
)
def test_what_are_not_the_answers_of_a_form_is_refused(data: bytes) -> None:
    with pytest.raises(StoredAnswersProblem):
        read_stored(data)


def test_the_patients_key_opens_them_and_another_does_not() -> None:
    cipher, other = PatientCipher(bytes(32)), PatientCipher(bytes([1]) * 32)
    sealed = seal_answers(read_stored(WRITTEN), cipher)
    assert cipher.open(sealed, "response.answers") == WRITTEN
    assert open_answers(sealed, cipher) == read_stored(WRITTEN)
    with pytest.raises(FieldProblem):
        open_answers(sealed, other)
