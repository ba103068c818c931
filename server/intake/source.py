"""Where the answers of a form came from, and when they were given."""

from dataclasses import dataclass
from datetime import date, datetime

from server.intake.payload import FormPayload
from server.models import Envelope
from server.models.response import FOR_THE_PATIENT
from server.schedule.window import clamp_finished


@dataclass(frozen=True)
class Source:
    """Columns of a response under their names. Exactly one of `envelope_id` and `entered_by_id` is given."""

    mode: str
    answered_by: str
    language: str
    finished_at: datetime
    received_at: datetime
    envelope_id: int | None = None
    entered_by_id: int | None = None
    opened_at: datetime | None = None
    phone_finished_at: datetime | None = None
    utc_offset_minutes: int | None = None
    time_zone: str | None = None
    clock_skew_ms: int | None = None
    build: str | None = None
    device: str | None = None


def who_answered(said: str, on: date, spoken_for_since: date | None) -> str:
    """Whose answers they are, whatever the form says: from that day on the representative gives them."""
    return FOR_THE_PATIENT if spoken_for_since is not None and spoken_for_since <= on else said


def source_of_envelope(envelope: Envelope, payload: FormPayload, fetched_at: datetime) -> Source:
    """`fetched_at`: the earliest instant at which it can have been finished."""
    return Source(
        mode=payload.mode,
        answered_by=payload.answered_by,
        language=payload.language,
        # A phone's clock can be a year off: when it finished lies between the server's own two instants.
        finished_at=clamp_finished(
            payload.finished_at, fetched_at, envelope.received_at, clock_skew_ms=payload.clock_skew_ms
        ),
        received_at=envelope.received_at,
        envelope_id=envelope.id,
        opened_at=payload.opened_at,
        phone_finished_at=payload.finished_at,
        utc_offset_minutes=payload.utc_offset_minutes,
        time_zone=payload.time_zone,
        clock_skew_ms=payload.clock_skew_ms,
        build=payload.build,
        device=payload.device,
    )
