"""Whether a running server does what it is there for, said in four words that tell nothing about anybody. Somebody's monitor asks it."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from http import HTTPStatus

from flask import Response, jsonify
from sqlalchemy import select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from server.installation.runtime import Runtime
from server.models import Envelope
from server.queries.clock import clinic_now, the_clinic
from server.store.migrate import current_revision

# Three passes of the clock, which comes every quarter of an hour; the first of the day takes a large clinic some minutes.
CLOCK_IS_LATE = timedelta(minutes=50)
# Intake looks every half minute and takes a second; what it cannot take, it holds.
INTAKE_IS_STUCK = timedelta(minutes=10)
_OLDEST_RECEIVED = select(Envelope.received_at).where(Envelope.state == "received").order_by(Envelope.id).limit(1)


@dataclass
class Health:
    """`schema`: the revision that this version works with. `seconds`: a clock that nobody can set back."""

    runtime: Runtime
    schema: str
    seconds: Callable[[], float] = time.monotonic
    _ticked: float = field(init=False)

    def __post_init__(self) -> None:
        self.ticked()

    def ticked(self) -> None:
        """The clock's pass has ended well; called at each."""
        self._ticked = self.seconds()

    def parts(self) -> dict[str, str]:
        """Each part by name: `ok`, or what is wrong with it."""
        late = self.seconds() - self._ticked > CLOCK_IS_LATE.total_seconds()
        clock = "late" if late else "ok"
        try:
            is_current = current_revision(self.runtime.store.engine) == self.schema
            if not is_current:
                return {"database": "ok", "schema": "of another version", "clock": clock, "intake": "unknown"}
            with self.runtime.store.reading() as session:
                intake = "stuck" if self._is_stuck(session) else "ok"
        except DBAPIError:
            return {"database": "unreachable", "schema": "unknown", "clock": clock, "intake": "unknown"}
        return {"database": "ok", "schema": "ok", "clock": clock, "intake": intake}

    def _is_stuck(self, session: Session) -> bool:
        oldest = session.scalar(_OLDEST_RECEIVED)
        now = clinic_now(the_clinic(session), self.runtime.real_clock())
        return oldest is not None and now - oldest > INTAKE_IS_STUCK

    def answer(self) -> Response:
        """For `GET /health`: 200 while every part is ok, else 503. Never out of a cache."""
        parts = self.parts()
        answer = jsonify(parts)
        if set(parts.values()) != {"ok"}:
            answer.status_code = HTTPStatus.SERVICE_UNAVAILABLE
        answer.headers["Cache-Control"] = "no-store"
        return answer
