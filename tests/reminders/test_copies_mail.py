"""Data managers hear by mail when data or keys were not copied for days: once a week, of the clinic alone, and not in a demo."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta

import pytest
from sqlalchemy import update

from server.jobs import clock as jobs
from server.models import BackupCopy, Clinic, Restoration, StaffAccount
from server.reminders import copies_mail
from server.reminders.channels.contract import TransportProblem
from server.reminders.channels.email.compose import PlainMail
from tests.clinic_case import Case, case

__all__ = ["case"]

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@dataclass
class Post:
    """Notes each mail, or first raises what it is told to."""

    case: Case
    mails: list[PlainMail] = field(default_factory=list)
    fails: list[Exception] = field(default_factory=list)

    def to(self, after: timedelta) -> list[str]:
        """Who gets a mail so long after the clinic's first day."""
        before, start = len(self.mails), self.case.now
        self.case.now = start + after
        jobs.tell_of_copies(self.case.runtime)
        self.case.now = start
        return [mail.to for mail in self.mails[before:]]

    def copied(self, after: timedelta, kinds: Sequence[str] = ("data", "keys")) -> None:
        with self.case.store.writing() as session:
            for kind in kinds:
                made = self.case.now + after
                session.add(BackupCopy(kind=kind, backup_id="a", made_at=made, place="/mnt", length=1, sha256=b"1"))


@pytest.fixture
def post(case: Case, monkeypatch: pytest.MonkeyPatch) -> Post:
    made = Post(case)

    def take(_settings: object, _sender: str | None, mail: PlainMail) -> None:
        if made.fails:
            raise made.fails.pop(0)
        made.mails.append(mail)

    monkeypatch.setattr(copies_mail, "send_to_staff", take)
    with case.store.writing() as session:
        session.execute(update(Clinic).values(mode="live"))
        for name, role, chosen in (
            ("dora", "data_manager", "x"),
            ("nora", "nurse", "x"),
            ("dov", "data_manager", None),
        ):
            session.add(
                StaffAccount(email=f"{name}@clinic.test", name=name, role=role, password_hash=chosen, made_at=case.now)
            )
    case.enrol(first_name="Ada", last_name="Ardent")
    return made


def days(number: float) -> timedelta:
    return timedelta(days=number)


def test_three_days_after_the_last_copy_the_data_managers_hear_and_again_each_week(post: Post) -> None:
    post.copied(days(1))
    assert post.to(days(4)) == []
    assert post.to(days(4.01)) == ["dora@clinic.test"]
    assert post.to(days(4.3)) == post.to(days(11)) == []
    assert post.to(days(11.02)) == ["dora@clinic.test"]
    post.copied(days(19))
    assert post.to(days(20)) == []


def test_keys_that_are_not_copied_are_late_too(post: Post) -> None:
    post.copied(days(1))
    post.copied(days(9), ["data"])
    assert post.to(days(10)) == ["dora@clinic.test"]


def test_a_clinic_that_was_never_copied_hears_three_days_after_its_first_patient(post: Post) -> None:
    assert post.to(days(3)) == []
    assert post.to(days(3.01)) == ["dora@clinic.test"]


def test_the_mail_names_nobody_and_leads_to_the_page(post: Post) -> None:
    post.to(days(9))
    (mail,) = post.mails
    assert "/backups" in mail.text and "Ada" not in mail.text and "Ardent" not in mail.text


def test_a_mail_server_that_is_away_is_tried_again_at_the_next_pass(post: Post) -> None:
    post.fails.append(TransportProblem("away", permanent=False))
    assert post.to(days(4)) == []
    assert post.to(days(4.25)) == ["dora@clinic.test"]


def test_a_demo_and_a_restored_clinic_before_its_release_send_none(post: Post) -> None:
    with post.case.store.writing() as session:
        session.execute(update(Clinic).values(mode="demo"))
    assert post.to(days(9)) == []
    with post.case.store.writing() as session:
        session.execute(update(Clinic).values(mode="live"))
        row = Restoration(restored_at=post.case.now, backup_id="ab" * 16, backup_made_at=post.case.now)
        session.add(row)
    assert post.to(days(9)) == []
    with post.case.store.writing() as session:
        session.execute(update(Restoration).values(released_at=post.case.now, waiting_messages="sent"))
    assert post.to(days(9)) == ["dora@clinic.test"]
