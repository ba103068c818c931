"""Reminder ladders: installed, put in force, changed while people are being reminded, and what a change leaves alone."""

import json
from datetime import timedelta

import pytest
from sqlalchemy import select

from server.models import AuditEntry, InstalledLadder, LadderChoice, Message, Timepoint
from server.reminders.ladder_install import LadderRefused, check_ladder_file, list_ladders
from server.reminders.ladders import LadderUnusable, ladder_in_force, shipped_ladders
from server.schedule.timepoint_code import TimepointCode
from tests.clinic_case import Case
from tests.reminders.cast import CLOSES, INVITES, LADDER, REMINDS, House, right
from tests.reminders.ladder_files import alter, choose, ladder_document, ladder_file, steps, use

# The days are the clock's; test_tick.py writes the same on both databases.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

DAY = timedelta(days=1)


def versions(house: House) -> dict[str, str | None]:
    with house.case.store.reading() as session:
        return {row.step: row.ladder_version for row in session.scalars(select(Message).order_by(Message.id))}


def test_every_message_keeps_the_ladder_that_it_was_made_under(house: House) -> None:
    house.case.enrol(right())
    house.one_day(INVITES)
    use(house.case, ladder_file())
    house.days(INVITES + DAY, CLOSES)
    assert versions(house) == {"invitation": "standard@1", "day-0": "harbour@1", "day-10": "harbour@1"}
    assert house.outcomes() == {"invitation": "sent", "day-0": "passed_over", "day-10": "sent"}
    assert house.letter_days() == [INVITES, INVITES + 10 * DAY]


def test_a_change_sends_nothing_again_to_who_was_just_reminded(house: House) -> None:
    house.case.enrol(right())
    house.days(INVITES, REMINDS[0])
    use(house.case, ladder_file("1", 0, 5, 12))
    house.days(REMINDS[0] + DAY, INVITES + 12 * DAY)
    assert house.letter_days() == [INVITES, REMINDS[0], INVITES + 12 * DAY]


def test_a_running_follow_up_goes_by_the_version_in_force(house: House) -> None:
    use(house.case, ladder_file("1", 0, 3))
    house.case.enrol(right())
    house.days(INVITES, INVITES + 4 * DAY)
    assert house.letter_days() == [INVITES, INVITES + 3 * DAY]
    assert house.history()[-1] == ("non_responder", INVITES + 3 * DAY)


def test_a_non_responder_stays_one_when_the_ladder_grows_later(house: House) -> None:
    use(house.case, ladder_file("1", 0, 3))
    house.case.enrol(right())
    house.days(INVITES, INVITES + 4 * DAY)
    use(house.case, ladder_file("2", 0, 3, 14))
    house.days(INVITES + 5 * DAY, CLOSES - DAY)
    with house.case.store.reading() as session:
        (ended_on,) = session.scalars(select(Timepoint.ladder_exhausted_on).where(Timepoint.code == "week-6"))
    assert ended_on == INVITES + 3 * DAY
    assert house.letter_days() == [INVITES, INVITES + 3 * DAY]


def test_a_ladder_made_shorter_ends_for_who_has_had_all_its_steps(house: House) -> None:
    house.case.enrol(right())
    house.days(INVITES, REMINDS[0])
    shorter = [{"step": step, "day": 7 * n, "role": "preferred"} for n, step in enumerate(LADDER[:2])]
    use(house.case, ladder_file("1", weeks=shorter))
    house.one_day(REMINDS[0] + DAY)
    assert house.history()[-1] == ("non_responder", REMINDS[0] + DAY)
    assert house.letter_days() == [INVITES, REMINDS[0]]


def test_while_the_ladder_in_force_is_altered_nobody_is_reminded_and_nothing_is_lost(house: House) -> None:
    house.case.enrol(right())
    use(house.case, ladder_file("1", 0, 7))
    house.tick(INVITES)
    alter(house.case)
    assert house.send() == 0 and house.outcomes() == {}, "what waited goes back"
    house.one_day(INVITES + DAY)
    assert house.outcomes() == {}
    with house.case.store.writing() as session:
        session.scalars(select(InstalledLadder)).one().content = ladder_file("1", 0, 7).decode()
    house.one_day(INVITES + 2 * DAY)
    assert house.outcomes() == {"day-0": "sent"}


def test_a_message_from_before_ladders_had_versions_is_sent_by_the_one_in_force(house: House) -> None:
    house.case.enrol(right())
    house.tick(INVITES)
    with house.case.store.writing() as session:
        session.scalars(select(Message)).one().ladder_version = None
    assert house.send() == 1
    house.one_day(REMINDS[0])
    assert house.outcomes() == {"invitation": "sent", "reminder-1": "sent"}


def test_the_shipped_ladder_is_in_force_until_another_is_chosen(case: Case) -> None:
    with case.store.reading() as session:
        assert ladder_in_force(session) == shipped_ladders()["standard@1"]
    use(case, ladder_file())
    case.now += DAY
    assert choose(case, "standard@1") and not choose(case, "standard@1")
    with case.store.reading() as session:
        assert ladder_in_force(session) == shipped_ladders()["standard@1"]
        chosen = session.scalars(select(LadderChoice.name).order_by(LadderChoice.id)).all()
        of_ladders = select(AuditEntry.action).where(AuditEntry.action.startswith("ladder:")).order_by(AuditEntry.id)
        actions = session.scalars(of_ladders).all()
        assert [(each.name, each.in_force) for each in list_ladders(session)] == [
            ("standard@1", True),
            ("harbour@1", False),
        ]
    assert chosen == ["harbour@1", "standard@1"]
    assert actions == ["ladder:installed", "ladder:in_force", "ladder:in_force"]


def test_an_altered_ladder_is_listed_with_the_reason_and_cannot_be_chosen(case: Case) -> None:
    use(case, ladder_file())
    choose(case, "standard@1")
    alter(case)
    with case.store.reading() as session:
        (unusable,) = [each for each in list_ladders(session) if each.ladder is None]
    assert unusable.name == "harbour@1" and "no longer those that were installed" in unusable.why
    with pytest.raises(LadderRefused, match="no longer those that were installed; there are: standard@1"):
        choose(case, "harbour@1")


def test_a_ladder_that_is_gone_reminds_nobody(case: Case) -> None:
    with case.store.writing() as session:
        session.add(LadderChoice(name="gone@1", chosen_at=case.now))
    with case.store.reading() as session, pytest.raises(LadderUnusable, match="gone@1 cannot be used: there is none"):
        ladder_in_force(session)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (ladder_file(title="Another"), "version: harbour@1 was installed on 2026-06-15 with other content"),
        (ladder_file(id="standard"), "id: standard@1 comes with the program"),
        (ladder_file("2", weeks=steps(0, role="text")), "weeks[0] role: a text step needs the channel sms"),
        (
            ladder_file("2", weeks=steps(-7, 0, role="notice")),
            "weeks[0] role: there is no message yet that announces a form",
        ),
        (ladder_file("2", years=steps(0, 7, role="task")), "years[0] role: no task is made of a task step yet"),
        (ladder_file("2", weeks=[]), "weeks: must be a list with something in it"),
        (ladder_file("2").replace(b'"day": 10', b'"day": 1e999'), "too large a number"),
        (b" " * 20_001, "more than 20,000 bytes"),
    ],
    ids=range(8),
)
def test_what_cannot_be_used_changes_nothing(case: Case, data: bytes, says: str) -> None:
    use(case, ladder_file())
    with pytest.raises(LadderRefused) as caught:
        use(case, data)
    assert says in str(caught.value)
    with case.store.reading() as session:
        assert session.scalars(select(InstalledLadder.name)).all() == ["harbour@1"]
        assert ladder_in_force(session).name == "harbour@1"


def test_the_same_file_again_is_known_and_a_wrong_hash_is_refused(case: Case) -> None:
    use(case, ladder_file())
    assert use(case, ladder_file()) == "harbour@1"
    with pytest.raises(LadderRefused, match="it was changed on the way"):
        check_ladder_file(ladder_file(), stated_sha256="0" * 64)


def test_every_class_of_timepoints_goes_by_its_own_steps(case: Case) -> None:
    document = ladder_document(weeks=steps(0), years=steps(0, 1, 2))
    use(case, json.dumps(document).encode())
    with case.store.reading() as session:
        ladder = ladder_in_force(session)
    assert [len(ladder.steps(TimepointCode.parse(code))) for code in ("baseline", "week-6", "year-9")] == [2, 1, 3]
