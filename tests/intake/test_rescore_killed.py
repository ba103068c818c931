"""Wherever a rescore is stopped, each response is wholly as it was or wholly rebuilt, and the next run completes it."""

import random
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, event

from server.models import Score
from tests.forked import exit_code
from tests.intake import rescore_child
from tests.intake.archive import Archive, pain, sst

OLD = 0.25
PATIENTS = 4
KILLS, SEED = 5, 20260615
STEPS = ("before_cursor_execute", "after_cursor_execute", "commit")


class Stopped(Exception):
    pass


@contextmanager
def stopping(engine: Engine, at: int) -> Iterator[list[str]]:
    """Raises before the `at`-th step, commits included; what was counted is in the list."""
    steps: list[str] = []

    def step(*details: Any) -> None:
        steps.append(str(details))
        if len(steps) == at:
            raise Stopped

    for name in STEPS:
        event.listen(engine, name, step)
    try:
        yield steps
    finally:
        for name in STEPS:
            event.remove(engine, name, step)


def fill(archive: Archive) -> dict[tuple[int, str, str], float | None]:
    """Patients with two forms each; returns what their scores ought to be."""
    for number in range(1, PATIENTS + 1):
        archive.add_patient(number, [[sst(), pain(number)], [sst(item_1=0), pain(0)]])
    return archive.values()


def spoil(archive: Archive) -> None:
    archive.change_scores(Score.superseded_at.is_(None), Score.instrument == "sst", value=OLD)


def mixed(archive: Archive, right: dict[tuple[int, str, str], float | None]) -> list[int]:
    """Responses of which some scores are old and some new, or some are missing."""
    now = archive.values()
    assert now.keys() == right.keys()
    old: dict[int, set[bool]] = {}
    for (response, instrument, scale), value in now.items():
        if instrument == "sst":
            assert value in (OLD, right[response, instrument, scale])
            old.setdefault(response, set()).add(value == OLD)
    return [response for response, each in old.items() if len(each) > 1]


def count_steps(archive: Archive) -> int:
    spoil(archive)
    with stopping(archive.store.engine, at=0) as steps:
        archive.run(at_once=2)
    return len(steps)


def test_stopped_at_any_step_each_response_is_whole_and_the_next_run_completes(archive: Archive) -> None:
    right = fill(archive)
    total = count_steps(archive)
    assert total > 4 * PATIENTS
    for at in range(1, total + 1):
        spoil(archive)
        with stopping(archive.store.engine, at), pytest.raises(Stopped):
            archive.run(at_once=2)
        assert mixed(archive, right) == [], f"stopped at step {at}"
        archive.run(at_once=2)
        assert archive.values() == right, f"stopped at step {at}"
    assert archive.run()[0].changed == {}


def test_killed_by_the_system_each_response_is_whole_and_the_next_run_completes(
    archive: Archive, database_url: str, tmp_path: Path
) -> None:
    right = fill(archive)
    killed = 0
    for at in random.Random(SEED).sample(range(1, count_steps(archive)), KILLS):
        spoil(archive)
        killed += exit_code(rescore_child.main, database_url, str(tmp_path), str(at)) == -9
        assert mixed(archive, right) == [], f"killed at step {at}"
        archive.run(at_once=2)
        assert archive.values() == right, f"killed at step {at}"
    assert killed == KILLS
