"""Makes the invented clinic in an empty, migrated data folder: one transaction, so that there is all of it or nothing."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from server.demo.invent import PATIENTS, first_day, invent_clinic
from server.demo.life import Life
from server.demo.surgery import SURGEONS
from server.demo.visits import log_not_enrolled
from server.demo.world import LINKS, World, make_world
from server.installation.runtime import Runtime
from server.installation.set_up import ClinicEntry, set_up_clinic
from server.links.publish import publish_sheet
from server.models import Clinic
from server.queries.clock import set_clock
from server.reminders.channels.contract import Notice
from server.reminders.channels.email.channel import email_channel
from server.reminders.tick import run_tick
from server.schedule.dates import local_day, local_instant
from server.staff.account.accounts import create_account
from server.staff.account.passwords import hash_password

TIME_ZONE = "Europe/Madrid"
# Every number is one that nobody has: a tap on a real phone must not call anybody, least of all an emergency line.
NUMBERS = {"phone": "555-0100", "closed_phone": "555-0144", "emergency_number": "555-0112"}
STAFF = (
    ("nurse", "nurse@clinic.example", "Nora Pennyreed"),
    ("surgeon", "surgeon@clinic.example", "Dr Quillhurst"),
    ("data_manager", "data@clinic.example", "Dario Olivareda"),
)
WORDS = (
    "amber",
    "birch",
    "cedar",
    "delta",
    "ember",
    "fable",
    "grove",
    "harbor",
    "island",
    "juniper",
    "kestrel",
    "lantern",
    "meadow",
)


@dataclass(frozen=True)
class Account:
    role: str
    email: str
    password: str


Progress = Callable[[float, str], None]


def demo_entry(base_url: str) -> ClinicEntry:
    return ClinicEntry(
        "demo",
        name="Larkenfield Shoulder Clinic (demo)",
        phone_hours={"en": "Monday to Friday, 8 to 16", "es": "De lunes a viernes, de 8 a 16"},
        surgeons=SURGEONS,
        time_zone=TIME_ZONE,
        base_url=base_url,
        **NUMBERS,
    )


def opening_time(today: date) -> datetime:
    """The instant that a demo's clock shows at its start when its day is given: nine in the morning there."""
    return local_instant(today, datetime.min.time().replace(hour=9), TIME_ZONE)


def seed(
    runtime: Runtime, *, base_url: str, today: date | None, progress: Progress, patients: int = PATIENTS
) -> list[Account]:
    """Plays 15 years up to now, or up to nine o'clock on `today`; returns the accounts with their passwords."""
    real_now = runtime.real_clock()
    until = real_now if today is None else opening_time(today)
    accounts = [Account(role, email, new_password()) for role, email, _ in STAFF]
    hashes = [hash_password(account.password) for account in accounts]
    with runtime.store.writing() as session:
        clinic, world = _open_clinic(runtime, session, base_url, hashes, until)
        if today is not None:
            set_clock(clinic, until, real_now)
        _play(world, patients, progress)
        letters = world.letters
    _deliver(runtime, letters)
    run_tick(runtime.store, runtime.library, LINKS, now=until)
    return accounts


def new_password() -> str:
    return "-".join(secrets.choice(WORDS) for _ in range(3)) + f"-{secrets.randbelow(900) + 100}"


def _open_clinic(
    runtime: Runtime, session: Session, base_url: str, hashes: list[str], until: datetime
) -> tuple[Clinic, World]:
    began_on = first_day(local_day(until, TIME_ZONE))
    began = opening_time(began_on)
    clinic = set_up_clinic(session, demo_entry(base_url), runtime.keys, now=began)
    staff = [
        create_account(session, email, name, role, password_hash, began)
        for (role, email, name), password_hash in zip(STAFF, hashes, strict=True)
    ]
    world = make_world(runtime, session, clinic, until=until, nurse_id=staff[0].id, surgeon_id=staff[1].id)
    log_not_enrolled(world, began_on, 45)
    return clinic, world


def _play(world: World, patients: int, progress: Progress) -> None:
    stories = invent_clinic(world.today, patients=patients)
    began = world.at(stories[0].enrolled_on, 0)
    length = (world.until - began).total_seconds()

    def told(at: datetime) -> None:
        progress(min(1.0, max(0.0, (at - began).total_seconds() / length)), f"{at.year}")

    world.told = told
    lives = [Life(world, story) for story in stories]
    for life in lives:
        life.begin()
    world.play()
    for life in lives:
        publish_sheet(world.session, life.patient, library=world.runtime.library, now=world.until, today=world.today)
    progress(1.0, "ready")


def _deliver(runtime: Runtime, letters: list[Notice]) -> None:
    """The letters of the last weeks, through the channel itself."""
    channel = email_channel(runtime.settings, None)
    for notice in letters:
        channel.send(notice)
