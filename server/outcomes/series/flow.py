"""From every operation in the log to the shoulders that can be analysed, each loss with its reason. Everybody is lost at most once.

The steps: `log`, all operations done here; `meant`, those of the log that the sentence means; `taking_part`, of these the enrolled whose
consent to research stands; `answered`, of these who answered after surgery at least once themselves, as the sentence wants it.

What the log does not tell of somebody who does not take part, such as a diagnosis, leaves them in: without that, those who refused would
vanish before they are counted, and coverage would look better than it is.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from server.fields.log import NOT_ENROLLED
from server.fields.operation_words import PROCEDURES
from server.models.response import FOR_THE_PATIENT
from server.outcomes.series.row import Form, Record, Row, people
from server.outcomes.series.sentence import FIRST_SHOULDER, NOT_RECORDED, OF_ANSWERS, OF_OPERATIONS, SPANS, Sentence
from server.schedule.status import ANSWERED, WAITING, Status

STEPS = ("log", "meant", "taking_part", "answered")
AGAIN = "again"  # not the first operation of its shoulder
OTHER_ANSWERS = "other_answers"  # answered, but in no way or words that the sentence wants
# Of who takes part and answered nothing themselves, the first of these that is so of any timepoint after surgery. `silent` first: who
# was asked and did not answer is nobody's "not yet".
WITHOUT_ANSWER = (
    "erased", "answered_for", "silent", "waiting", "never_asked", "not_expected", "upcoming", "no_follow_up",
)  # fmt: skip


@dataclass(frozen=True)
class Step:
    name: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Loss:
    """Who is lost on the way to `step`, and why; `name` is one word for both, as an address has it."""

    step: str
    reason: str
    rows: tuple[Row, ...]

    @property
    def name(self) -> str:
        return f"{self.step}.{self.reason}"


@dataclass(frozen=True)
class Flow:
    """`steps` in the order of STEPS, `losses` in the order in which they fall off."""

    as_of: date
    steps: tuple[Step, ...]
    losses: tuple[Loss, ...]

    def rows_at(self, name: str) -> tuple[Row, ...]:
        return next(step.rows for step in self.steps if step.name == name)

    def failed_sums(self) -> list[tuple[str, int, int]]:
        """Each step whose operations and losses are not what the step before it had: its name, what there was, what there is now.

        At the end the same over all, by the operations themselves: each stands in one place and nowhere twice.
        """
        failed = []
        for before, step in zip(self.steps[:-1], self.steps[1:], strict=True):
            now = len(step.rows) + sum(len(loss.rows) for loss in self.losses if loss.step == step.name)
            if now != len(before.rows):
                failed.append((step.name, len(before.rows), now))
        parts: tuple[Step | Loss, ...] = (self.steps[-1], *self.losses)
        places = Counter(_key(row) for part in parts for row in part.rows)
        log = {_key(row) for row in self.steps[0].rows}
        if not failed and (set(places) != log or places.total() != len(log)):
            failed.append(("log", len(log), places.total()))
        return failed


def flow_of(record: Record, sentence: Sentence) -> Flow:
    """The flow of everybody in the record to those whom the sentence means and who answered."""
    steps, losses = [Step("log", record.rows)], []
    ways: tuple[tuple[str, Callable[[Iterable[Row]], dict[Row, str]]], ...] = (
        ("meant", lambda rows: not_meant(rows, sentence)),
        ("taking_part", lambda rows: {row: reason for row in rows if (reason := _not_taking_part(row))}),
        ("answered", lambda rows: {row: reason for row in rows if (reason := _without_answer(row, sentence))}),
    )
    for name, lost in ways:
        rows = steps[-1].rows
        why = lost(rows)
        reasons = dict.fromkeys(sorted(why.values(), key=lambda reason: _place(name, reason)))
        losses += [Loss(name, reason, tuple(row for row in rows if why.get(row) == reason)) for reason in reasons]
        steps.append(Step(name, tuple(row for row in rows if row not in why)))
    return Flow(record.as_of, tuple(steps), tuple(losses))


def not_meant(rows: Iterable[Row], sentence: Sentence) -> dict[Row, str]:
    """Why each of those whom the sentence does not mean is not meant: the first word that does not fit.

    The first shoulder of a person is the first of those that fit all else, so that each person stays with one.
    """
    found: dict[Row, str] = {}
    seen: set[int] = set()
    words = [word for word in OF_OPERATIONS if sentence.says(word)]
    spans = [word for word in SPANS if sentence.says(word)]
    for row in sorted(rows, key=lambda each: (each.surgery_on, each.side, each.operation_id or 0)):
        reason = AGAIN if _is_again(row) else _first_unfit(row, sentence, words, spans)
        if reason is None and sentence.first_shoulder and row.patient_id is not None:
            reason = FIRST_SHOULDER if row.patient_id in seen else None
            seen.add(row.patient_id)
        if reason is not None:
            found[row] = reason
    return found


def choices(record: Record, sentence: Sentence, word: str) -> tuple[dict[str, int], int]:
    """How many shoulders each code of a word has, among those whom all other words mean; and of how many it is not told.

    Of ways and words of answering: how many who take part answered so at least once, so one shoulder may count at several.
    """
    others = sentence.without(word)
    unfit = not_meant(record.rows, others)
    rows = [row for row in record.rows if row not in unfit]
    if word in OF_ANSWERS:
        taking_part = [row for row in rows if row.takes_part]
        told = [
            sorted({code for form in own_answers(row, others) for code in _of_answer(form, word)})
            for row in taking_part
        ]
        return dict(Counter(code for codes in told for code in codes)), 0
    values = [row.told(word) for row in rows]
    counts = Counter(code for value in values if value is not None for code in value)
    return dict(counts), sum(value is None for value in values)


def own_answers(row: Row, sentence: Sentence) -> list[Form]:
    """The answers after surgery that the patient gave, alone or with help, in a way and in words that the sentence wants."""
    return [form for form in row.forms if _is_own(form) and _is_wanted(form, sentence)]


def people_at(part: Step | Loss) -> int:
    return people(part.rows)


def _key(row: Row) -> tuple[str, int | None]:
    return ("operation", row.operation_id) if row.line_id is None else ("line", row.line_id)


def _is_again(row: Row) -> bool:
    """A line of the log does not tell its kind; its procedure may be one that only a later operation can be."""
    if row.kind is not None:
        return row.kind != "index"
    procedure = PROCEDURES.get(row.procedure)
    return procedure is not None and bool(procedure.kinds) and "index" not in procedure.kinds


def _first_unfit(row: Row, sentence: Sentence, words: Iterable[str], spans: Iterable[str]) -> str | None:
    for word in words:
        told = row.told(word)
        if told is not None and not set(told) & set(sentence.chosen(word)):
            return word
    for word in spans:
        year = row.surgery_on.year if word == "years" else row.age
        if year is None or not sentence.span(word).holds(year):
            return word
    return None


def _not_taking_part(row: Row) -> str | None:
    if row.line_id is not None:
        return row.not_enrolled or NOT_RECORDED
    if row.takes_part:
        return None
    return "consent_withdrawn" if row.consent == "withdrawn" else "no_consent"


def _without_answer(row: Row, sentence: Sentence) -> str | None:
    if own_answers(row, sentence):
        return None
    if any(_is_own(form) for form in row.forms):
        return OTHER_ANSWERS
    stands = {_stands(form) for form in row.forms} or {"no_follow_up"}
    return next(reason for reason in WITHOUT_ANSWER if reason in stands)


def _is_own(form: Form) -> bool:
    return _stands(form) == "own"


def _is_wanted(form: Form, sentence: Sentence) -> bool:
    return all(
        not sentence.says(word) or set(_of_answer(form, word)) & set(sentence.chosen(word)) for word in OF_ANSWERS
    )


def _of_answer(form: Form, word: str) -> tuple[str, ...]:
    return (form.mode or NOT_RECORDED,) if word == "mode" else tuple(sorted(form.texts))


_BY_STATUS: Mapping[Status, str] = {
    Status.MISSED: "silent",
    Status.NEVER_ASKED: "never_asked",
    Status.NOT_EXPECTED: "not_expected",
    Status.UPCOMING: "upcoming",
}


def _stands(form: Form) -> str:
    """One of WITHOUT_ANSWER, or `own`."""
    if form.status in ANSWERED:
        if form.answered_by is None or not form.readable:
            return "erased"
        return "answered_for" if form.answered_by == FOR_THE_PATIENT else "own"
    return "waiting" if form.status in WAITING else _BY_STATUS[form.status]


def _place(step: str, reason: str) -> tuple[int, str]:
    """Where a loss stands among those of its step."""
    order = {
        "meant": (AGAIN, *OF_OPERATIONS, *SPANS, FIRST_SHOULDER),
        "taking_part": (*NOT_ENROLLED, NOT_RECORDED, "no_consent", "consent_withdrawn"),
        "answered": (OTHER_ANSWERS, *WITHOUT_ANSWER),
    }[step]
    return (order.index(reason) if reason in order else len(order)), reason
