"""Whether the key folder belongs to the database: asked before a server starts, since answers must never go to a key that nobody holds."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.crypto.fields import FieldProblem
from server.installation.runtime import Runtime
from server.models import Patient
from server.queries.current import sealing_key_in_use

SAMPLE = 5


def missing_keys(runtime: Runtime) -> str | None:
    """What is missing, in plain words; None when the keys are there.

    Looks at the live sealing key, at one sealed name, and at the keys of the newest patients who were not erased.
    """
    with runtime.store.reading() as session:
        found = _sealing(session, runtime) or _field(session, runtime) or _patients(session, runtime)
    if found is None:
        return None
    folder = runtime.keys.folder
    return (
        f"{found} in {folder}; bring the folder back from its backup, or let YEARMARK_KEYS name where it lies, and start again. "
        "Nothing is lost; nothing was changed."
    )


def key_problem(runtime: Runtime) -> str | None:
    """As `missing_keys`, and every patient looked at: what a copy, and whether the clinic is ready, depend on."""
    missing = missing_keys(runtime)
    if missing:
        return missing
    without, patients = patients_without_key(runtime)
    if not without:
        return None
    return (
        f"{without} of {patients} patients {'has' if without == 1 else 'have'} no key in {runtime.keys.folder}. Bring what is missing "
        "back from an earlier copy of the keys, or erase the patients. Earlier copies are as they were"
    )


def patients_without_key(runtime: Runtime) -> tuple[int, int]:
    """How many of those who were not erased have no key, and how many they are."""
    with runtime.store.reading() as session:
        handles = session.scalars(select(Patient.handle).where(Patient.erased_at.is_(None))).all()
    return len(set(handles) - runtime.keys.patients_with_key()), len(handles)


def _sealing(session: Session, runtime: Runtime) -> str | None:
    key = sealing_key_in_use(session)
    try:
        if key is not None:
            runtime.keys.sealing_key(key.key_id)
    except LookupError:
        return "the clinic's own sealing key is not"
    return None


def _field(session: Session, runtime: Runtime) -> str | None:
    """The set-up makes one, so that also a clinic without a patient has it."""
    try:
        if not runtime.keys.field_ring().keys:
            raise FieldProblem
        session.scalars(select(Patient.first_name).order_by(Patient.id).limit(1)).first()
    except FieldProblem:
        return "the key of names and birth dates is not"
    return None


def _patients(session: Session, runtime: Runtime) -> str | None:
    newest = select(Patient.handle).where(Patient.erased_at.is_(None)).order_by(Patient.id.desc()).limit(SAMPLE)
    try:
        for handle in session.scalars(newest):
            runtime.keys.patient_cipher(handle)
    except LookupError:
        return "keys of patients are not"
    return None
