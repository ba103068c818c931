"""Whether a clinic is ready: not while keys that are in use are gone from the key folder, the whole of them or a patient's."""

import pytest

from tests.clinic_case import Case
from tests.installation.conftest import case, live
from tests.installation.test_readiness import found, said

__all__ = ["case", "live"]

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def test_a_key_folder_that_is_gone_is_found_before_all_else_on_the_list(live: Case) -> None:
    live.enrol()
    assert found(live, "keys_there").ready
    away = live.runtime.keys.folder.rename(live.runtime.keys.folder.with_name("away"))
    assert f"are not in {live.runtime.keys.folder}" in said(live, "keys_there")
    away.rename(live.runtime.keys.folder)
    assert found(live, "keys_there").ready


def test_the_key_of_one_patient_of_long_ago_is_missed(live: Case) -> None:
    """Beyond the sample that a start looks at."""
    for number in range(7):
        live.enrol(first_name=f"Ada{number}")
    first = min((live.runtime.keys.folder / "patient").rglob("*.key"), key=lambda file: file.stat().st_mtime_ns)
    kept = first.read_bytes()
    first.unlink()
    one = found(live, "keys_there")
    assert not one.ready and one.what.number == 1 and "is not in" in one.what.text
    first.write_bytes(kept)
    assert found(live, "keys_there").ready
