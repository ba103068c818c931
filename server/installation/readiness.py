"""Whether a clinic is ready for patients: one small check for each reason why not, for `yearmark check` and the data manager's page.

To add one: a function that takes a Look and returns a Finding, named in CHECKS.
"""

from datetime import datetime

from server.installation.check_of_the_safety_net import safety_reader_is_named
from server.installation.checks_of_staff import manager_has_second_factor, texts_are_decided
from server.installation.checks_of_the_address import address_is_own, sender_is_own
from server.installation.finding import Check, Finding, Look
from server.installation.runtime import Runtime
from server.queries.clock import the_clinic

__all__ = ["Finding", "findings"]

CHECKS: tuple[Check, ...] = (
    address_is_own,
    sender_is_own,
    manager_has_second_factor,
    texts_are_decided,
    safety_reader_is_named,
)


def findings(runtime: Runtime, *, now: datetime) -> list[Finding]:
    """All of them, ready or not, in the order in which they are mended. `now` is the machine's clock."""
    with runtime.store.reading() as session:
        look = Look(runtime, session, the_clinic(session), now)
        return [check(look) for check in CHECKS]
