"""The page Backups: what was copied and proved, and the release of a clinic that was restored."""

from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.clinic.holidays import add_holiday
from server.jobs.clock import send, tick
from server.models import AuditEntry, BackupCopy, Message, Restoration, RestoreProof, Timepoint
from server.queries.restored import waits_for_release
from tests.staff.staff_case import Staff, StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
MADE_BEFORE = timedelta(days=3)


@pytest.fixture
def manager(staff: StaffCase) -> Staff:
    return staff.sign_in("data_manager")


def restored(staff: StaffCase) -> int:
    """As a restore leaves it: out of a copy that is three days old."""
    now = staff.case.now
    with staff.case.store.writing() as session:
        row = Restoration(restored_at=now, backup_id="ab" * 16, backup_made_at=now - MADE_BEFORE)
        session.add(row)
        session.flush()
        return row.id


def due(staff: StaffCase) -> None:
    """One patient whose first message is due today."""
    staff.case.enrol(ShoulderEntry(side="left", surgery_on=staff.case.today - timedelta(days=365)))


def messages(staff: StaffCase) -> list[str | None]:
    with staff.case.store.reading() as session:
        return list(session.scalars(select(Message.outcome).order_by(Message.id)))


def test_it_says_that_nothing_was_copied_or_proved_yet(manager: Staff) -> None:
    page = manager.get("/backups").text
    assert '<p class="huge">never</p>' in page
    assert page.count("never</td>") == 2
    assert "Without the keys no name" in page
    assert "This clinic was restored" not in page


def test_it_says_when_what_was_copied_where_and_how_old_the_proof_is(staff: StaffCase, manager: Staff) -> None:
    now = staff.case.now
    with staff.case.store.writing() as session:
        for kind, days in (("data", 1), ("keys", 9)):
            made = now - timedelta(days=days, hours=1)
            session.add(
                BackupCopy(kind=kind, backup_id=kind, made_at=made, place=f"/mnt/{kind}-disk", sha256=b"1", length=1)
            )
        proof = {"proved_at": now - timedelta(days=4), "backup_made_at": now - timedelta(days=5), "detail": "{}"}
        session.add(RestoreProof(backup_id="data", same=True, **proof))
        session.add(RestoreProof(backup_id="data", same=False, **{**proof, "proved_at": now}))
    page = manager.get("/backups").text
    assert "/mnt/data-disk" in page and "/mnt/keys-disk" in page
    made = now - timedelta(days=1, hours=1)
    assert f"{made.astimezone(ZoneInfo('Europe/Madrid')):%H:%M} (25 hours ago)" in page
    assert f"{made.astimezone(UTC):%H:%M} UTC." in page, "as the name of the folder tells it"
    assert "(25 hours ago)" in page and "(nine days ago)" in page
    assert '<p class="huge">four days ago</p>' in page
    assert "could not be restored or held something else. Do not rely on it." in page


def test_after_a_restore_it_says_what_was_not_done_since_and_which_invitations_and_numbers_are_affected(
    staff: StaffCase, manager: Staff
) -> None:
    restored(staff)
    page = manager.get("/backups").text
    assert '<p class="huge">not since the restore</p>' in page and "never" not in page.partition('id="proof"')[2]
    assert page.count("not since the restore</td>") == 2
    assert "on Accounts invite again whoever has not signed in yet" in page
    assert "Study numbers that were given out then will be given again" in page


def test_while_a_restored_clinic_waits_nothing_is_sent_and_the_page_says_what_may_be_missing(
    staff: StaffCase, manager: Staff
) -> None:
    due(staff)
    restored(staff)
    runtime = staff.case.runtime
    assert tick(runtime).made == 1
    assert send(runtime) == 0
    assert messages(staff) == [None]
    page = manager.get("/backups").text
    assert "One message waits that may have been sent already" in page
    assert "Whoever opens the same link again is asked for them anew" in page
    assert "Links that were made then do not work" in page
    assert "A link that was replaced then" in page
    assert "Deaths, withdrawals and wishes for no more messages that were entered then, or told by a phone" in page
    assert "What you choose below holds too for reminders" in page
    assert "Accounts that were shut then are open again" in page
    for member in (staff.sign_in("nurse"), staff.sign_in("surgeon")):
        assert "No message leaves, and no mail to staff, until a data manager releases" in member.get("/today").text


def test_no_message_goes_by_hand_either(staff: StaffCase) -> None:
    due(staff)
    restored(staff)
    today = staff.case.today
    with staff.case.store.reading() as session:
        timepoint_id = session.scalars(
            select(Timepoint.id).where(Timepoint.code == "year-1", Timepoint.invites_on <= today)
        ).one()
    page = staff.sign_in("nurse").get(f"/timepoints/{timepoint_id}/message").text
    assert "nothing is sent until a data manager releases it under Backups" in page


@pytest.mark.parametrize(("chosen", "sent", "outcome"), [("passed_over", 0, "passed_over"), ("sent", 1, "sent")])
def test_a_release_sends_what_waits_or_passes_it_over_as_was_chosen(
    staff: StaffCase, manager: Staff, chosen: str, sent: int, outcome: str
) -> None:
    due(staff)
    restoration_id = restored(staff)
    for _press in range(2):
        answer = manager.post(f"/backups/release/{restoration_id}", {"waiting_messages": chosen})
        assert (answer.status_code, answer.location) == (302, "/backups?done=restored-released")
    assert send(staff.case.runtime) == sent
    assert messages(staff) == [outcome]
    with staff.case.store.reading() as session:
        assert waits_for_release(session) is None
        entries = session.scalars(select(AuditEntry).where(AuditEntry.action == "clinic:released")).all()
        assert [(entry.thing, entry.by_id) for entry in entries] == [
            (f"restoration {restoration_id}", staff.account_id("data_manager"))
        ]
    assert "a data manager releases" not in staff.sign_in("nurse").get("/today").text
    page = manager.get(answer.location).text
    assert "The clinic is released: messages leave again." in page
    assert "Earlier restores" in page and "This clinic was restored" not in page


def test_what_falls_due_after_the_restore_goes_whatever_was_chosen(staff: StaffCase, manager: Staff) -> None:
    restoration_id = restored(staff)
    due(staff)
    with staff.case.store.writing() as session:
        session.get_one(Restoration, restoration_id).restored_at = staff.case.now - timedelta(days=90)
    manager.post(f"/backups/release/{restoration_id}", {"waiting_messages": "passed_over"})
    assert messages(staff) == [None]
    assert send(staff.case.runtime) == 1


@pytest.mark.parametrize(("chosen", "sent", "outcome"), [("passed_over", 0, "passed_over"), ("sent", 1, "sent")])
def test_on_a_holiday_too_the_choice_holds_for_what_is_put_out_on_the_next_day(
    staff: StaffCase, manager: Staff, chosen: str, sent: int, outcome: str
) -> None:
    case = staff.case
    due(staff)
    with case.store.writing() as session:
        add_holiday(session, {"first_on": case.today}, now=case.now, today=case.today, by_id=None)
    manager.post(f"/backups/release/{restored(staff)}", {"waiting_messages": chosen})
    assert messages(staff) == []
    case.now += timedelta(days=1)
    tick(case.runtime)
    assert send(case.runtime) == sent
    assert messages(staff) == [outcome]


def test_who_is_enrolled_again_after_the_restore_gets_the_first_message(staff: StaffCase, manager: Staff) -> None:
    restoration_id = restored(staff)
    staff.case.now += timedelta(minutes=1)
    due(staff)
    manager.post(f"/backups/release/{restoration_id}", {"waiting_messages": "passed_over"})
    due(staff)
    tick(staff.case.runtime)
    assert send(staff.case.runtime) == 2
    assert messages(staff) == ["sent", "sent"]


def test_a_release_without_a_choice_is_refused_and_releases_nothing(staff: StaffCase, manager: Staff) -> None:
    restoration_id = restored(staff)
    answer = manager.post(f"/backups/release/{restoration_id}", {"waiting_messages": "whatever"})
    assert answer.status_code == 422
    assert "Choose what becomes of these messages." in answer.text
    with staff.case.store.reading() as session:
        assert waits_for_release(session) is not None
    assert manager.post("/backups/release/999", {"waiting_messages": "sent"}).status_code == 404
