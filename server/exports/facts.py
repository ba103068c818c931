"""What a row of an export can be made of. Plain values: nothing here names a person."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from server.fields.field import Value
from server.schedule.last_known import Known


@dataclass(frozen=True)
class DoneAgain:
    """A revision, or a conversion to arthroplasty, that was done; `on`: its day in the course of the shoulder."""

    on: date
    precision: str | None
    certainty: str | None


@dataclass(frozen=True)
class OperationFacts:
    """One operation with its follow-up. `revision`: the first of its shoulder that came after it.

    `recorded`: by field name, what may leave the clinic by the export rules of the field table; a text that staff typed about a
    person is not in it. `research_consent`: given, withdrawn or none, on the as-of day; `research_consent_version`: of the
    clinic's text, where it is given. `surgeon`: a code for the name.
    """

    as_of: date
    study_number: str
    research_consent: str
    research_consent_version: str | None
    sex: str
    birth_year: int
    died_on: date | None
    died_precision: str | None
    died_source: str | None
    died_certainty: str | None
    withdrawn_on: date | None
    records_closed_on: date | None
    erasure_asked_on: date | None
    withdrawal_extent: str | None
    messages_stopped_on: date | None
    transferred_on: date | None
    lost_on: date | None
    side: str
    position: int
    first_stage: int | None
    surgeon: str | None
    recorded: Mapping[str, Value]
    last_contact: Known | None
    last_alive: Known | None
    last_implant: Known | None
    implant_reported: Known | None
    age_at_surgery: int | None
    plan: str | None
    followed_from: date | None
    followed_to: date | None
    end_reason: str | None
    revision: DoneAgain | None
    converted_on: date | None

    def is_revised(self, on: date) -> bool:
        """Whether the shoulder had been revised before that day; what was answered on the very day was answered before surgery."""
        return self.revision is not None and on > self.revision.on


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
    """One timepoint, answered or not. `missing` is why the whole form has no answers to show.

    `sent`: messages that were sent about it, by channel. `tries`: of staff to reach the patient about it, or about all that was open then,
    by channel, those to the second contact person apart.
    """

    code: str
    attempt: int
    plan: str
    opens_on: date
    due_on: date
    closes_on: date | None
    withheld_on: date | None
    withheld_texts: str | None
    status: str
    status_reason: str
    status_since: date | None
    missing: str | None
    asked_on: date | None
    fetched_on: date | None
    last_try: str | None
    answered_operation: int | None
    answered_timepoint: str | None
    lot_cast_on: date | None
    draw: int | None
    drawn_on: date | None
    drawing_probability: float | None
    answered_on: date | None
    finished_at: datetime | None
    window_state: str | None
    mode: str | None
    answered_by: str | None
    language: str | None
    days_from_surgery: int | None
    messages_sent: int
    sent: Mapping[str, int]
    tries: Mapping[str, int]
    repeats: int
    spacer_in: bool = False
    items: tuple[ItemFacts, ...] = ()
    scores: tuple[ScoreFacts, ...] = ()

    @property
    def on(self) -> date:
        """The day of the answer, or the due day without one."""
        return self.answered_on or self.due_on


@dataclass(frozen=True)
class VisitFacts:
    """A form that was taken at a visit, which no plan asks for. `finding`: the number of that visit in findings.csv."""

    finding: int
    missing: str | None
    answered_on: date
    finished_at: datetime
    window_state: str
    mode: str
    answered_by: str
    language: str
    days_from_surgery: int | None
    items: tuple[ItemFacts, ...]
    scores: tuple[ScoreFacts, ...]

    @property
    def on(self) -> date:
        return self.answered_on


@dataclass(frozen=True)
class ExportRow:
    """What the function of a column is given: of a form that was planned, `form`, of one that was taken at a visit, `visit`.

    `forms`, for a wide row: the form that counts for each timepoint code.
    """

    operation: OperationFacts
    form: FormFacts | None = None
    visit: VisitFacts | None = None
    item: ItemFacts | None = None
    score: ScoreFacts | None = None
    forms: Mapping[str, FormFacts] = field(default_factory=dict)
