"""Whether a clinic is ready for patients: one small check for each reason why not, for `yearmark check` and the data manager's page.

To add one: a function that takes a Look and returns a Finding, named in CHECKS, and where its page is in `server/staff/settings/ready.py`.
"""

from datetime import datetime

from sqlalchemy.orm import Session

from server.installation.check_of_the_keys import keys_are_there
from server.installation.check_of_the_notices import consent_texts_are_there, privacy_notice_is_there
from server.installation.check_of_the_numbers import numbers_can_be_dialled
from server.installation.check_of_the_release import clinic_is_released
from server.installation.check_of_the_safety_net import safety_reader_is_named
from server.installation.checks_of_copies import data_are_copied, keys_are_copied, restore_is_proved
from server.installation.checks_of_staff import accounts_are_used, manager_has_second_factor, texts_are_decided
from server.installation.checks_of_the_address import address_is_own, sender_is_own
from server.installation.checks_of_the_machine import (
    clock_runs_forward,
    disk_has_room,
    files_are_private,
    is_live,
    keys_lie_apart,
    zone_is_a_place,
)
from server.installation.checks_over_the_network import certificate_is_good, mail_server_answers
from server.installation.finding import Check, Finding, Look
from server.installation.runtime import Runtime
from server.installation.set_up import NotReady, check_clinic
from server.queries.clock import the_clinic
from server.words.phrase import phrase

__all__ = ["Finding", "database_is_usable", "findings"]

CHECKS: tuple[Check, ...] = (
    is_live,
    keys_are_there,
    clinic_is_released,
    address_is_own,
    numbers_can_be_dialled,
    sender_is_own,
    manager_has_second_factor,
    accounts_are_used,
    texts_are_decided,
    privacy_notice_is_there,
    consent_texts_are_there,
    safety_reader_is_named,
    zone_is_a_place,
    clock_runs_forward,
    files_are_private,
    disk_has_room,
    keys_lie_apart,
    keys_are_copied,
    data_are_copied,
    restore_is_proved,
)


def database_is_usable(runtime: Runtime) -> Finding:
    """Asked before all others: without it there is nothing to look at. A running server has a usable one."""
    try:
        check_clinic(runtime)
    except NotReady as problem:
        what = phrase("The clinic cannot be opened: %(reason)s.", reason=str(problem))
        return Finding("database", what, phrase("Mend that first, then check again. Nothing was changed."))
    return Finding("database", phrase("The database answers, and is of this version."))


def findings(runtime: Runtime, *, now: datetime) -> list[Finding]:
    """All of them, ready or not, in the order in which they are mended. `now` is the machine's clock.

    Mail server and web server in front are asked last, outside the database's view, and each for some seconds at most.
    """
    with runtime.store.reading() as session:
        look = Look(runtime, session, the_clinic(session), now)
        found = [check(look) for check in CHECKS]
        base_url = look.clinic.base_url
    return [*found, certificate_is_good(base_url, now), mail_server_answers(runtime.settings)]


def something_is_open(runtime: Runtime, session: Session, *, now: datetime) -> bool:
    """Whether this machine alone finds a point that is not ready. Nobody else is asked, so it takes no time that is noticed."""
    look = Look(runtime, session, the_clinic(session), now)
    return any(not check(look).ready for check in CHECKS)
