"""What a row of an export can be made of. Plain values: nothing here names a person."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime


@dataclass(frozen=True)
class OperationFacts:
    """One operation with its follow-up.

    Of what staff type about a person only known words are exported (server.exports.coded); the procedure in the clinic's words,
    the note on earlier surgery and the surgeon's name are left out. `implant_model`, `implant_size` and `implant_lot` are what
    staff copy from the implant's label, exported as typed. `research_consent`: given, withdrawn or none, on the as-of day.
    """

    study_number: str
    research_consent: str
    sex: str
    birth_year: int
    died_on: date | None
    lost_on: date | None
    side: str
    dominant: bool | None
    position: int
    kind: str
    surgery_planned_on: date | None
    surgery_on: date | None
    cancelled_on: date | None
    age_at_surgery: int | None
    diagnosis: str | None
    has_earlier_surgery: bool | None
    bmi: float | None
    asa: int | None
    cuff: Mapping[str, str | None]
    coded: Mapping[str, str | None]
    implant_type: str | None
    implant_model: str | None
    implant_size: str | None
    implant_lot: str | None
    plan: str | None
    followed_from: date | None
    followed_to: date | None
    end_reason: str | None
    revised_on: date | None


@dataclass(frozen=True)
class ItemFacts:
    """`value`: the option's code or a number, None for a month or when missing. `month`: YYYY-MM."""

    instrument: str
    item: str
    text_id: str
    state: str
    value: int | None
    month: str | None
    missing: str | None


BOUND = "bound"


@dataclass(frozen=True)
class ScoreFacts:
    """`status` as in the table `score`, or `bound`: no score, but an end of what it can have been."""

    instrument: str
    scale: str
    text_id: str
    value: float | None
    status: str
    missing: str | None
    reason: str | None
    answered: int
    items: int
    method: str
    scoring_version: str


@dataclass(frozen=True)
class FormFacts:
    """One timepoint that has opened, answered or not. `missing` is why the whole form has no answers to show."""

    code: str
    attempt: int
    plan: str
    opens_on: date
    due_on: date
    closes_on: date | None
    withheld_on: date | None
    withheld_texts: str | None
    status: str
    missing: str | None
    answered_on: date | None
    finished_at: datetime | None
    window_state: str | None
    mode: str | None
    answered_by: str | None
    language: str | None
    days_from_surgery: int | None
    messages_sent: int
    repeats: int
    items: tuple[ItemFacts, ...] = ()
    scores: tuple[ScoreFacts, ...] = ()


@dataclass(frozen=True)
class ExportRow:
    """What the function of a column is given. `forms`, for a wide row: the form that counts for each timepoint code."""

    operation: OperationFacts
    form: FormFacts | None = None
    item: ItemFacts | None = None
    score: ScoreFacts | None = None
    forms: Mapping[str, FormFacts] = field(default_factory=dict)
