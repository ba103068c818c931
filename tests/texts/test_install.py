"""An installed text never changes: installed once, replaced only by a new translation version, all or nothing, audited."""

import json
from typing import Any

import pytest
from sqlalchemy import select

from server.models import AuditEntry, InstalledText, Link
from server.queries.texts_in_force import read_wording
from server.texts.check import check_file
from server.texts.install import Installation, InstallRefused, LicenceProblem, install_text, read_licence
from tests.clinic_case import NOW, Case
from tests.texts.making import LICENCE, licence, text_file


def install(case: Case, data: bytes, *, replaces: str = "", **changed: str) -> Installation:
    checked = check_file(data, case.runtime.library)
    with case.store.writing() as session:
        return install_text(session, checked, licence(**changed), replaces=replaces, now=case.now, by_id=None)


def kept(case: Case) -> list[tuple[str, bool]]:
    """The id of each text, and whether it is in force."""
    with case.store.reading() as session:
        rows = session.scalars(select(InstalledText).order_by(InstalledText.text_id))
        return [(row.text_id, row.replaced_at is None) for row in rows]


def entries(case: Case) -> list[Any]:
    with case.store.reading() as session:
        wanted = select(AuditEntry.detail).where(AuditEntry.action == "text:installed")
        return [json.loads(detail or "{}") for detail in session.scalars(wanted)]


def test_a_text_is_kept_with_its_bytes_its_hash_and_its_licence(case: Case) -> None:
    data = text_file()
    assert install(case, data) == Installation("sst@1/es/licensed-1", False, None)
    with case.store.reading() as session:
        row = session.get_one(InstalledText, "sst@1/es/licensed-1")
        assert row.content.encode() == data
        assert (row.owner, row.licence_reference) == (LICENCE["owner"], LICENCE["licence_reference"])
        assert (row.instrument, row.instrument_version, row.language) == ("sst", "1", "es")
        assert entries(case)[0] | {"replaces": None} == {**LICENCE, "sha256": row.sha256.hex(), "replaces": None}


def test_the_same_bytes_again_are_already_installed(case: Case) -> None:
    install(case, text_file())
    assert install(case, text_file(), owner="Somebody Else") == Installation("sst@1/es/licensed-1", True, None)
    assert kept(case) == [("sst@1/es/licensed-1", True)]
    assert len(entries(case)) == 1


@pytest.mark.parametrize(
    ("data", "replaces", "version", "said"),
    [
        (
            text_file(words="other"),
            "sst@1/es/licensed-1",
            "2.0",
            "with other words, and an installed text never changes",
        ),
        (text_file(name="2"), "sst@1/es/licensed-1", "1.0", "only a new translation version can replace it"),
        (
            text_file(name="2"),
            "",
            "2.0",
            "If the new one replaces it from now on, say that it replaces sst@1/es/licensed-1",
        ),
        (text_file(name="2"), "sst@1/en/licensed-1", "2.0", "say that it replaces sst@1/es/licensed-1"),
        (text_file(language="en"), "sst@1/es/licensed-1", "2.0", "there is no text of sst@1 in en in force"),
    ],
)
def test_another_text_of_the_same_language_is_refused(
    case: Case, data: bytes, replaces: str, version: str, said: str
) -> None:
    install(case, text_file())
    with pytest.raises(InstallRefused, match=said):
        install(case, data, replaces=replaces, translation_version=version)
    assert kept(case) == [("sst@1/es/licensed-1", True)]
    assert len(entries(case)) == 1


def test_a_new_translation_version_replaces_the_older_which_stays(case: Case) -> None:
    install(case, text_file())
    done = install(case, text_file(name="2", words="newer"), replaces="sst@1/es/licensed-1", translation_version="2.0")
    assert done == Installation("sst@1/es/licensed-2", False, "sst@1/es/licensed-1")
    assert kept(case) == [("sst@1/es/licensed-1", False), ("sst@1/es/licensed-2", True)]
    with case.store.reading() as session:
        wording = read_wording(session, case.runtime.library)
        assert wording.texts("sst@1", "es")["es"]["title"] == "newer title"
    with pytest.raises(InstallRefused, match="a text that was replaced does not come back"):
        install(case, text_file(), replaces="sst@1/es/licensed-2", translation_version="3.0")


def test_when_it_fails_half_way_nothing_is_kept(case: Case) -> None:
    install(case, text_file())
    checked = check_file(text_file(name="2", words="newer"), case.runtime.library)
    with pytest.raises(ZeroDivisionError), case.store.writing() as session:
        newer = licence(translation_version="2.0")
        install_text(session, checked, newer, replaces="sst@1/es/licensed-1", now=case.now, by_id=None)
        raise ZeroDivisionError
    assert kept(case) == [("sst@1/es/licensed-1", True)]


def test_every_live_link_gets_the_new_words(case: Case) -> None:
    patient_id = case.enrol(language="es")
    install(case, text_file())
    with case.store.reading() as session:
        assert session.scalars(select(Link.sheet_stale).where(Link.patient_id == patient_id)).all() == [True]
    case.process()
    phone = case.phone(patient_id)
    phone.fetch()
    sheet = phone.sheet
    assert sheet["texts"]["sst@1"]["es"]["text_id"] == "sst@1/es/licensed-1"
    assert sheet["texts"]["sst@1"]["en"]["text_id"] == "sst@1/en/descriptive-1"


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("owner", " "),
        ("owner", "x" * 201),
        ("licence_reference", "a\u0000b"),
        ("translation_version", "x" * 41),
        ("dated_on", "31.1.2026"),
        ("dated_on", "2026-06-16"),
        ("dated_on", "1026-01-31"),
    ],
)
def test_what_is_typed_about_the_licence_is_checked(field: str, typed: str) -> None:
    with pytest.raises(LicenceProblem) as caught:
        read_licence({**LICENCE, field: typed}, today=NOW.date())
    assert list(caught.value.errors) == [field]
