"""A key folder that went missing is never taken for a new one, and an erased patient is not a lost key."""

import pickle
import shutil
from pathlib import Path

import pytest
from sqlalchemy import select, update

from server.config import read_settings
from server.crypto.fields import FieldProblem
from server.installation.key_check import missing_keys
from server.installation.runtime import open_runtime
from server.models import Envelope, Patient
from server.trust.keys import KeyFolder, KeyMissing
from tests.clinic_case import Case, make_case
from tests.stranger import best


@pytest.fixture
def clinic(tmp_path: Path) -> Case:
    case = make_case(f"sqlite:///{tmp_path}/yearmark.sqlite3", tmp_path)
    case.enrol()
    return case


def opened_again(case: Case) -> str | None:
    return missing_keys(open_runtime(read_settings({}, data=case.runtime.settings.data)))


def test_with_all_keys_in_place_nothing_is_missing(clinic: Case) -> None:
    assert opened_again(clinic) is None


@pytest.mark.parametrize(
    ("gone", "words"),
    [("", "sealing key"), ("sealing", "sealing key"), ("field", "names"), ("patient", "keys of patients")],
)
def test_a_server_does_not_start_without_its_keys_and_makes_no_new_ones(clinic: Case, gone: str, words: str) -> None:
    folder = clinic.runtime.keys.folder / gone
    shutil.move(folder, folder.with_name("offline"))
    problem = opened_again(clinic)
    assert problem is not None
    assert words in problem
    assert "bring the folder back from its backup" in problem
    assert not any(folder.rglob("*.key"))


def test_a_brand_new_data_folder_gets_its_first_field_key_once(tmp_path: Path) -> None:
    first = open_runtime(read_settings({}, data=tmp_path / "new"))
    again = open_runtime(read_settings({}, data=tmp_path / "new"))
    assert first.store.ring == again.store.ring
    assert len(first.store.ring.keys) == 1


def test_an_empty_ring_seals_nothing() -> None:
    with pytest.raises(FieldProblem, match="key folder is empty"):
        KeyFolder(Path("/nonexistent")).field_ring().seal(b"x", "patient.first_name")


def test_a_patient_key_taken_away_is_gone_at_once_and_back_at_once(clinic: Case) -> None:
    with clinic.store.reading() as session:
        handle = session.scalars(select(Patient.handle)).one()
    keys = clinic.runtime.keys
    sealed = keys.patient_cipher(handle).seal(b"x", "c")
    file = next(keys.folder.glob("patient/*/*.key"))
    away = file.rename(file.with_suffix(".offline"))
    with pytest.raises(KeyMissing):
        keys.patient_cipher(handle)
    away.rename(file)
    assert keys.patient_cipher(handle).open(sealed, "c") == b"x"


@pytest.mark.parametrize(("erased", "reason"), [(False, "needs_key"), (True, "erased")])
def test_a_form_of_a_patient_without_key_is_held_for_the_key_unless_the_patient_was_erased(
    clinic: Case, erased: bool, reason: str
) -> None:
    phone = clinic.phone(1)
    phone.fetch()
    phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, clinic.now)))
    with clinic.store.writing() as session:
        handle = session.scalars(select(Patient.handle)).one()
        if erased:
            session.execute(update(Patient).values(erased_at=clinic.now))
    clinic.runtime.keys.erase_patient_key(handle)
    clinic.process()
    with clinic.store.reading() as session:
        assert session.scalars(select(Envelope.held_reason)).all() == [reason]


def test_a_pickle_of_the_folder_names_it_and_holds_no_key(clinic: Case) -> None:
    with clinic.store.reading() as session:
        handle = session.scalars(select(Patient.handle)).one()
    keys = clinic.runtime.keys
    sealed = keys.patient_cipher(handle).seal(b"x", "c")
    pickled = pickle.dumps(keys)
    found = list(keys.folder.rglob("*.key"))
    assert len(found) == 2 and not any(file.read_bytes() in pickled for file in found)
    assert pickle.loads(pickled).patient_cipher(handle).open(sealed, "c") == b"x"
