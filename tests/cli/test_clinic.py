"""`yearmark clinic`: sets up a live clinic, changes what it tells its patients, and refuses what cannot stand."""

import json

import pytest
from sqlalchemy import select

from server.app import create_app
from server.installation.runtime import Runtime
from server.models import AuditEntry, Clinic, Link
from server.queries.clock import the_clinic
from tests.cli.shell import CLINIC, Shell, refusal
from tests.clinic_case import Case


def test_a_live_clinic_is_set_up_with_what_was_typed(live: Shell, inside: Runtime) -> None:
    with inside.store.reading() as session:
        clinic = the_clinic(session)
        assert clinic.mode == "live"
        kept = {name: getattr(clinic, name.removeprefix("--").replace("-", "_")) for name in CLINIC}
    assert kept == {**CLINIC, "--phone-hours": {"en": CLINIC["--phone-hours"]}}


def test_the_set_up_says_where_the_clinic_lies_and_what_to_back_up(shell: Shell) -> None:
    said = shell.clinic()
    assert said.exit_code == 0
    assert f"set up in {shell.data}" in said.stdout
    assert "`keys`" in said.stdout


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"time_zone": "Europe/Atlantis"}, "--time-zone: “Europe/Atlantis” is not a time zone; write an IANA name"),
        ({"time_zone": "Europe"}, "--time-zone: “Europe” is not"),
        ({"time_zone": ""}, "--time-zone: Enter the time zone."),
        ({"time_zone": "../../etc/passwd"}, "--time-zone: “../../etc/passwd” is not"),
        (
            {"base_url": "http://followup.harbour-shoulder.test"},
            "--base-url: “http://followup.harbour-shoulder.test” cannot be it",
        ),
        ({"base_url": "followup.harbour-shoulder.test"}, "--base-url: “"),
        ({"base_url": "https://"}, "--base-url: “"),
        ({"base_url": "https://a.test/p/"}, "--base-url: “"),
        ({"base_url": "https://a.test:port"}, "--base-url: “"),
        ({"base_url": "https://nora@a.test"}, "--base-url: “"),
        ({"phone": "  "}, "--phone: Enter the telephone."),
        ({"closed_phone": "the hospital"}, "--closed-phone: “the hospital” is not a telephone number"),
        ({"emergency_number": ""}, "--emergency-number: Enter the emergency number."),
        (
            {"emergency_number": "112 / 061"},
            "--emergency-number: “112 / 061” is not a telephone number for emergencies.",
        ),
        ({"phone": "5" * 41}, "--phone: This is longer than 40 characters"),
        ({"name": " "}, "--name: Enter the name."),
        ({"languages": "en,,es"}, "--languages: “en,,es” is no list of languages; write codes with commas between"),
        ({"languages": "sp"}, "--languages: “sp”"),
        ({"languages": "en,en"}, "--languages: “en,en”"),
        ({"phone_hours": "8\x0716"}, "--phone-hours: first language: This holds a sign that cannot be printed."),
    ],
)
def test_an_entry_that_cannot_stand_is_refused_and_nothing_is_set_up(
    shell: Shell, changed: dict[str, str], says: str
) -> None:
    assert says in refusal(shell.clinic(**changed))
    assert not (shell.data / "yearmark.sqlite3").exists()


def test_an_odd_number_that_stands_may_be_typed_again_and_no_other(live: Shell, inside: Runtime) -> None:
    with inside.store.writing() as session:
        the_clinic(session).closed_phone = "de 8 a 16"
    said = live.clinic(closed_phone="de 8 a 16", phone="555 0200")
    assert (said.exit_code, said.stdout.split(".")[0]) == (0, "Changed: --phone")
    assert "--closed-phone: “de 9 a 16” is not a telephone number" in refusal(live.clinic(closed_phone="de 9 a 16"))


def test_everything_that_is_wrong_is_said_at_once(shell: Shell) -> None:
    said = refusal(shell.clinic(time_zone="Nowhere", phone="", base_url="http://a.test"))
    assert all(option in said for option in ("--time-zone", "--phone", "--base-url"))


@pytest.mark.parametrize(
    "address", ["http://127.0.0.1:8017", "http://localhost", "http://[::1]:8017", "https://a.test/"]
)
def test_an_address_on_this_machine_needs_no_certificate(shell: Shell, address: str) -> None:
    assert shell.clinic(base_url=address).exit_code == 0


def test_a_second_run_changes_the_numbers_and_notes_who_was_told_what(live: Shell, inside: Runtime) -> None:
    said = live.clinic(phone="555 0200", base_url="https://new.harbour-shoulder.test")
    assert (said.exit_code, said.stdout.split(".")[0]) == (0, "Changed: --phone, --base-url")
    with inside.store.reading() as session:
        clinic = the_clinic(session)
        assert (clinic.phone, clinic.base_url) == ("555 0200", "https://new.harbour-shoulder.test")
        (entry,) = session.scalars(select(AuditEntry).where(AuditEntry.action == "clinic:changed"))
        detail = json.loads(entry.detail or "{}")
    assert detail["before"] == {"phone": CLINIC["--phone"], "base_url": CLINIC["--base-url"]}
    assert detail["after"] == {"phone": "555 0200", "base_url": "https://new.harbour-shoulder.test"}


def test_a_second_run_with_the_same_entries_changes_nothing_and_says_so(live: Shell, inside: Runtime) -> None:
    assert "nothing was changed" in live.clinic().stdout
    with inside.store.reading() as session:
        assert "clinic:changed" not in session.scalars(select(AuditEntry.action)).all()


def test_phones_get_the_new_numbers_with_the_next_pass(live: Shell, inside: Runtime) -> None:
    case = Case(inside, create_app, inside.real_clock())
    patient_id = case.enrol()
    assert live.clinic(closed_phone="555 0999").exit_code == 0
    with inside.store.reading() as session:
        assert session.scalars(select(Link.sheet_stale)).all() == [True]
    assert live.on_data("tick").exit_code == 0
    phone = case.phone(patient_id)
    phone.fetch()
    assert phone.sheet["clinic"]["closed_phone"] == "555 0999"


def test_a_demo_is_never_turned_into_a_live_clinic(demo: Shell, inside: Runtime) -> None:
    assert "holds a demo" in refusal(demo.clinic())
    with inside.store.reading() as session:
        assert session.scalars(select(Clinic.mode)).one() == "demo"


def test_nothing_is_changed_beside_a_running_server(live: Shell, inside: Runtime) -> None:
    with inside.lock.serving():
        assert "stop it first" in refusal(live.clinic(phone="555 0200"))
    with inside.store.reading() as session:
        assert the_clinic(session).phone == CLINIC["--phone"]


def test_languages_are_changed_only_when_they_are_named(live: Shell, inside: Runtime) -> None:
    assert "Changed: --languages" in live.clinic(languages="en, es, ar").stdout
    assert "nothing was changed" in live.clinic().stdout
    with inside.store.reading() as session:
        assert the_clinic(session).languages == "en,es,ar"


def test_hours_are_given_once_for_each_language_and_one_that_is_not_named_stays(live: Shell, inside: Runtime) -> None:
    assert "Changed: --phone-hours" in live.clinic(phone_hours="es=lunes a viernes, de 8 a 16").stdout
    assert "Changed: --phone-hours" in live.clinic(phone_hours="Monday to Thursday").stdout
    with inside.store.reading() as session:
        hours = dict(the_clinic(session).phone_hours)
    assert hours == {"en": "Monday to Thursday", "es": "lunes a viernes, de 8 a 16"}


def test_hours_in_another_language_alone_set_no_clinic_up(shell: Shell) -> None:
    assert "first language (en)" in refusal(shell.clinic(phone_hours="es=lunes a viernes"))


def test_surgeons_and_sender_may_be_left_out_and_stay_when_they_are(live: Shell, inside: Runtime) -> None:
    said = live.clinic(surgeons="Dr Quillhurst", mail_from="Harbour <office@harbour-shoulder.test>").stdout
    assert "Changed: --mail-from, --surgeons" in said
    assert "nothing was changed" in live.clinic().stdout
    with inside.store.reading() as session:
        clinic = the_clinic(session)
        assert (clinic.surgeons, clinic.mail_from) == ("Dr Quillhurst", "Harbour <office@harbour-shoulder.test>")
