"""First set-up of a data folder: schema, the clinic's row, its sealing key. Safe to repeat; never beside a running server."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.crypto.envelope import SUITE_ID, public_point
from server.models import Clinic, SealingKey
from server.models.migrate import upgrade
from server.runtime import Runtime
from server.trust.audit import audit
from server.trust.keys import KeyFolder


class NotReady(RuntimeError):
    """What is missing before the server may start, and what to do about it."""


@dataclass(frozen=True)
class ClinicEntry:
    """What the first set-up needs to know. Live mode needs all three numbers: the database refuses it otherwise."""

    name: str
    mode: str
    phone: str
    phone_hours: str
    closed_phone: str
    emergency_number: str
    time_zone: str
    base_url: str
    languages: str = "en,es"
    default_plan: str = "standard@1"


def migrate(runtime: Runtime) -> None:
    """Brings the schema up to date. Raises FolderBusy beside a running server."""
    with runtime.lock.serving():
        upgrade(runtime.store.engine)


def set_up_clinic(session: Session, entry: ClinicEntry, keys: KeyFolder, *, now: datetime) -> Clinic:
    clinic = session.get(Clinic, 1)
    if clinic is None:
        clinic = Clinic(id=1, **entry.__dict__)
        session.add(clinic)
        audit(session, "clinic:set_up", "clinic 1", now=now, mode=entry.mode)
    if session.scalars(select(SealingKey).where(SealingKey.retired_at.is_(None))).first() is None:
        key_id, public = keys.new_sealing_key()
        session.add(SealingKey(key_id=key_id, suite=SUITE_ID, point=public_point(public), made_at=now))
        audit(session, "key:made", f"sealing key {key_id}", now=now)
    session.flush()
    return clinic


def check_ready(runtime: Runtime) -> None:
    """Raises NotReady unless clinic, key and, in live mode, the numbers for patients are there."""
    with runtime.store.reading() as session:
        clinic = session.get(Clinic, 1)
        key = session.scalars(select(SealingKey).where(SealingKey.retired_at.is_(None))).first()
    if clinic is None or key is None:
        raise NotReady("this data folder has no clinic yet; run `yearmark demo` or `yearmark clinic` first")
    numbers = (clinic.phone, clinic.closed_phone, clinic.emergency_number)
    if clinic.mode == "live" and not all(number.strip() for number in numbers):
        raise NotReady(
            "a live clinic needs its telephone, the number when closed and the emergency number; run `yearmark clinic`"
        )
