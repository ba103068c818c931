"""Makes the invented clinic in an empty, migrated data folder, by playing its past (server.demo.simulation)."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

from server.demo.answering import Answering
from server.demo.binder import YEARS
from server.demo.desk import plan_desk
from server.demo.invent import PATIENTS, PLAYED_YEARS, first_day, invent_clinic
from server.demo.life import Life
from server.demo.notices import install_notices
from server.demo.safety import name_readers
from server.demo.saved_series import plan_saved_series
from server.demo.simulation import Simulation, Staff
from server.demo.stories import PatientStory
from server.demo.surgery import SURGEONS
from server.demo.visits import plan_not_enrolled
from server.installation.runtime import Runtime
from server.installation.set_up import ClinicEntry, set_up_clinic
from server.queries.clock import set_clock, the_clinic
from server.schedule.dates import anniversary, local_day, local_instant
from server.staff.account.accounts import create_account
from server.staff.account.passwords import hash_password

NEVER_ENROLLED = 45
TIME_ZONE = "Europe/Madrid"
# Every number is one that nobody has: a tap on a real phone must not call anybody, least of all an emergency line.
NUMBERS = {"phone": "555-0100", "closed_phone": "555-0144", "emergency_number": "555 0112"}
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
    """Plays the years up to now, or up to nine o'clock on `today`; returns the accounts with their passwords."""
    real_now = runtime.real_clock()
    until = real_now if today is None else opening_time(today)
    began_on = first_day(local_day(until, TIME_ZONE))
    accounts = [Account(role, email, new_password()) for role, email, _ in STAFF]
    simulation = Simulation(runtime, TIME_ZONE, began=opening_time(began_on), until=until, progress=progress)
    manager = _open_clinic(simulation, base_url, [hash_password(account.password) for account in accounts])
    plan_not_enrolled(simulation, anniversary(began_on, PLAYED_YEARS - YEARS), NEVER_ENROLLED)
    stories = invent_clinic(local_day(until, TIME_ZONE), patients=patients)
    answering = _plan_lives(simulation, stories)
    plan_desk(simulation, sum(story.on_paper for story in stories), answering)
    plan_saved_series(simulation)
    simulation.play()
    nurse, surgeon = simulation.staff.nurse_id, simulation.staff.surgeon_id
    name_readers(runtime, reader=nurse, deputy=surgeon, by_id=manager, now=until, today=local_day(until, TIME_ZONE))
    if today is not None:
        with runtime.store.writing() as session:
            set_clock(the_clinic(session), until, real_now)
    return accounts


def new_password() -> str:
    return "-".join(secrets.choice(WORDS) for _ in range(3)) + f"-{secrets.randbelow(900) + 100}"


def _open_clinic(simulation: Simulation, base_url: str, hashes: list[str]) -> int:
    """The id of the data manager's account."""
    with simulation.runtime.store.writing() as session:
        set_up_clinic(session, demo_entry(base_url), simulation.runtime.keys, now=simulation.now)
        ids = {
            role: create_account(session, email, name, role, password_hash, simulation.now).id
            for (role, email, name), password_hash in zip(STAFF, hashes, strict=True)
        }
        install_notices(session, now=simulation.now, by_id=ids["data_manager"])
    simulation.staff = Staff(ids["nurse"], ids["surgeon"])
    return ids["data_manager"]


def _plan_lives(simulation: Simulation, stories: list[PatientStory]) -> Callable[[int], Answering]:
    """What a pass finds new is told to the patient's life. Returned is who answers, by the patient's id."""
    lives = [Life(simulation, story) for story in stories]
    for life in lives:
        simulation.plan(simulation.office_time(life.story.enrolled_on, life.random), life.enrol)

    def answering(patient_id: int) -> Answering:
        return next(life.answering for life in lives if patient_id in (life.patient_id, life.alias_id))

    simulation.invited = lambda form: answering(form.patient_id).invited(form)
    simulation.flagged = lambda flag_id, patient_id: answering(patient_id).flagged(flag_id)
    return answering
