"""Two passes and two senders at one time, each with an engine and a lock of its own, as two processes have."""

import threading
from collections import Counter
from collections.abc import Callable
from datetime import date

from sqlalchemy import select

from server.jobs import clock as jobs
from server.models import Message, Timepoint, Transition
from server.reminders.outbox import send_waiting
from server.reminders.tick import run_tick
from server.store.engine import Store, make_engine
from server.store.folder_lock import FolderLock
from tests.reminders.cast import INVITES, House, Recorder, left, madrid, right

ALONE, WITH_BOTH = 8, 4  # patients


def enrol_many(house: House) -> None:
    for number in range(ALONE + WITH_BOTH):
        shoulders = (left(), right()) if number < WITH_BOTH else (right(),)
        house.case.enrol(*shoulders, first_name=f"Ada{number}", birth_on=date(1950, 1, 1 + number))
    house.case.now = madrid(INVITES)


def side_by_side(house: House, *works: Callable[[Store], None]) -> None:
    """All start at once; what one raises is raised here."""
    together, problems = threading.Barrier(len(works)), list[BaseException]()

    def run(work: Callable[[Store], None]) -> None:
        store = another_store(house)
        try:
            together.wait(30)
            work(store)
        except BaseException as problem:
            problems.append(problem)
        finally:
            store.engine.dispose()

    threads = [threading.Thread(target=run, args=(work,)) for work in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert problems == []


def another_store(house: House) -> Store:
    runtime = house.case.runtime
    url = runtime.settings.database_url
    lock = FolderLock(runtime.settings.data) if url.startswith("sqlite") else None
    return Store(make_engine(url, lock), runtime.store.ring)


def test_two_passes_write_each_change_and_each_step_once(house: House) -> None:
    enrol_many(house)

    def tick(store: Store) -> None:
        report = run_tick(store, house.case.runtime.library, jobs.LINKS, now=house.case.now)
        assert report.failed == 0

    side_by_side(house, tick, tick)
    with house.case.store.reading() as session:
        opened = select(Timepoint.id).where(Timepoint.code == "week-6")
        turns = session.scalars(select(Transition.timepoint_id).where(Transition.timepoint_id.in_(opened))).all()
        steps = session.scalars(select(Message.timepoint_id)).all()
        codes = session.execute(select(Timepoint.follow_up_id, Timepoint.code)).all()
    assert Counter(turns) == Counter(steps) == dict.fromkeys(turns, 1)
    assert len(turns) == ALONE + 2 * WITH_BOTH
    assert len(set(codes)) == len(codes)


def test_two_senders_never_send_the_same_message_twice_and_never_part_two_shoulders(house: House) -> None:
    enrol_many(house)
    house.tick()
    recorders = Recorder(), Recorder()

    def sender(recorder: Recorder) -> Callable[[Store], None]:
        def send(store: Store) -> None:
            library, channels = house.case.runtime.library, {"email": recorder}
            send_waiting(store, library, jobs.LINKS, channels, clock=lambda: house.case.now)

        return send

    side_by_side(house, *(sender(recorder) for recorder in recorders))
    sent = [notice for recorder in recorders for notice in recorder.notices]
    assert Counter(notice.message_id for notice in sent).most_common(1)[0][1] == 1
    assert Counter(len(notice.sides) for notice in sent) == {1: ALONE, 2: WITH_BOTH}
    assert set(house.outcomes().values()) == {"sent"}
