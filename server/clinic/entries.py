"""What is entered about a patient and an operation, before anything is kept."""

from dataclasses import dataclass
from datetime import date

EARLIEST_SURGERY = date(
    1950, 1, 1
)  # no shoulder replacement in use today is older; an earlier year is a slip of the pen
OLDEST_YEARS = 115
CHANNELS = ("email", "sms", "letter", "telephone")


class EnrolmentProblem(ValueError):
    """What was entered cannot be kept. `errors`: field name to plain sentences, all at once."""

    def __init__(self, errors: dict[str, list[str]]) -> None:
        super().__init__("; ".join(f"{field}: {' '.join(found)}" for field, found in errors.items()))
        self.errors = errors


@dataclass(frozen=True)
class ShoulderEntry:
    """One operation on one shoulder, planned or done. None is "not recorded"; `unknown` is a word of its own.

    `bmi` in kg/m2; dates are the clinic's calendar. `surgery_planned_on` and `surgery_on` exclude each other here.
    """

    side: str
    kind: str = "index"
    surgery_planned_on: date | None = None
    surgery_on: date | None = None
    diagnosis: str | None = None
    diagnosis_stage: str | None = None
    implant_type: str | None = None
    implant_model: str | None = None
    implant_size: str | None = None
    implant_lot: str | None = None
    fixation: str | None = None
    procedure: str | None = None
    surgeon: str | None = None
    dominant: bool | None = None
    earlier_surgery: str | None = None
    bmi: float | None = None
    asa: int | None = None
    smoking: str | None = None
    cuff_supraspinatus: str | None = None
    cuff_infraspinatus: str | None = None
    cuff_subscapularis: str | None = None
    cuff_teres_minor: str | None = None
    glenoid_type: str | None = None
    glenoid_wear: str | None = None
    glenoid_treatment: str | None = None
    subscapularis_handling: str | None = None


@dataclass(frozen=True)
class Enrolment:
    """One patient with one or two shoulders. An empty `study_number` takes the next free one, an empty `time_zone` the clinic's.

    `channel_order`: comma-separated, the preferred way of contact first. `consents`: kinds agreed to today.
    """

    first_name: str
    last_name: str
    birth_on: date
    sex: str = "not_recorded"
    language: str = "en"
    email: str | None = None
    phone: str | None = None
    address: str | None = None
    second_contact: str | None = None
    study_number: str = ""
    consents: tuple[str, ...] = ()
    shoulders: tuple[ShoulderEntry, ...] = ()
    time_zone: str = ""
    channel_order: str = "email"
    consent_version: str = "1"
