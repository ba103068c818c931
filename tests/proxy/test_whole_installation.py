"""A clinic installed for real, behind TLS on this machine, in one walk by the doors that people use; everybody in it is invented.

Set-up, second step, texts, accounts, enrolment, an answer, copies, an answer after them; the machine is lost, and everything on it;
restore, the lost answer given anew under the same link, release, another answer; an upgrade. The mail server is the tests' own, and
Caddy makes its certificate itself. The upgrade goes by the steps of server/recipes/README.md. No migration is ever undone, so the
database of the version before is made as that version would have left it, after the copy that it would have made.
"""

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Playwright

from tests.browsers import CHROMIUM_FLAGS, chromium_path
from tests.cli.shell import Shell, refusal
from tests.journeys.phone import WEEK_6_DAYS
from tests.journeys.site import free_port
from tests.proxy.caddy import caddy_before, reason_missing
from tests.proxy.live_clinic import LiveClinic
from tests.proxy.staff_member import StaffMember
from tests.proxy.walk import Walk
from tests.reminders.peer import mail_server
from tests.version_before import left_by_the_version_before

ANSWERS = """
name = "Harbour Shoulder Clinic (invented)"
languages = "en,es"
phone = "555 0100"
phone_hours = {{ en = "Monday to Friday, 8 to 16", es = "lunes a viernes, de 8 a 16" }}
closed_phone = "555 0101"
emergency_number = "112"
time_zone = "Europe/Madrid"
base_url = "{address}"
mail_from = "Harbour <follow-up@harbour-shoulder.test>"
smtp = "127.0.0.1:{mail_port}"

[data_manager]
name = "Dora Quill"
email = "dora@harbour-shoulder.test"
"""
MANAGER = ("dora@harbour-shoulder.test", "lantern meadow kestrel 77")
NURSE = ("ines@harbour-shoulder.test", "seven grey geese flying over")
BORN = {"Adela": date(1952, 2, 29), "Benita": date(1948, 7, 3), "Celia": date(1950, 5, 5)}
# What `yearmark check` says of a clinic that was just set up, and what this walk sees to.
NOT_YET = (
    "No data manager has set up a second step",
    "descriptive texts wait for a decision",
    "There is no privacy notice in English and Spanish",
    "Consents are asked for without a text",
    "Nobody is named who is told when a safety answer waits",
    "The keys were never copied",
    "The data were never copied",
    "No copy was ever restored",
)


@pytest.fixture
def browser(playwright: Playwright) -> Iterator[Browser]:
    made = playwright.chromium.launch(executable_path=chromium_path(), args=list(CHROMIUM_FLAGS))
    yield made
    made.close()


@pytest.fixture
def walk(browser: Browser, tmp_path: Path) -> Iterator[Walk]:
    """Nothing is there yet but an empty machine, and what is not the clinic's: the web server in front and the mail server."""
    reason = reason_missing()
    if reason:
        pytest.skip(f"caddy: {reason}")
    clinic, caddy = LiveClinic(tmp_path / "machine"), tmp_path / "caddy"
    for folder in (clinic.machine, caddy):
        folder.mkdir()
    with mail_server() as mail, caddy_before(clinic.port, caddy, free_port()) as proxy:
        yield Walk(browser, clinic, f"https://{proxy.host}", mail)
        clinic.kill()


def test_a_clinic_is_installed_answered_lost_restored_answered_again_and_upgraded(walk: Walk, tmp_path: Path) -> None:
    set_up(walk)
    manager = the_manager_signs_in_and_decides(walk)
    the_manager_enters_what_patients_are_told(manager)
    nurse = the_manager_invites_a_nurse(walk, manager)
    for name in ("Adela", "Celia"):
        enrol(walk, nurse, name)
    walk.clinic.tick()
    walk.answer(walk.link_mailed_to(address_of("Adela")), BORN["Adela"])
    answered = walk.form_shown(nurse, "Adela")
    enrol(walk, nurse, "Benita")
    copies = copy_all(walk, tmp_path)
    nothing_is_left_to_do_but_what_a_test_cannot_have(walk)
    phone = walk.answer(walk.link_mailed_to(address_of("Celia")), BORN["Celia"])
    walk.form_shown(nurse, "Celia")

    lose_the_machine(walk)
    bring_it_back(walk, copies)
    nothing_is_sent_before_the_release(walk)
    said = walk.answer_anew(phone, walk.link_mailed_to(address_of("Celia")))
    assert "had to go back to an older copy of its records" in said
    release(walk, manager)
    walk.clinic.tick()
    walk.answer(walk.link_mailed_to(address_of("Benita")), BORN["Benita"])
    nurse.sign_in()
    assert walk.form_shown(nurse, "Adela") == answered
    answered_later = [walk.form_shown(nurse, name) for name in ("Benita", "Celia")]

    upgrade(walk, tmp_path)
    assert [walk.form_shown(nurse, name) for name in BORN] == [answered, *answered_later]
    manager.sign_out()
    manager.sign_in_without_the_app()
    assert "messages sent" in manager.go("/backups")


def set_up(walk: Walk) -> None:
    walk.clinic.set_up(ANSWERS.format(address=walk.front, mail_port=walk.mail.port), MANAGER[1])
    found = left_to_do(walk)
    assert [each for each in NOT_YET if each not in found] == []
    walk.clinic.start()


def left_to_do(walk: Walk) -> str:
    """What is not ready for patients, with what to do."""
    checked = Shell(walk.clinic.data).on_data("check")
    assert checked.exit_code == 1, checked.output
    return checked.stdout.partition("Not ready for patients")[0]


def the_manager_signs_in_and_decides(walk: Walk) -> StaffMember:
    manager = walk.member(*MANAGER)
    manager.give_password()
    manager.set_up_app()
    manager.go("/texts")
    why = "The owners' texts are on order; asked in plain words until then."
    manager.send("form[action$='/texts/decision']", "sure", words=why)
    return manager


def the_manager_enters_what_patients_are_told(manager: StaffMember) -> None:
    words = {"title-en": "Your data", "content-en": "We keep answers."}
    words |= {"title-es": "Sus datos", "content-es": "Guardamos respuestas."}
    for kind in ("privacy", "contact"):
        manager.go(f"/notices/{kind}/new")
        assert "Nothing is installed yet" in manager.send("form[action$='/notices/check']", version="1", **words)
        with manager.page.expect_navigation():
            manager.page.click("button[formaction$='/notices/install']")
        assert "It is in force" in manager.page.inner_text("main")


def the_manager_invites_a_nurse(walk: Walk, manager: StaffMember) -> StaffMember:
    """The nurse takes the link from the mail, and is then named as the reader of safety answers."""
    email, name = NURSE[0], "Ines Marín"
    manager.go("/accounts/new")
    manager.send("form", "by_mail", name=name, email=email, role="nurse", present_password=manager.password)
    nurse = walk.member(*NURSE)
    nurse.take_invitation(walk.link_mailed_to(email))
    nurse.set_up_app()
    manager.go("/settings/safety")
    manager.page.select_option("[name=reader_id]", label=name)
    manager.send("form")
    return nurse


def address_of(name: str) -> str:
    return f"{name.lower()}@patient.test"


def enrol(walk: Walk, nurse: StaffMember, name: str) -> None:
    """Operated six weeks ago, so that a form is open and its message due."""
    operated_on = datetime.now(UTC).date() - timedelta(days=WEEK_6_DAYS)
    nurse.go("/patients/new")
    nurse.send(
        "form",
        "right_shoulder",
        "consent_contact",
        first_name=name,
        last_name="Ardent",
        birth_on=BORN[name].isoformat(),
        right_surgery_on=operated_on.isoformat(),
        email=address_of(name),
    )
    walk.patients[name] = int(re.findall(r"/patients/(\d+)/enrolled", nurse.page.url)[0])


@dataclass(frozen=True)
class Copies:
    data: Path
    keys: Path
    settings: Path


def copy_all(walk: Walk, elsewhere: Path) -> Copies:
    """To two other places, the machine's settings beside the keys; and the proof that the copy is good."""
    walk.clinic.command("backup", "--to", str(elsewhere / "copies"))
    walk.clinic.command("backup-keys", "--to", str(elsewhere / "keys-apart"))
    walk.clinic.command("drill")
    (data,), (keys,) = ((elsewhere / place).iterdir() for place in ("copies", "keys-apart"))
    settings = elsewhere / "yearmark.env"
    shutil.copy(walk.clinic.data / "yearmark.env", settings)
    return Copies(data, keys, settings)


def nothing_is_left_to_do_but_what_a_test_cannot_have(walk: Walk) -> None:
    found = left_to_do(walk)
    assert [each for each in NOT_YET if each in found] == []
    assert f"The address {walk.front} is an example" in found


def lose_the_machine(walk: Walk) -> None:
    walk.clinic.kill()
    shutil.rmtree(walk.clinic.machine)


def bring_it_back(walk: Walk, copies: Copies) -> None:
    walk.clinic.data.mkdir(parents=True)
    shutil.copy(copies.settings, walk.clinic.data)
    assert "Nothing is sent yet" in walk.clinic.command("restore", str(copies.data), "--keys", str(copies.keys))
    walk.clinic.start()


def nothing_is_sent_before_the_release(walk: Walk) -> None:
    """Though Benita's message is due: it leaves as soon as the clinic is released."""
    before = walk.mail.message_ids()
    assert walk.clinic.tick()["sent"] == 0
    assert walk.mail.message_ids() == before


def release(walk: Walk, manager: StaffMember) -> None:
    manager.sign_in()
    said = manager.go("/backups")
    assert "Until you release it no message" in said and "One message waits" in said
    manager.send("form[action*=release]", "waiting-sent")


def upgrade(walk: Walk, elsewhere: Path) -> None:
    assert walk.clinic.stop() == 0
    walk.clinic.command("backup", "--to", str(elsewhere / "copies"))
    database = walk.clinic.data / "yearmark.sqlite3"
    left_by_the_version_before(database, elsewhere / "before.sqlite3")
    # What SQLite keeps beside a database would spoil another one.
    for file in walk.clinic.data.glob(f"{database.name}*"):
        file.unlink()
    shutil.move(elsewhere / "before.sqlite3", database)
    assert "run `yearmark migrate` first" in refusal(Shell(walk.clinic.data).on_data("serve"))
    walk.clinic.command("migrate")
    assert "The database answers, and is of this version." in Shell(walk.clinic.data).on_data("check").output
    walk.clinic.start()
    assert walk.clinic.is_well()
