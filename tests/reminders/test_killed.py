"""kill -9 between any two statements of tick and sender: nothing is lost, nothing is put in the outbox twice."""

import random
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta

import pytest
from sqlalchemy import select

from server.models import Message, Timepoint, Transition
from server.reminders.lease import LEASE
from tests.reminders.cast import INVITES, OPENS, House, left, madrid, right
from tests.reminders.peer import Peer, mail_server

ALONE, WITH_BOTH = 4, 2  # patients
MOST_RUNS = 100


@pytest.mark.parametrize("seed", range(1))
def test_a_clinic_whose_clock_and_sender_are_killed_again_and_again_invites_everybody(house: House, seed: int) -> None:
    enrol_many(house)
    chance = random.Random(seed)
    with mail_server() as peer, forking(house, peer) as run:
        kills = 0
        while run(house.case.now, chance.randrange(5, 250)) == "killed":
            kills += 1
            house.case.now += LEASE  # what the dead one held becomes free
            assert kills < MOST_RUNS
        assert run(house.case.now, 1_000_000) == "done"
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


@contextmanager
def forking(house: House, peer: Peer) -> Iterator[Callable[[datetime, int], str]]:
    """Runs tick and sender at an instant up to a statement: "done", "killed" or "failed"."""
    settings = house.case.runtime.settings
    command = [sys.executable, "-m", "tests.reminders.killed"]
    arguments = [str(settings.data), settings.database_url, str(peer.port)]
    with subprocess.Popen([*command, *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        writes, reads = process.stdin, process.stdout

        def run(at: datetime, statements: int) -> str:
            writes.write(f"{at.isoformat()} {statements}\n")
            writes.flush()
            return reads.readline().strip()

        yield run
        writes.close()
        assert process.wait(30) == 0


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
