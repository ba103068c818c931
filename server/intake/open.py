"""From stored bytes to a payload: finds the keys, opens, verifies. Everything a batch needs is loaded once."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Protocol

from cryptography.hazmat.primitives.asymmetric import ec
from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from server.crypto import derive
from server.crypto.envelope import EnvelopeProblem, open_envelope, parse_envelope
from server.crypto.fields import PatientCipher
from server.crypto.token import read_token
from server.intake.payload import Payload, read_payload
from server.models import Envelope, Link, Patient, SealingKey

RETIRED_OPENS_DAYS = 400


class Keys(Protocol):
    """The key folder, as intake needs it. Both raise LookupError when a key is not there."""

    def sealing_key(self, key_id: str) -> ec.EllipticCurvePrivateKey: ...

    def patient_cipher(self, handle: str) -> PatientCipher: ...


class Opener:
    """The links, patients and public keys of a batch of envelopes; `open` and `cipher` raise EnvelopeProblem with the reason to hold."""

    def __init__(self, session: Session, rows: Sequence[Envelope], keys: Keys, *, now: datetime) -> None:
        self._keys, self._now = keys, now
        lookups = {row.lookup_hash for row in rows}
        found = session.execute(
            select(Link, Patient.handle, Patient.erased_at)
            .join(Patient, Link.patient_id == Patient.id)
            .where(Link.lookup_hash.in_(lookups))
            .options(joinedload(Link.birth_dates))
        ).unique()
        self._links = {link.lookup_hash: (link, handle, erased_at) for link, handle, erased_at in found}
        used = {row.key_id for row in rows}
        self._sealing = {
            row.key_id: row for row in session.scalars(select(SealingKey).where(SealingKey.key_id.in_(used)))
        }

    def open(self, row: Envelope) -> Payload:
        """The payload of a received envelope, proven to come from someone who knew token and birth date."""
        if row.same_id_other_content:
            raise EnvelopeProblem("same_id_other_content")
        private_key = self._private_key(row.key_id)
        link = self._links.get(row.lookup_hash, (None,))[0]
        if link is None or link.token is None:
            raise EnvelopeProblem("wrong_answer_key")
        token = read_token(link.token)
        answer_keys = (derive.answer_key(token, used.birth_on) for used in link.birth_dates if used.birth_on)
        return read_payload(open_envelope(parse_envelope(row.body.decode("ascii")), private_key, answer_keys))

    def patient_id(self, row: Envelope) -> int:
        return self._links[row.lookup_hash][0].patient_id

    def cipher(self, row: Envelope) -> PatientCipher:
        _link, handle, erased_at = self._links[row.lookup_hash]
        if erased_at is not None:
            raise EnvelopeProblem("erased")
        try:
            return self._keys.patient_cipher(handle)
        except LookupError as problem:
            raise EnvelopeProblem("needs_key") from problem

    def _private_key(self, key_id: str) -> ec.EllipticCurvePrivateKey:
        known = self._sealing.get(key_id)
        if known is None:
            raise EnvelopeProblem("unknown_key")
        if known.retired_at is not None and self._now - known.retired_at > timedelta(days=RETIRED_OPENS_DAYS):
            raise EnvelopeProblem("needs_key")
        try:
            return self._keys.sealing_key(key_id)
        except LookupError as problem:
            raise EnvelopeProblem("needs_key") from problem
