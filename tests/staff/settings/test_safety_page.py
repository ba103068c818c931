"""The page about safety answers that wait: who is told is chosen, changed with its history, and what is wrong with the choice is said."""

from dataclasses import dataclass

import pytest
from sqlalchemy import select

from server.clinic.safety_net import change_net
from server.jobs import clock as jobs
from server.models import Flag, SafetyLook, SafetyNet, StaffAccount
from server.queries.safety_net import read_net
from server.reminders.channels.email.mailbox import list_mailbox
from tests.staff.staff_case import Staff, StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@dataclass
class SafetyPage:
    staff: StaffCase
    manager: Staff

    def form(self, **values: object) -> dict[str, object]:
        """All that a browser would send: what the page showed, and what was chosen."""
        with self.staff.case.store.reading() as session:
            net = read_net(session)
            names = ("reader_id", "deputy_id", "first_hours", "second_hours", "begins_hour", "ends_hour")
            shown = {name: str(getattr(net, name) or "") for name in names}
            was = {f"was-{name}": text for name, text in {**shown, "weekdays": net.weekdays}.items()}
            return {**shown, **was, "weekdays": net.weekdays.split(","), **values}

    def save(self, **values: object) -> str:
        answer = self.manager.post("/settings/safety", self.form(**values))
        assert (answer.status_code, answer.location) == (302, "/settings/safety?done=safety-net")
        return self.manager.get(answer.location).text

    @property
    def nurse(self) -> str:
        return str(self.staff.account_id("nurse"))

    @property
    def surgeon(self) -> str:
        return str(self.staff.account_id("surgeon"))

    def net(self) -> SafetyNet:
        with self.staff.case.store.reading() as session:
            return read_net(session)


@pytest.fixture
def page(staff: StaffCase) -> SafetyPage:
    return SafetyPage(staff, staff.sign_in("data_manager"))


def test_until_somebody_is_named_the_page_says_that_nobody_is_told(page: SafetyPage) -> None:
    assert 'href="/settings/safety"' in page.manager.get("/settings").text
    text = page.manager.get("/settings/safety").text
    assert "Nobody is told: a safety answer waits on Today until somebody opens it." in text
    assert "common practice; there is no source for them" in text and "Yearmark watches nobody" in text


def test_reader_deputy_and_days_are_saved_with_names_in_the_history(page: SafetyPage) -> None:
    text = page.save(reader_id=page.nurse, deputy_id=page.surgeon, weekdays=["7", "1", "2"], why="a new nurse")
    assert "Reader: nothing became “" in text and "Why: a new nurse." in text and "Nobody is told" not in text
    net = page.net()
    assert (str(net.reader_id), str(net.deputy_id), net.weekdays) == (page.nurse, page.surgeon, "7,1,2")
    assert page.manager.get("/settings/safety").text.count(" checked") == 3


def test_what_cannot_be_is_said_and_nothing_is_saved(page: SafetyPage) -> None:
    wrong = page.form(reader_id=page.nurse, deputy_id=page.nurse, first_hours="9", weekdays=[])
    answer = page.manager.post("/settings/safety", wrong)
    assert answer.status_code == 422
    for sentence in ("the same person", "later than the reader", "Enter the working days."):
        assert sentence in answer.text
    assert (page.net().reader_id, page.net().first_hours) == (None, 4)


def test_what_somebody_else_changed_meanwhile_is_not_undone_unseen(page: SafetyPage) -> None:
    form, case = page.form(first_hours="2"), page.staff.case
    by_other = {
        "reader_id": None, "deputy_id": None, "first_hours": 3, "second_hours": 8, "begins_hour": 8, "ends_hour": 16,
        "weekdays": ("1", "2"),
    }  # fmt: skip
    with case.store.writing() as session:
        change_net(session, by_other, now=case.now, today=case.today, by_id=page.staff.account_id("surgeon"))
    answer = page.manager.post("/settings/safety", form)
    assert (answer.status_code, page.net().first_hours) == (422, 3)


def test_a_reader_whose_account_is_shut_is_said(page: SafetyPage) -> None:
    page.save(reader_id=page.nurse)
    with page.staff.case.store.writing() as session:
        account = session.get_one(StaffAccount, int(page.nurse))
        account.disabled_at, name = page.staff.case.now, account.name
    text = page.manager.get("/settings/safety").text
    assert f"{name} can no longer be written to" in text and "Nobody is told" in text


def test_today_keeps_who_was_shown_it_first_and_both_pages_say_to_whom_a_mail_went(page: SafetyPage) -> None:
    page.save(reader_id=page.surgeon)
    case = page.staff.case
    raised, patient_id = case.now.replace(day=12), case.enrol()  # the Friday before
    with case.store.writing() as session:
        session.add(Flag(kind="safety_answer", patient_id=patient_id, item="early@1/2", raised_at=raised))
    assert jobs.tell_of_safety(case.runtime) == 1
    (letter,) = list_mailbox(case.runtime.settings.data / "mailbox")
    assert letter.subject == "Something for safety waits on Today"
    nurse = page.staff.sign_in("nurse")
    nurse.get("/today?kind=silent")  # shows no safety answer
    with case.store.reading() as session:
        assert session.scalars(select(SafetyLook)).all() == []
    for _time in range(2):
        today = nurse.get("/today").text
    assert "A mail without its content went to:" in today and "15 June 2026, 11:00" in today
    with case.store.reading() as session:
        assert [str(look.by_id) for look in session.scalars(select(SafetyLook))] == [page.nurse]
    assert ": sent</li>" in page.manager.get("/settings/safety").text.replace("\n", "")


def test_an_empty_list_of_readers_says_who_can_be_chosen_and_where_their_accounts_are_made(page: SafetyPage) -> None:
    why = "only they can be chosen, and none of them has an open account yet"
    assert why not in page.manager.get("/settings/safety").text
    with page.staff.case.store.writing() as session:
        for account in session.scalars(select(StaffAccount).where(StaffAccount.role.in_(["nurse", "surgeon"]))):
            account.disabled_at = page.staff.case.now
    text = page.manager.get("/settings/safety").text
    assert why in text and '<a href="/accounts">Make their accounts</a>' in text
