"""A restored clinic asks nobody for a form that its copy held unread: it is taken in before the first phone is served."""

import json
from typing import Any
from urllib.request import Request, urlopen

from server.models import Restoration
from server.queries.clock import real_now
from tests.journeys.site import BORN, Site
from tests.stranger import Reply, Stranger, best


def served_at(site: Site, patient_id: int) -> Stranger:
    """A phone that talks to the running server."""

    def post(path: str, body: Any) -> Reply:
        data = json.dumps(body).encode()
        with urlopen(Request(site.address + path, data, {"Content-Type": "application/json"}), timeout=20) as answer:
            return Reply(answer.status, json.load(answer))

    return Stranger(site.token(patient_id), BORN, post)


def test_the_first_phone_that_a_restored_clinic_serves_is_not_asked_again(site: Site) -> None:
    """Where a clinic was never restored the intake thread takes it in, which does not run here."""
    patient_id = site.enrol()
    site.stop()
    site.start(when_stored="leave")
    phone = served_at(site, patient_id)

    def asked_and_recorded() -> tuple[int, int]:
        phone.fetch()
        return len(phone.sheet["forms"]), site.responses(patient_id)

    assert asked_and_recorded() == (1, 0)
    [receipt] = phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, site.case.now)))
    assert receipt["status"] == "stored"
    site.kill()
    site.start(when_stored="leave")
    assert asked_and_recorded() == (1, 0)
    site.kill()
    now = real_now()
    with site.case.store.writing() as session:
        session.add(Restoration(restored_at=now, backup_id="ab" * 16, backup_made_at=now))
    site.start(when_stored="leave")
    assert asked_and_recorded() == (0, 1)
