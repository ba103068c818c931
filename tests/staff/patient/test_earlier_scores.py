"""Scores that a rescore superseded can still be read, the latest first."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from server.models import Response, Score
from server.staff.patient.score_explanation import earlier_of
from tests.intake.archive import NOW, Archive, make_archive, pain, response_ids, sst


@pytest.fixture
def archive(database_url: str, tmp_path: Path) -> Iterator[Archive]:
    yield from make_archive(database_url, tmp_path)


def test_earlier_scores_of_a_response_come_with_the_last_one_first(archive: Archive) -> None:
    archive.add_patient(1, [[sst(), pain(3)], [sst(), pain(1)]])
    first, second = response_ids(archive)
    for day, value in enumerate((2, 5)):
        valid = Score.superseded_at.is_(None)
        archive.change_scores(valid, Score.response_id == first, Score.scale == "total", value=value)
        archive.run(now=NOW + timedelta(days=day))
    with archive.store.reading() as session:
        found = earlier_of(session.get_one(Response, first).scores)
        assert [(score.instrument, score.scale, score.value) for score in found] == [
            ("sst", "total", 5),
            ("sst", "total", 2),
        ]
        assert [score.superseded_at for score in found] == [NOW + timedelta(days=1), NOW]
        assert earlier_of(session.get_one(Response, second).scores) == ()
