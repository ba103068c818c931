"""The answers of a response as they are stored: JSON under the patient's own key, without any value that could name a person.

This is the only reader and the only writer. What was written once is written the same today, byte for byte.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from scoring.answers import Answer
from scoring.strict_json import load_strict_json
from server.crypto.encoding import compact_json
from server.crypto.fields import PatientCipher

CONTEXT = "response.answers"  # bound to the ciphertext; another word would open no row that exists


class StoredAnswersProblem(ValueError):
    """The bytes opened, but they are not the answers of a form."""


@dataclass(frozen=True, slots=True)
class StoredAnswer(Answer):
    """An answer, and the instants at which the person first and last acted on it, as the phone wrote them; None where it did not.

    The answer to an identifying item keeps its state and has no value.
    """

    first_at: str | None = None
    last_at: str | None = None

    def document(self) -> dict[str, Any]:
        members = {"state": self.state, "value": self.value, "first_at": self.first_at, "last_at": self.last_at}
        return {name: value for name, value in members.items() if value is not None}


@dataclass(frozen=True)
class StoredPart:
    """The answers to one instrument by item, in the order in which they were handed in; `text_id` names the words that were read."""

    instrument: str
    text_id: str
    answers: Mapping[str, StoredAnswer]

    def document(self) -> dict[str, Any]:
        answers = {name: answer.document() for name, answer in self.answers.items()}
        return {"instrument": self.instrument, "text_id": self.text_id, "answers": answers}


@dataclass(frozen=True)
class StoredAnswers:
    parts: tuple[StoredPart, ...]


def write_stored(answers: StoredAnswers) -> bytes:
    return compact_json([part.document() for part in answers.parts])


def read_stored(data: bytes) -> StoredAnswers:
    """Raises StoredAnswersProblem for what `write_stored` does not write."""
    try:
        return StoredAnswers(tuple(_part(**document) for document in load_strict_json(data)))
    except (ValueError, TypeError, AttributeError) as problem:
        raise StoredAnswersProblem("these are not the answers of a form") from problem


def _part(instrument: str, text_id: str, answers: dict[str, dict[str, Any]]) -> StoredPart:
    return StoredPart(instrument, text_id, {name: StoredAnswer(**members) for name, members in answers.items()})


def seal_answers(answers: StoredAnswers, cipher: PatientCipher) -> bytes:
    return cipher.seal(write_stored(answers), CONTEXT)


def open_answers(sealed: bytes, cipher: PatientCipher) -> StoredAnswers:
    """Raises FieldProblem when this key does not open it, StoredAnswersProblem when no answers lie inside."""
    return read_stored(cipher.open(sealed, CONTEXT))
