"""From stored bytes to a payload: the clinic's key opens, the link's answer key proves who sealed it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Protocol

from cryptography.hazmat.primitives.asymmetric import ec
from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, joinedload

from scoring.answers import AnswerProblem
from server.crypto import derive
from server.crypto.envelope import EnvelopeProblem, open_envelope, parse_envelope
from server.crypto.fields import PatientCipher
from server.crypto.token import read_token
from server.intake.hold import PROBLEMS, Held, held_for
from server.intake.payload import FormPayload, NoticePayload, form_id_in, read_document, read_payload
from server.models import Envelope, Link, Patient, SealingKey
from server.queries.current import kept_record
from server.queries.facts import spoken_for_since

RETIRED_OPENS_DAYS = 400
# Asked after each post, and so put together once.
_SENDERS = (
    select(Link, Patient)
    .join(Patient, Link.patient_id == Patient.id)
    .where(Link.lookup_hash.in_(bindparam("links", expanding=True)))
    .order_by(Patient.id)
    .options(joinedload(Link.birth_dates))
    .with_for_update(read=True, of=Patient)
    .execution_options(populate_existing=True)
)
_SEALING_KEYS = select(SealingKey).where(SealingKey.key_id.in_(bindparam("keys", expanding=True)))


class Keys(Protocol):
    """The key folder, as intake needs it. Both raise LookupError when a key is not there."""

    def sealing_key(self, key_id: str) -> ec.EllipticCurvePrivateKey: ...

    def patient_cipher(self, handle: str) -> PatientCipher: ...


@dataclass(frozen=True)
class Sender:
    """The link that an envelope names, and whose it is: of a duplicate the kept record. `language` is the patient's own.

    `spoken_for_since`: from when a representative answers for the patient.
    """

    link: Link
    patient_id: int
    handle: str
    language: str
    erased_at: datetime | None
    spoken_for_since: date | None = None


@dataclass(frozen=True)
class Opened:
    """An envelope sealed by someone who knew the link's token and the birth date."""

    envelope: Envelope
    sender: Sender

    def patient_cipher(self, keys: Keys) -> PatientCipher:
        """Raises EnvelopeProblem when the key is erased, or is not there now."""
        if self.sender.erased_at is not None:
            raise EnvelopeProblem("erased")
        try:
            return keys.patient_cipher(self.sender.handle)
        except LookupError as problem:
            raise EnvelopeProblem("needs_key") from problem


@dataclass(frozen=True)
class OpenedForm(Opened):
    payload: FormPayload


@dataclass(frozen=True)
class OpenedNotice(Opened):
    payload: NoticePayload


def open_envelopes(
    session: Session, envelopes: Sequence[Envelope], keys: Keys, *, now: datetime
) -> list[OpenedForm | OpenedNotice | Held]:
    """One result for each, in order; two statements for all of them."""
    senders, sealing_keys = _senders(session, envelopes), _sealing_keys(session, envelopes)
    results: list[OpenedForm | OpenedNotice | Held] = []
    for envelope in envelopes:
        try:
            if envelope.same_id_other_content:
                raise EnvelopeProblem("same_id_other_content")
            private_key = _private_key(sealing_keys.get(envelope.key_id), keys, now)
            opened = _open(envelope, senders.get(envelope.lookup_hash), private_key)
            results.append(opened if isinstance(opened, Held) else _accepted(opened))
        except PROBLEMS as problem:
            results.append(held_for(envelope, problem))
    return results


def _senders(session: Session, envelopes: Sequence[Envelope]) -> Mapping[bytes, Sender]:
    """The records are locked, in the order of their ids, until the answers are written: on PostgreSQL a merge at the same moment would
    move what it sees and miss what comes a moment later. Whoever comes second waits, and reads what the first has written."""
    rows = session.execute(_SENDERS, {"links": list({envelope.lookup_hash for envelope in envelopes})}).unique()
    return {row.Link.lookup_hash: _sender(session, row.Link, row.Patient) for row in rows}


def _sender(session: Session, link: Link, patient: Patient) -> Sender:
    kept = kept_record(session, patient)
    return Sender(link, kept.id, kept.handle, kept.language, kept.erased_at, spoken_for_since(kept))


def _sealing_keys(session: Session, envelopes: Sequence[Envelope]) -> Mapping[str, SealingKey]:
    used = {envelope.key_id for envelope in envelopes}
    return {row.key_id: row for row in session.scalars(_SEALING_KEYS, {"keys": list(used)})}


def _private_key(known: SealingKey | None, keys: Keys, now: datetime) -> ec.EllipticCurvePrivateKey:
    if known is None:
        raise EnvelopeProblem("unknown_key")
    if known.retired_at is not None and now - known.retired_at > timedelta(days=RETIRED_OPENS_DAYS):
        raise EnvelopeProblem("needs_key")
    try:
        return keys.sealing_key(known.key_id)
    except LookupError as problem:
        raise EnvelopeProblem("needs_key") from problem


def _open(
    envelope: Envelope, sender: Sender | None, private_key: ec.EllipticCurvePrivateKey
) -> OpenedForm | OpenedNotice | Held:
    if sender is None or sender.link.token is None:
        raise EnvelopeProblem("wrong_answer_key")
    token = read_token(sender.link.token)
    answer_keys = (derive.answer_key(token, used.birth_on) for used in sender.link.birth_dates if used.birth_on)
    plain = open_envelope(parse_envelope(envelope.body.decode("ascii")), private_key, answer_keys)
    document = read_document(plain)
    try:
        payload = read_payload(document)
    except AnswerProblem as problem:
        return held_for(envelope, problem, form_id_in(document))
    if isinstance(payload, NoticePayload):
        return OpenedNotice(envelope, sender, payload)
    return OpenedForm(envelope, sender, payload)


def _accepted(opened: OpenedForm | OpenedNotice) -> OpenedForm | OpenedNotice | Held:
    """Held where it came by a replaced link, until a person accepts it: whoever stole the link may have sent it.

    A patient may as well have answered without a network before the link was replaced, or the family tell a death by the only link that
    they have.
    """
    link, envelope = opened.sender.link, opened.envelope
    replaced = link.end_state == "replaced" and link.ended_at is not None and link.ended_at <= envelope.received_at
    if replaced and envelope.accepted_at is None:
        said = opened.payload.flag_kind if isinstance(opened, OpenedNotice) else None
        return held_for(envelope, EnvelopeProblem("replaced_link"), notice=said)
    return opened
