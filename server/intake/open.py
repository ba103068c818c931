"""From stored bytes to a checked payload: finds the keys, opens, verifies. Raises EnvelopeProblem with the reason to hold it."""

from datetime import datetime, timedelta
from typing import Protocol

from cryptography.hazmat.primitives.asymmetric import ec
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.crypto import derive
from server.crypto.envelope import EnvelopeProblem, open_envelope, parse_envelope
from server.crypto.fields import PatientCipher
from server.crypto.token import read_token
from server.intake.payload import Payload, read_payload
from server.models import Envelope, Link, SealingKey

RETIRED_OPENS_DAYS = 400


class Keys(Protocol):
    """The key folder, as intake needs it. Both raise LookupError when a key is not there."""

    def sealing_key(self, key_id: str) -> ec.EllipticCurvePrivateKey: ...

    def patient_cipher(self, handle: str) -> PatientCipher: ...


def open_waiting(session: Session, row: Envelope, link: Link | None, keys: Keys, *, now: datetime) -> Payload:
    """The payload of a received envelope, proven to come from someone who knew token and birth date."""
    if row.same_id_other_content:
        raise EnvelopeProblem("same_id_other_content")
    private_key = _private_key(session, row.key_id, keys, now)
    if link is None or link.token is None:
        raise EnvelopeProblem("wrong_answer_key")
    token = read_token(link.token)
    answer_keys = (derive.answer_key(token, used.birth_on) for used in link.birth_dates if used.birth_on)
    return read_payload(open_envelope(parse_envelope(row.body.decode("ascii")), private_key, answer_keys))


def _private_key(session: Session, key_id: str, keys: Keys, now: datetime) -> ec.EllipticCurvePrivateKey:
    known = session.scalars(select(SealingKey).where(SealingKey.key_id == key_id)).one_or_none()
    if known is None:
        raise EnvelopeProblem("unknown_key")
    if known.retired_at is not None and now - known.retired_at > timedelta(days=RETIRED_OPENS_DAYS):
        raise EnvelopeProblem("needs_key")
    try:
        return keys.sealing_key(key_id)
    except LookupError as problem:
        raise EnvelopeProblem("needs_key") from problem
