"""A safety answer waits and nobody opens Today: who is written to, when, how often, and what the mail does not say."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.holidays import add_holiday
from server.clinic.safety_net import change_net, note_shown
from server.fields.check import EntryRefused
from server.jobs import clock as jobs
from server.models import Flag, Patient, Restoration, SafetyNet, SafetyNotice, StaffAccount
from server.queries.safety_net import default_net
from server.reminders import safety_mail
from server.reminders.channels.contract import TransportProblem
from server.reminders.channels.email.compose import PlainMail
from server.reminders.safety_net import make_notices, step_due
from tests.clinic_case import Case
from tests.reminders.cast import MADRID

on_sqlite = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
NET: dict[str, Any] = {
    "reader_id": None, "deputy_id": None, "first_hours": 4, "second_hours": 8, "begins_hour": 8, "ends_hour": 16,
    "weekdays": ("1", "2", "3", "4", "5"),
}  # fmt: skip


def madrid(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=MADRID).astimezone(UTC)


@dataclass
class Net:
    """A clinic with a reader, a deputy, one patient, and a post that notes each mail, or first raises what it is told to."""

    case: Case
    reader: int
    deputy: int
    patient: int
    mails: list[PlainMail]
    fails: list[Exception]

    def flag(self, raised: str = "2026-06-15T09:00") -> int:
        """The id of a safety answer that came then; 15 June 2026 is a Monday."""
        with self.case.store.writing() as session:
            flag = Flag(kind="safety_answer", patient_id=self.patient, item="early@1/2", raised_at=madrid(raised))
            session.add(flag)
            session.flush()
            return flag.id

    def at(self, moment: str) -> list[str]:
        """Runs the net then; to whom a mail went."""
        before = len(self.mails)
        self.case.now = madrid(moment)
        jobs.tell_of_safety(self.case.runtime)
        return [mail.to.split("@")[0] for mail in self.mails[before:]]

    def name(self, **values: Any) -> None:
        with self.case.store.writing() as session:
            named = {**NET, "reader_id": self.reader, "deputy_id": self.deputy, **values}
            change_net(session, named, now=self.case.now, today=self.case.today, by_id=None)

    def outcomes(self) -> list[tuple[int, str | None]]:
        with self.case.store.reading() as session:
            rows = session.scalars(select(SafetyNotice).order_by(SafetyNotice.id)).all()
            return [(row.step, row.outcome) for row in rows]

    def change(self, model: type[Any], row_id: int, **values: Any) -> None:
        with self.case.store.writing() as session:
            for name, value in values.items():
                setattr(session.get_one(model, row_id), name, value)


@pytest.fixture
def net(case: Case, monkeypatch: pytest.MonkeyPatch) -> Net:
    with case.store.writing() as session:
        people = [
            StaffAccount(email=f"{name}@clinic.test", name=name, role="nurse", password_hash="x", made_at=case.now)
            for name in ("reader", "deputy")
        ]
        session.add_all(people)
        session.flush()
        reader, deputy = (each.id for each in people)
    made = Net(case, reader, deputy, case.enrol(), [], [])

    def post(_settings: object, _sender: str | None, mail: PlainMail) -> None:
        if made.fails:
            raise made.fails.pop(0)
        made.mails.append(mail)

    monkeypatch.setattr(safety_mail, "send_to_staff", post)
    made.name()
    return made


@pytest.mark.parametrize(
    ("worked", "step"), [(0, 0), (3.99, 0), (4, 1), (7.99, 1), (8, 2), (15.99, 2), (16, 3), (80, 11)]
)
def test_which_step_is_due_after_how_much_working_time(worked: float, step: int) -> None:
    assert step_due(timedelta(hours=worked), default_net()) == step


@on_sqlite
def test_the_reader_then_both_then_both_again_with_each_further_working_day(net: Net) -> None:
    net.flag()
    assert net.at("2026-06-15T12:59") == []
    assert net.at("2026-06-15T13:00") == ["reader"]
    assert net.at("2026-06-15T13:15") == []
    assert net.at("2026-06-16T08:59") == []
    assert net.at("2026-06-16T09:00") == ["reader", "deputy"]
    assert net.at("2026-06-16T23:00") == []
    assert net.at("2026-06-17T09:00") == ["reader", "deputy"]
    assert net.outcomes() == [(1, "sent"), (2, "sent"), (2, "sent"), (3, "sent"), (3, "sent")]


@on_sqlite
def test_whoever_is_shown_it_on_today_ends_it(net: Net) -> None:
    flag_id = net.flag()
    assert net.at("2026-06-15T13:00") == ["reader"]
    assert [note_shown(net.case.store, [flag_id], by_id=net.deputy, at=net.case.now) for _again in range(2)] == [1, 0]
    assert net.at("2026-06-25T13:00") == []


@on_sqlite
def test_one_that_comes_later_has_a_time_of_its_own(net: Net) -> None:
    first, _second = net.flag(), net.flag("2026-06-15T12:00")
    note_shown(net.case.store, [first], by_id=net.reader, at=madrid("2026-06-15T12:30"))
    assert net.at("2026-06-15T15:59") == []
    assert net.at("2026-06-15T16:00") == ["reader"]


@on_sqlite
@pytest.mark.parametrize("ended", ["settled", "entered in error"])
def test_what_was_settled_elsewhere_or_entered_in_error_is_in_no_net(net: Net, ended: str) -> None:
    flag_id = net.flag()
    if ended == "settled":
        net.change(Flag, flag_id, settled_at=net.case.now)
    else:
        net.change(Patient, net.patient, taken_back_at=net.case.now)
    assert net.at("2026-06-25T13:00") == []


@on_sqlite
def test_neither_weekend_nor_holiday_counts(net: Net) -> None:
    net.flag("2026-06-19T14:00")  # a Friday: two working hours are left
    with net.case.store.writing() as session:
        monday = {"first_on": madrid("2026-06-22T00:00").astimezone(MADRID).date()}
        add_holiday(session, monday, now=net.case.now, today=net.case.today, by_id=None)
    assert net.at("2026-06-23T09:59") == []
    assert net.at("2026-06-23T10:00") == ["reader"]


@on_sqlite
def test_after_days_without_a_server_each_gets_one_mail(net: Net) -> None:
    net.flag()
    assert net.at("2026-06-26T12:00") == ["reader", "deputy"]


@on_sqlite
def test_in_place_of_a_reader_who_is_shut_the_deputy_hears_first(net: Net) -> None:
    net.flag()
    net.change(StaffAccount, net.reader, disabled_at=net.case.now)
    assert net.at("2026-06-15T13:00") == ["deputy"]


@on_sqlite
def test_while_nobody_is_named_nothing_is_put_out(net: Net) -> None:
    net.flag()
    net.name(reader_id=None, deputy_id=None)
    assert (net.at("2026-06-25T13:00"), net.outcomes()) == ([], [])


@on_sqlite
def test_the_mail_names_nobody_tells_no_answer_and_says_what_it_is_not(net: Net) -> None:
    net.flag()
    net.at("2026-06-15T13:00")
    (mail,) = net.mails
    assert mail.subject == "Something for safety waits on Today"
    assert "http://127.0.0.1:8017/today\n" in mail.text
    assert "Yearmark watches nobody." in mail.text and "The rules of your clinic" in mail.text
    with net.case.store.reading() as session:
        patient = session.get_one(Patient, net.patient)
        secrets = (patient.first_name, patient.last_name, patient.study_number, "early", "1952", "shoulder")
    assert [word for word in secrets if word in mail.text + mail.subject] == []
    net.change(StaffAccount, net.deputy, language="es")
    net.at("2026-06-16T09:00")
    assert net.mails[-1].subject == "Algo de seguridad espera en Hoy"


@on_sqlite
def test_nothing_goes_after_a_restore_until_it_is_released(net: Net) -> None:
    net.flag()
    with net.case.store.writing() as session:
        restored = Restoration(restored_at=net.case.now, backup_id="ab", backup_made_at=net.case.now)
        session.add(restored)
        session.flush()
        restored_id = restored.id
    assert (net.at("2026-06-15T13:00"), net.outcomes()) == ([], [])
    net.change(Restoration, restored_id, released_at=net.case.now, waiting_messages="sent")
    assert net.at("2026-06-15T13:15") == ["reader"]


@on_sqlite
def test_a_mail_server_that_is_away_is_tried_again_under_the_same_message_id(net: Net) -> None:
    net.flag()
    net.fails = [TransportProblem("the mail server cannot be reached", permanent=False)]
    assert net.at("2026-06-15T13:00") == []
    assert net.outcomes() == [(1, None)]
    with net.case.store.reading() as session:
        row = session.scalars(select(SafetyNotice)).one()
    assert row.last_problem == "the mail server cannot be reached"
    assert net.at("2026-06-15T13:15") == ["reader"]
    assert net.mails[0].message_id == row.message_id


@on_sqlite
def test_a_refused_address_is_kept_as_failed_and_the_deputy_hears_on_time(net: Net) -> None:
    net.flag()
    net.fails = [TransportProblem("the address was refused (550)", permanent=True)]
    assert net.at("2026-06-15T13:00") == []
    assert net.outcomes() == [(1, "failed")]
    assert net.at("2026-06-16T09:00") == ["reader", "deputy"]


@on_sqlite
def test_what_waits_is_let_go_once_somebody_was_shown_it_or_its_reader_is_shut(net: Net) -> None:
    flag_id = net.flag()
    make_notices(net.case.store, now=madrid("2026-06-16T09:00"))
    net.change(StaffAccount, net.reader, disabled_at=net.case.now)
    note_shown(net.case.store, [flag_id], by_id=net.deputy, at=net.case.now)
    assert net.at("2026-06-16T09:01") == []
    assert net.outcomes() == [(2, "nobody"), (2, "seen")]


def test_a_sender_that_died_loses_nothing_and_who_looks_again_puts_nothing_out_twice(net: Net) -> None:
    net.flag()
    now = madrid("2026-06-15T13:00")
    assert [make_notices(net.case.store, now=now) for _again in range(2)] == [1, 0]
    net.fails = [KeyboardInterrupt()]  # type: ignore[list-item]
    with pytest.raises(KeyboardInterrupt):  # the process dies between the claim and the mail
        net.at("2026-06-15T13:00")
    assert net.at("2026-06-15T13:05") == []  # its lease still runs
    assert net.at("2026-06-15T13:15") == ["reader"]
    assert net.outcomes() == [(1, "sent")]


@on_sqlite
@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"reader_id": 987}, "cannot open Today"),
        ({"second_hours": 4}, "later than the reader"),
        ({"ends_hour": 8}, "closes before it opens"),
        ({"weekdays": ()}, "working days"),
    ],
)
def test_settings_that_cannot_be_are_refused(net: Net, values: dict[str, Any], sentence: str) -> None:
    with pytest.raises(EntryRefused, match=sentence):
        net.name(**values)
    with pytest.raises(EntryRefused, match="the same person"):
        net.name(deputy_id=net.reader)
    with net.case.store.reading() as session:
        assert (session.get_one(SafetyNet, 1).second_hours, session.get_one(SafetyNet, 1).deputy_id) == (8, net.deputy)
