"""Links: made, replaced, ended, and derived again when a birth date is corrected.

A patient has at most one live link. The clinic's part (Link) keeps the token; the phone-facing part (Gate) keeps hashes only.
"""

import secrets
from datetime import date, datetime, timedelta

from sqlalchemy import bindparam, select, update
from sqlalchemy.orm import Session

from server.crypto import derive
from server.crypto.token import new_token, read_token
from server.models import Gate, GateProof, GateTries, Link, LinkBirthDate, Patient
from server.queries.current import LIVE_LINK, aliases_of
from server.queries.facts import left_on
from server.trust.audit import audit

TOKEN_KEPT_DAYS = 400
_LIVE_OF = select(Link).where(Link.patient_id == bindparam("patient"), LIVE_LINK)


def link_url(base_url: str, token: str) -> str:
    """The token is in the fragment, which no browser sends."""
    return f"{base_url.rstrip('/')}/p/#{token}"


def find_live_link(session: Session, patient: Patient) -> Link | None:
    return session.scalars(_LIVE_OF, {"patient": patient.id}).one_or_none()


def live_link(session: Session, patient: Patient, *, now: datetime) -> Link:
    """The patient's one live link; makes it if there is none. The gate says "nothing due" until a sheet is published."""
    found = find_live_link(session, patient)
    if found is not None:
        return found
    token = new_token()
    raw = read_token(token)
    lookup_hash = derive.stored_digest(derive.lookup(raw))
    link = Link(patient_id=patient.id, lookup_hash=lookup_hash, token=token, made_at=now)
    link.birth_dates = [LinkBirthDate(birth_on=patient.birth_on, used_from_at=now)]
    session.add(link)
    session.add(Gate(lookup_hash=lookup_hash, handle=patient.handle, state="nothing_due", revision=0))
    if session.get(GateTries, patient.handle) is None:
        session.add(GateTries(handle=patient.handle, failures=0))
    session.flush()
    session.add(GateProof(lookup_hash=lookup_hash, proof_hash=_proof_hash(raw, patient.birth_on), current=True))
    session.flush()
    return link


def _proof_hash(raw: bytes, born: date) -> bytes:
    return derive.stored_digest(derive.proof(raw, born))


def _end(session: Session, link: Link, state: str, now: datetime) -> None:
    """From now on tries on this link count for it alone: whoever stole it must not be able to lock the next one.

    It takes over the tries of the patient, and whether they had locked.
    """
    link.ended_at, link.end_state = now, state
    gate = session.get_one(Gate, link.lookup_hash)
    tries = session.get_one(GateTries, gate.handle)
    gate.state, gate.nonce, gate.ciphertext = state, None, None
    gate.handle = secrets.token_hex(16)
    session.add(GateTries(handle=gate.handle, failures=tries.failures, locked_at=tries.locked_at))
    session.flush()


def end_links(session: Session, patient: Patient, *, now: datetime) -> None:
    """Nothing will be due again: death, withdrawal, transfer. Sealed forms that are still on a phone may arrive."""
    link = find_live_link(session, patient)
    if link is not None:
        _end(session, link, "ended", now)


def revive_link(session: Session, patient: Patient, *, now: datetime, by_id: int | None = None) -> Link:
    """After an end was taken back: the link that it ended opens again, so that what is on a phone or in a letter still works.

    Where its secret is gone by now there is a new one. Publish the sheet afterwards.
    """
    ended = select(Link).where(Link.patient_id == patient.id).order_by(Link.id.desc()).limit(1)
    link = session.scalars(ended).one_or_none()
    if link is None or link.end_state != "ended" or link.token is None:
        return live_link(session, patient, now=now)
    link.ended_at = link.end_state = None
    gate = session.get_one(Gate, link.lookup_hash)
    gate.handle, gate.state = patient.handle, "nothing_due"
    session.flush()
    _derive_from(session, link, patient.birth_on, now)  # it may have been corrected meanwhile
    audit(session, "link:revived", f"patient {patient.id}", now=now, by_id=by_id)
    return link


def follow_end(session: Session, patient: Patient, *, now: datetime, by_id: int | None = None) -> None:
    """The link ends where nothing is expected of the patient any more, and one that had ended opens again where something is.

    Of a record that was entered in error nothing is expected either.
    """
    if left_on(patient) is not None or patient.taken_back_at is not None:
        end_links(session, patient, now=now)
        return
    last = session.scalars(select(Link).where(Link.patient_id == patient.id).order_by(Link.id.desc()).limit(1)).first()
    if last is not None and last.end_state == "ended":
        revive_link(session, patient, now=now, by_id=by_id)


def replace_link(session: Session, patient: Patient, *, now: datetime, by_id: int | None = None) -> Link:
    """A lost or stolen link: the old one fetches nothing more. It still uploads, and what comes by it is held for a person."""
    for record in (
        patient,
        *aliases_of(session, patient),
    ):  # of a duplicate's link nobody knows whether it is the lost one
        old = find_live_link(session, record)
        if old is not None:
            _end(session, old, "replaced", now)
            _allow_all_tries(session, record)  # nobody has tried the new link yet
    audit(session, "link:replaced", f"patient {patient.id}", now=now, by_id=by_id)
    return live_link(session, patient, now=now)


def correct_birth_date(
    session: Session, patient: Patient, born: date, *, now: datetime, by_id: int | None = None
) -> None:
    """Derives the live link again, from the corrected date. Publish the sheet afterwards.

    Earlier proofs still upload and earlier answer keys still verify.
    """
    if born == patient.birth_on:
        return
    patient.birth_on, patient.birth_year = born, born.year
    audit(session, "patient:birth_date_corrected", f"patient {patient.id}", now=now, by_id=by_id)
    link = find_live_link(session, patient)
    if link is not None:
        _derive_from(session, link, born, now)


def _derive_from(session: Session, link: Link, born: date, now: datetime) -> None:
    """The gate opens with this date from now on; nothing changes where it does already."""
    if link.token is None or (link.birth_dates and link.birth_dates[0].birth_on == born):
        return
    session.execute(update(GateProof).where(GateProof.lookup_hash == link.lookup_hash).values(current=False))
    proof_hash = _proof_hash(read_token(link.token), born)
    session.add(GateProof(lookup_hash=link.lookup_hash, proof_hash=proof_hash, current=True))
    session.add(LinkBirthDate(link_id=link.id, birth_on=born, used_from_at=now))
    session.flush()
    session.refresh(link, ["birth_dates"])


def unlock(session: Session, patient: Patient, *, now: datetime, by_id: int | None = None) -> None:
    """After five wrong birth dates: a person at the clinic has spoken to the patient. A link that was replaced stays locked."""
    allowed = [_allow_all_tries(session, each) for each in (patient, *aliases_of(session, patient))]
    if any(allowed):
        audit(session, "link:unlocked", f"patient {patient.id}", now=now, by_id=by_id)


def _allow_all_tries(session: Session, patient: Patient) -> bool:
    """False for a patient who never had a link."""
    tries = session.get(GateTries, patient.handle)
    if tries is not None:
        tries.failures, tries.locked_at = 0, None
    return tries is not None


def forget_tokens(session: Session, *, now: datetime) -> int:
    """Wipes token and birth dates of links that ended over 400 days ago; returns how many."""
    old = select(Link).where(Link.ended_at < now - timedelta(days=TOKEN_KEPT_DAYS), Link.token.is_not(None))
    links = list(session.scalars(old))
    for link in links:
        link.token = None
        for used in link.birth_dates:
            used.birth_on = None
    return len(links)
