"""From answers as they are kept to what a row of scores says: the same when a form is recorded and when its scores are rebuilt."""

from collections.abc import Iterator
from typing import NamedTuple

from scoring.library import Library
from scoring.parts import score_part
from scoring.score import ScaleScore
from server.forms.stored import StoredAnswers

_SAME = len(("instrument", "version", "scale", "value", "status", "reason", "answered", "items", "method"))
assert ScaleScore._fields[_SAME - 1] == "method"


class Stated(NamedTuple):
    """What a row of the table `score` says, under the names of its columns: first what a ScaleScore begins with."""

    instrument: str
    instrument_version: str
    scale: str
    value: float | None
    status: str
    reason: str | None
    answered: int
    items: int
    method: str
    text_id: str
    scoring_version: str


def scores_of(answers: StoredAnswers, library: Library) -> Iterator[Stated]:
    """Every scale of every part, by the very instrument version and text that the part names.

    Raises KeyError for a version that the library does not hold, AnswerProblem for answers that do not fit theirs.
    """
    for part in answers.parts:
        for each in score_part(library.definitions[part.instrument], part.answers):
            yield _made((*each[:_SAME], part.text_id, each.scoring_version))


_made = Stated._make
