"""A clinic is not ready while nobody would hear of a safety answer that waits."""

import pytest

from server.installation.finding import Finding
from server.installation.readiness import findings
from server.models import StaffAccount
from server.queries.safety_net import default_net
from tests.clinic_case import Case

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def finding(case: Case) -> Finding:
    (one,) = [each for each in findings(case.runtime, now=case.now) if each.name == "safety_net"]
    return one


def test_a_reader_is_named_and_can_be_written_to(live: Case) -> None:
    assert not finding(live).ready and "Nobody is named" in finding(live).what.text
    with live.store.writing() as session:
        reader = StaffAccount(email="n@clinic.test", name="N", role="nurse", password_hash="x", made_at=live.now)
        session.add(reader)
        session.flush()
        net = default_net()
        net.reader_id, reader_id = reader.id, reader.id
        session.add(net)
    assert finding(live).ready
    with live.store.writing() as session:
        session.get_one(StaffAccount, reader_id).disabled_at = live.now
    assert not finding(live).ready and "has a shut account" in finding(live).what.text


def test_a_deputy_who_cannot_sign_in_yet_is_told_apart(live: Case) -> None:
    with live.store.writing() as session:
        people = [
            StaffAccount(email=f"{name}@clinic.test", name=name, role="nurse", password_hash=chosen, made_at=live.now)
            for name, chosen in (("Nora Pennyreed", "x"), ("Nils Oak", None))
        ]
        session.add_all(people)
        session.flush()
        net = default_net()
        net.reader_id, net.deputy_id, deputy_id = people[0].id, people[1].id, people[1].id
        session.add(net)
    one = finding(live)
    assert not one.ready and "cannot sign in yet" in one.what.text and one.what.values == {"name": "Nils Oak"}
    with live.store.writing() as session:
        session.get_one(StaffAccount, deputy_id).password_hash = "y"
    assert finding(live).ready
