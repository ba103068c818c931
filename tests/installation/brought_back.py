"""A small clinic that is brought back on another machine, and the phones of its patients."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta

from sqlalchemy import select

from server.installation.backup import Copy
from server.installation.restore import Wanted, restore
from server.models import Patient
from tests.clinic_case import NOW, Case
from tests.installation.copied import Copied, opened
from tests.stranger import Stranger, best

RESTORED, AGAIN = NOW + timedelta(hours=7), NOW + timedelta(hours=9)


@contextmanager
def restored(copied: Copied, data: Copy, keys: Copy, at: datetime = RESTORED) -> Iterator[Case]:
    """The clinic on another machine, an hour after it was brought back there."""
    settings, now = copied.new_machine(f"machine-{at:%d-%H}"), at + timedelta(hours=1)
    restore(settings, Wanted(data.folder, keys.folder), now=at)
    case = Case(replace(opened(settings), real_clock=lambda: now), copied.case.make_app, now)
    yield case
    case.store.engine.dispose()


def id_of(case: Case, name: str) -> int:
    with case.store.reading() as session:
        return next(patient.id for patient in session.scalars(select(Patient)) if patient.first_name == name)


def phone_of(case: Case, name: str) -> Stranger:
    phone = case.phone(id_of(case, name))
    phone.fetch()
    return phone


def filled(phone: Stranger, case: Case) -> str:
    return phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now))
