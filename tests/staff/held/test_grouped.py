"""What one link sent and what is held for one reason is one thing to do, however much of it there is."""

import json
from datetime import timedelta

import pytest
from sqlalchemy import select, update

from server.intake.hold import NotHeld, release_alike, settle_alike
from server.links.make import replace_link
from server.models import AuditEntry, Envelope, Patient
from server.worklist import list_work
from tests.staff.html_page import read_page
from tests.staff.staff_case import Staff, StaffCase
from tests.stranger import best

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def flooded(staff: StaffCase) -> list[int]:
    """Twelve envelopes of one link that hold no JSON and one of another key; the ids, oldest first."""
    case = staff.case
    phone = case.phone(case.enrol())
    phone.fetch()
    phone.send(*(phone.seal(b"not json") for _ in range(12)), phone.seal(b"{}", key_id="nobodys"))
    case.process()
    with case.store.reading() as session:
        return list(session.scalars(select(Envelope.id).order_by(Envelope.id)))


def test_a_death_told_by_a_replaced_link_is_a_row_of_its_own_and_urgent(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    patient_id = case.enrol()
    phone = case.phone(patient_id)
    phone.fetch()
    with case.store.writing() as session:
        replace_link(session, session.get_one(Patient, patient_id), now=case.now)
    phone.send(
        *(phone.seal(b"not json") for _ in range(2)),
        *(phone.seal(phone.notice(said, case.now)) for said in ("call_me", "died")),
    )
    case.process()
    today = read_page(nurse.get("/today?kind=held").text)
    assert [each.text for each in today.all("span", class_="state warn")] == ["held"]
    assert (
        "that this person has died, but it came by a link that had been replaced before. No message goes out"
        in today.words
    )
    page = read_page(nurse.get("/held").text)
    assert [each.text for each in page.all("span", class_="state warn")] == ["says: has died"]
    assert [each.text for each in page.all("span", class_="state now")] == ["held", "asks for a call"]
    with case.store.reading() as session:
        death = session.scalars(select(Envelope.id).where(Envelope.held_notice == "said_died")).one()
    assert page.words.index("has died") < page.words.index("asks for a call")
    own = read_page(nurse.get(f"/held/{death}").text).words
    assert "Says: has died" in own and "No message goes out until this is accepted or settled." in own
    assert "Accept it" in own and "Accept all" not in own


def states(staff: StaffCase) -> list[str]:
    with staff.case.store.reading() as session:
        return list(session.scalars(select(Envelope.state).order_by(Envelope.id)))


def held_rows(staff: StaffCase) -> int:
    case = staff.case
    with case.store.reading() as session:
        work = list_work(
            session,
            today=case.today,
            now=case.now,
            cipher_of=case.runtime.keys.patient_cipher,
            kinds=("held",),
        )
    assert work.counts["held"] == len(work.rows)
    return len(work.rows)


def test_the_list_and_today_show_one_row_for_each_link_and_reason(staff: StaffCase, nurse: Staff) -> None:
    ids = flooded(staff)
    page = nurse.get("/held").text
    assert "13 envelopes held" in read_page(page).words.replace("Thirteen", "13") and page.count("data-row") == 2
    assert "11 more like it" in read_page(page).words.replace("eleven", "11")
    assert f"/held/{ids[0]}" in page and f'/held/{ids[1]}"' not in page
    assert held_rows(staff) == 2
    assert "welve forms came, the first" in read_page(nurse.get("/today").text).words


def test_all_alike_are_settled_at_once_and_what_came_meanwhile_is_not(staff: StaffCase, nurse: Staff) -> None:
    ids = flooded(staff)
    page = nurse.get(f"/held/{ids[0]}").text
    assert "Settle all 12" in read_page(page).words and f'name="all" value="{ids[11]}"' in page
    case = staff.case
    with case.store.reading() as session:
        patient_id = session.scalars(select(Patient.id)).one()
    phone = case.phone(patient_id)
    phone.fetch()
    phone.send(phone.seal(b"not json, and late"))
    case.process()
    answer = nurse.post(f"/held/{ids[0]}/settle", {"settled_as": "not_the_patient", "all": str(ids[11])})
    assert answer.location == "/held?done=held-settled"
    assert states(staff) == ["settled"] * 12 + ["held", "held"]
    with case.store.reading() as session:
        entry = session.scalars(select(AuditEntry).where(AuditEntry.action == "envelopes:settled")).one()
        assert json.loads(entry.detail or "{}") == {"settled_as": "not_the_patient", "count": 12}
        assert all(session.scalars(select(Envelope.settled_at).where(Envelope.state == "settled")))
    again = nurse.post(f"/held/{ids[0]}/settle", {"settled_as": "not_the_patient", "all": str(ids[11])})
    assert again.status_code == 409


def test_one_of_many_can_be_settled_alone(staff: StaffCase, nurse: Staff) -> None:
    ids = flooded(staff)
    assert nurse.post(f"/held/{ids[3]}/settle", {"settled_as": "patient_asked"}).status_code == 302
    assert states(staff).count("settled") == 1


def test_a_number_that_no_page_gave_settles_nothing(staff: StaffCase, nurse: Staff) -> None:
    ids = flooded(staff)
    for number in ("x", "-1", "9" * 19, "٣"):
        answer = nurse.post(f"/held/{ids[0]}/settle", {"settled_as": "patient_asked", "all": number})
        assert answer.status_code == 400
    assert set(states(staff)) == {"held"}


def by_a_replaced_link(staff: StaffCase, number: int) -> list[int]:
    """The ids of what it sent after its replacement."""
    case = staff.case
    patient_id = case.enrol()
    phone = case.phone(patient_id)
    phone.fetch()
    envelopes = [phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now)) for _ in range(number)]
    with case.store.writing() as session:
        replace_link(session, session.get_one(Patient, patient_id), now=case.now)
    case.now += timedelta(minutes=5)
    phone.send(*envelopes)
    case.process()
    with case.store.reading() as session:
        return list(session.scalars(select(Envelope.id).order_by(Envelope.id)))


def test_what_a_replaced_link_sent_is_accepted_with_one_click(staff: StaffCase, nurse: Staff) -> None:
    [envelope_id] = by_a_replaced_link(staff, 1)
    page = read_page(nurse.get(f"/held/{envelope_id}").text).words
    assert "came by a link that had been replaced before" in page and "Accept it" in page and "Accept all" not in page
    assert nurse.post(f"/held/{envelope_id}/again").location == "/held?done=held-recorded"
    assert states(staff) == ["recorded"]


def test_all_of_a_replaced_link_are_accepted_together_and_read_with_the_next_pass(
    staff: StaffCase, nurse: Staff
) -> None:
    ids = by_a_replaced_link(staff, 3)
    assert "Accept all 3" in read_page(nurse.get(f"/held/{ids[0]}").text).words
    answer = nurse.post(f"/held/{ids[0]}/again", {"all": str(ids[-1])})
    assert answer.location == "/held?done=held-queued"
    assert "within a minute" in nurse.get("/held?done=held-queued").text
    staff.case.process()
    assert states(staff) == ["recorded"] * 3


def test_what_somebody_else_settled_a_moment_before_is_neither_settled_again_nor_written_down(staff: StaffCase) -> None:
    ids, now = flooded(staff), staff.case.now
    with staff.case.store.writing() as session:
        row = session.get_one(Envelope, ids[0])
        faster = update(Envelope).values(state="settled").execution_options(synchronize_session=False)
        session.execute(faster)
        with pytest.raises(NotHeld):
            settle_alike(session, row, "patient_asked", up_to=ids[11], now=now, by_id=staff.account_id())
        with pytest.raises(NotHeld):
            release_alike(session, row, up_to=ids[11], now=now, by_id=staff.account_id())
    with staff.case.store.reading() as session:
        actions = set(session.scalars(select(AuditEntry.action)))
    assert not actions & {"envelopes:settled", "envelopes:tried_again"}
