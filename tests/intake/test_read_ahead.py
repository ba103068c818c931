"""A long rescore is read by a process of its own, ahead of what is written: the same batches, whole, and nothing is left running."""

import multiprocessing
import os
import signal
import struct
import subprocess
import sys
from collections.abc import Iterator
from datetime import timedelta
from itertools import islice
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from server.intake import read_ahead
from server.intake.rebuild import Batch
from server.intake.rescore import RescoreProblem
from server.models import Score
from tests.intake.archive import NOW, Archive, pain, sst

MANY = read_ahead.MANY + 2


def fill(archive: Archive) -> None:
    """As many patients as make many batches of one: most with a changed score, one without a key."""
    for number in range(1, MANY + 1):
        archive.add_patient(number, [[sst(item_3=0), pain(number % 11)]])
    archive.change_scores(Score.instrument == "sst", Score.scale == "total", value=0.25)
    (archive.keys.folder / "patient").rename(archive.keys.folder / "all")
    keys = sorted((archive.keys.folder / "all").glob("*/*.key"))
    for file in keys[1:]:
        place = archive.keys.folder / "patient" / file.parent.name / file.name
        place.parent.mkdir(parents=True, exist_ok=True)
        file.rename(place)


def read(archive: Archive, *, at_once: int = 1) -> Iterator[Batch]:
    return read_ahead.read_batches(archive.store, archive.keys, archive.library, at_once=at_once)


def test_another_process_finds_the_same_as_this_one(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(archive)
    ahead = read(archive)
    first = next(ahead)
    assert len(multiprocessing.active_children()) == 1
    elsewhere = [first, *ahead]
    assert (len(elsewhere), multiprocessing.active_children()) == (MANY, [])
    monkeypatch.setattr(read_ahead, "MANY", MANY)
    here = list(read(archive))
    assert elsewhere == here
    kinds = [
        [[type(part) for part in change] for batch in found for change in batch.changes] for found in (elsewhere, here)
    ]
    assert kinds[0] == kinds[1] != []
    assert sum(len(batch.left_alone) for batch in here) == 1


def test_a_long_run_changes_what_a_short_one_would_and_a_second_one_nothing(archive: Archive) -> None:
    fill(archive)
    right = archive.values() | {key: 11.0 for key in archive.values() if key[1:] == ("sst", "total")}
    found, changes, left_alone = archive.run(at_once=1)
    assert (found.responses, found.changed, len(changes), len(left_alone)) == (MANY, {"value": MANY - 1}, MANY - 1, 1)
    unread = left_alone[0].where.response_id, "sst", "total"
    assert archive.values() == right | {unread: 0.25}
    rows = archive.rows()
    assert archive.run(at_once=1, now=NOW + timedelta(days=1))[0].changed == {}
    assert archive.rows() == rows
    assert multiprocessing.active_children() == []


def test_what_goes_wrong_in_reading_is_raised_here(archive: Archive) -> None:
    fill(archive)
    batches = read(archive)
    with archive.store.engine.begin() as connection:
        connection.execute(text("ALTER TABLE shoulder RENAME TO gone"))
    try:
        with pytest.raises(DBAPIError):
            next(batches)
    finally:
        with archive.store.engine.begin() as connection:
            connection.execute(text("ALTER TABLE gone RENAME TO shoulder"))
    assert multiprocessing.active_children() == []


def test_a_reader_that_is_killed_stops_the_run_and_what_was_rebuilt_stands(archive: Archive) -> None:
    fill(archive)

    def kill(_batch: Batch) -> None:
        for reader in multiprocessing.active_children():
            assert reader.pid is not None
            os.kill(reader.pid, signal.SIGKILL)

    with pytest.raises(RescoreProblem, match=r"ended too soon\. What was rebuilt before stands"):
        archive.run(at_once=1, told=kill)
    done = len([row for row in archive.rows() if row[-1] is not None])
    assert 0 < done < MANY - 1
    assert archive.run()[0].changed.total() == MANY - 1 - done


def test_a_reader_that_ends_in_the_middle_of_a_message_is_gone_too() -> None:
    here, there = multiprocessing.Pipe()
    os.write(there.fileno(), struct.pack("!i", 100_000) + b"the rest never came")
    there.close()
    with pytest.raises(read_ahead.ReaderGone):
        read_ahead._received(here)


def test_it_is_no_more_than_two_batches_ahead(archive: Archive) -> None:
    """The third is read by then, and not sent before the first one arrived."""
    fill(archive)
    batches = read_ahead.read_batches(archive.store, archive.keys, archive.library, at_once=1)
    next(batches)
    archive.change_scores(Score.instrument == "pain", value=0.125)  # long before the last ones are read
    last = list(batches)[-1]
    assert {change.before and change.before.value for change in last.changes} >= {0.125}
    assert multiprocessing.active_children() == []


def test_ctrl_c_is_held_back_from_the_reader_from_its_start(archive: Archive) -> None:
    fill(archive)
    batches = read_ahead.read_batches(archive.store, archive.keys, archive.library, at_once=1)
    next(batches)
    (reader,) = multiprocessing.active_children()
    assert reader.pid is not None
    os.kill(reader.pid, signal.SIGINT)
    assert len(list(batches)) == MANY - 1
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())


def test_who_does_not_want_the_rest_leaves_no_process_behind(archive: Archive) -> None:
    fill(archive)
    batches = read_ahead.read_batches(archive.store, archive.keys, archive.library, at_once=1)
    assert len(list(islice(batches, 2))) == 2
    batches.close()
    assert multiprocessing.active_children() == []


def test_the_reader_ends_when_the_run_is_killed(archive: Archive, database_url: str, tmp_path: Path) -> None:
    fill(archive)
    command = [sys.executable, "-m", "tests.intake.read_ahead_child", database_url, str(tmp_path)]
    # Both processes hold the pipe of this output: it ends, and run returns, only when both have.
    ended = subprocess.run(command, check=False, capture_output=True, timeout=60, text=True)
    assert (ended.returncode, ended.stdout, ended.stderr) == (-signal.SIGKILL, "a reader runs\n", "")
