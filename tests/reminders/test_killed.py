"""kill -9 between any two statements of tick and sender: nothing is lost, nothing is put in the outbox twice."""

import random
import subprocess
import sys
from collections import Counter
from datetime import date, timedelta

import pytest
from sqlalchemy import select

from server.models import Message, Timepoint, Transition
from server.reminders.lease import LEASE
from tests.reminders.cast import INVITES, OPENS, House, left, madrid, right
from tests.reminders.peer import Peer, mail_server

ALONE, WITH_BOTH = 4, 2  # patients
MOST_RUNS = 40


@pytest.mark.parametrize("seed", [1, 2])
def test_a_clinic_whose_clock_and_sender_are_killed_again_and_again_invites_everybody(house: House, seed: int) -> None:
    enrol_many(house)
    chance = random.Random(seed)
    with mail_server() as peer:
        kills = 0
        while not run_until(house, peer, statements=chance.randrange(5, 300)):
            kills += 1
            house.case.now += LEASE  # what the dead one held becomes free
            assert kills < MOST_RUNS
        assert run_until(house, peer, statements=1_000_000)
    assert kills >= 2
    each_step_stands_once_and_is_sent(house)
    each_message_left_at_least_once(house, peer)
    each_change_is_written_down_once(house)


def enrol_many(house: House) -> None:
    for number in range(ALONE + WITH_BOTH):
        shoulders = (left(), right()) if number < WITH_BOTH else (right(),)
        house.case.enrol(
            *shoulders,
            first_name=f"Ada{number}",
            birth_on=date(1950, 1, 1 + number),
            email=f"ada{number}@patient.example",
        )
    house.tick(OPENS - timedelta(days=1))
    house.case.now = madrid(INVITES, 1)  # opened and invites, nobody looked in between


def run_until(house: House, peer: Peer, *, statements: int) -> bool:
    """False when it was killed on the way."""
    settings = house.case.runtime.settings
    arguments = [str(settings.data), settings.database_url, str(peer.port), house.case.now.isoformat(), str(statements)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.reminders.killed", *arguments], capture_output=True, text=True, timeout=120
    )
    assert done.returncode in (0, -9), done.stderr
    return done.returncode == 0


def each_step_stands_once_and_is_sent(house: House) -> None:
    with house.case.store.reading() as session:
        rows = session.scalars(select(Message)).all()
        assert Counter(row.step for row in rows) == {"invitation": ALONE + 2 * WITH_BOTH}
        assert {row.outcome for row in rows} == {"sent"}
        assert len({row.timepoint_id for row in rows}) == len(rows)


def each_message_left_at_least_once(house: House, peer: Peer) -> None:
    """Repeats carry the Message-ID and the words of the first."""
    with house.case.store.reading() as session:
        kept = set(session.scalars(select(Message.message_id)))
    assert set(peer.message_ids()) == kept
    assert len(kept) == ALONE + WITH_BOTH
    words = {(str(message["Message-ID"]), str(message["To"]), message.get_content()) for message in peer.taken}
    assert len(words) == len(kept)


def each_change_is_written_down_once(house: House) -> None:
    with house.case.store.reading() as session:
        opened = select(Timepoint.id).where(Timepoint.code == "week-6")
        turns = session.execute(
            select(Transition.timepoint_id, Transition.status_after).where(Transition.timepoint_id.in_(opened))
        ).all()
    assert {status for _, status in turns} == {"open"}
    assert len(turns) == len({timepoint_id for timepoint_id, _ in turns}) == ALONE + 2 * WITH_BOTH
