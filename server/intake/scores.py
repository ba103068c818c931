"""From stored answers to rows of the table `score`: the same when a form is recorded and when its scores are rebuilt."""

from collections.abc import Iterator
from typing import NamedTuple

from scoring.library import Library
from scoring.parts import score_part
from server.forms.stored import StoredAnswers
from server.models.response import FOR_THE_PATIENT


class ScoreRow(NamedTuple):
    """One scale of one response, under the names of the columns of `score`."""

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
    scoring_version: str  # the last one, see agrees_with

    def agrees_with(self, other: "ScoreRow") -> bool:
        """In all but the scoring version. That names the program that computed the row, which stays true: were it compared, a new
        version that changes nothing would double every row and change every export.
        """
        return self[:-1] == other[:-1]


def own_scores_of(answers: StoredAnswers, answered_by: str, library: Library) -> Iterator[ScoreRow]:
    """What is recorded: somebody else's word about pain or an acceptable state is no score of the patient. Raises as scores_of."""
    return iter(()) if answered_by == FOR_THE_PATIENT else scores_of(answers, library)


def scores_of(answers: StoredAnswers, library: Library) -> Iterator[ScoreRow]:
    """Every scale of every part, by the very instrument version and text that the part names.

    Raises KeyError for a version that the library does not hold, AnswerProblem for answers that do not fit theirs.
    """
    for part in answers.parts:
        for each in score_part(library.definitions[part.instrument], part.answers):
            yield ScoreRow(
                instrument=each.instrument,
                instrument_version=each.version,
                scale=each.scale,
                value=each.value,
                status=each.status,
                reason=each.reason,
                answered=each.answered,
                items=each.items,
                method=each.method,
                text_id=part.text_id,
                scoring_version=each.scoring_version,
            )
