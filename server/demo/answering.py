"""An invented patient answers: on the own phone, sealed and taken in by intake itself, or to staff, through the other door."""

import uuid
from datetime import datetime, timedelta
from functools import partial
from random import Random
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from cryptography.hazmat.primitives.asymmetric import ec
from sqlalchemy import select

from server.crypto import derive
from server.crypto.encoding import compact_json
from server.crypto.envelope import Envelope as Sealed
from server.crypto.envelope import Header, seal_envelope
from server.crypto.token import read_token
from server.demo.answers import Wanted, draw_parts, stamp_parts, written
from server.demo.stories import Fate
from server.intake.check import form_of
from server.intake.enter import Entered, enter_form
from server.intake.process import process_batch
from server.links.make import find_live_link
from server.models import Envelope, Flag, Response, SealingKey, Timepoint
from server.queries.facts import BASELINE, status_of
from server.schedule.status import Status
from server.timepoints.plans import read_plans

if TYPE_CHECKING:
    from server.demo.follow import Follow

BUILD = "demo"
SCREENS = ("360x640", "360x800", "393x852", "412x915", "768x1024")
KEEP_OPEN_DAYS = 14
SETTLED = {
    "safety_answer": "called; seen at the clinic",
    "contact_change": "entered",
    "operated_elsewhere": "confirmed",
}


class Answering:
    """Answers of one patient."""

    def __init__(self, follow: "Follow") -> None:
        self.follow = follow
        self.world = follow.world

    def answer(self, row: Timepoint, fate: Fate, at: datetime) -> None:
        """Nothing happens if the timepoint went away, was answered or is not expected any more."""
        state = status_of(row, self.world.day(at))
        gone = row not in row.follow_up.timepoints if row.follow_up is not None else True
        if gone or row.answered_on is not None or state in (Status.NOT_EXPECTED, Status.UPCOMING):
            return
        if state == Status.MISSED and fate.how != "late" and row.code != BASELINE:
            return
        if fate.how == "late" or (fate.how == "phone" and state != Status.MISSED):
            self._on_phone(row, fate, at)
        else:
            self._to_staff(row, fate, at)
        self.follow.baseline_answered |= row.code == BASELINE
        self.follow.wake_soon(at)

    def _wanted(self, row: Timepoint, fate: Fate, at: datetime) -> Wanted:
        operation, told = self.follow.told[row.follow_up.operation_id]
        surgery_on = operation.surgery_on
        years = (self.world.day(at) - surgery_on).days / 365.25 if surgery_on else 0.0
        asked_before = row.code == BASELINE
        return Wanted(told.course.ability(0 if asked_before else years), self.follow.patient.language, fate.extra)

    def _to_staff(self, row: Timepoint, fate: Fate, at: datetime) -> None:
        world, random = self.world, self.follow.random
        mode = fate.how if fate.how in ("telephone", "paper") else "paper"
        parts = draw_parts(
            world.runtime.library,
            form_of(row, read_plans(world.session), world.runtime.library),
            self._wanted(row, fate, at),
            random,
        )
        answered_at = at - timedelta(minutes=6) if mode == "telephone" else at - timedelta(days=random.randint(1, 3))
        answered_at = max(answered_at, world.at(row.opens_on, 12)) if mode == "paper" else answered_at
        if mode == "telephone":
            self.follow.call(row, "reached", at)
        entered = Entered(
            mode=mode,
            answered_by="patient" if random.random() < 0.9 else "someone_else",
            language=self.follow.patient.language,
            answered_at=min(answered_at, at),
            by_id=world.nurse_id,
        )
        number = enter_form(
            world.session, row, parts, entered, library=world.runtime.library, keys=world.runtime.keys, now=at
        )
        self._plan_settling(number, at)

    def _on_phone(self, row: Timepoint, fate: Fate, at: datetime) -> None:
        """Sealed a few minutes after it was opened; taken in at once, as the server does."""
        world, random = self.world, self.follow.random
        kept = self.seal(self._payload(row, fate, at), at)
        world.session.add(kept)
        world.session.flush()
        processed = process_batch(world.session, [kept], world.runtime.keys, world.runtime.library, now=at)
        if processed.held:
            raise RuntimeError(f"an invented envelope was held: {kept.held_reason} {kept.held_detail}")
        number = world.session.scalars(select(Response.id).where(Response.envelope_id == kept.id)).one()
        self._plan_settling(number, at + timedelta(minutes=random.randint(30, 200)))

    def payload(self, row: Timepoint, at: datetime) -> dict[str, Any]:
        """A usual answer to this timepoint, finished shortly before `at`."""
        return self._payload(row, Fate("phone"), at)

    def _payload(self, row: Timepoint, fate: Fate, at: datetime) -> dict[str, Any]:
        world, random = self.world, self.follow.random
        expected = form_of(row, read_plans(world.session), world.runtime.library)
        parts = draw_parts(world.runtime.library, expected, self._wanted(row, fate, at), random)
        opened_at = at - timedelta(seconds=random.randint(20, 60) + 17 * sum(len(part["answers"]) for part in parts))
        finished_at = min(stamp_parts(parts, opened_at, random), at)
        offset = at.astimezone(ZoneInfo(world.clinic.time_zone)).utcoffset() or timedelta(0)
        return {
            "format": 1,
            "form_id": row.form_id,
            "sheet_revision": 0,
            "language": self.follow.patient.language,
            "build": BUILD,
            "opened_at": written(opened_at),
            "finished_at": written(finished_at),
            "utc_offset_minutes": int(offset.total_seconds() // 60),
            "time_zone": world.clinic.time_zone,
            "clock_skew_ms": random.randint(-4000, 4000),
            "mode": "own_phone",
            "answered_by": "patient" if random.random() < 0.93 else "patient_with_help",
            "device": {"screen": random.choice(SCREENS), "browser": "other"},
            "parts": parts,
        }

    def seal(self, payload: dict[str, Any], at: datetime, *, wrong_birth_date: bool = False) -> Envelope:
        """The row of an envelope as it is received. `wrong_birth_date` seals with another answer key."""
        world, patient = self.world, self.follow.patient
        link = find_live_link(world.session, patient)
        key = world.session.scalars(select(SealingKey).where(SealingKey.retired_at.is_(None))).one()
        if link is None or link.token is None:
            raise RuntimeError("an invented patient without a link cannot answer")
        token = read_token(link.token)
        born = patient.birth_on - timedelta(days=1) if wrong_birth_date else patient.birth_on
        header = Header(key.key_id, _uuid(self.follow.random), derive.lookup(token))
        point = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), key.point)
        return received(seal_envelope(header, point, derive.answer_key(token, born), compact_json(payload)), at)

    def _plan_settling(self, response_id: int, at: datetime) -> None:
        flags = self.world.session.scalars(select(Flag).where(Flag.response_id == response_id)).all()
        keep = self.follow.story.keep_open and at > self.world.until - timedelta(days=KEEP_OPEN_DAYS)
        for flag in [] if keep else flags:
            later = at + timedelta(hours=self.follow.random.randint(1, 30))
            self.world.plan_act(later, partial(self._settle, flag))

    def _settle(self, flag: Flag, now: datetime) -> None:
        flag.settled_at, flag.settled_by_id = now, self.world.nurse_id
        flag.settled_note = SETTLED.get(flag.kind, "seen")


def received(sealed: Sealed, at: datetime) -> Envelope:
    """As server.sync.receive keeps it."""
    return Envelope(
        envelope_id=str(sealed.header.envelope_id),
        sha256=sealed.sha256,
        lookup_hash=derive.stored_digest(sealed.header.lookup),
        key_id=sealed.header.key_id,
        received_at=at,
        same_id_other_content=False,
        body=sealed.text.encode("ascii"),
        state="received",
    )


def _uuid(random: Random) -> uuid.UUID:
    return uuid.UUID(int=random.getrandbits(128), version=4)
