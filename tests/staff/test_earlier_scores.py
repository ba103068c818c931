"""Scores that a rescore superseded can still be read, the latest first."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from server.models import Score
from server.staff.earlier import earlier_scores
from tests.intake.archive import NOW, Archive, make_archive, pain, response_ids, sst


@pytest.fixture
def archive(database_url: str, tmp_path: Path) -> Iterator[Archive]:
    yield from make_archive(database_url, tmp_path)


def test_earlier_scores_of_a_response_come_by_scale_with_the_last_one_first(archive: Archive) -> None:
    archive.add_patient(1, [[sst(), pain(3)], [sst(), pain(1)]])
    first, second = response_ids(archive)
    for day, value in enumerate((2, 5)):
        valid = Score.superseded_at.is_(None)
        archive.change_scores(valid, Score.response_id == first, Score.scale == "total", value=value)
        archive.run(now=NOW + timedelta(days=day))
    with archive.store.reading() as session:
        found = earlier_scores(session, first)
        assert {scale: [score.value for score in scores] for scale, scores in found.items()} == {
            ("sst", "total"): [5, 2]
        }
        assert [score.superseded_at for score in found["sst", "total"]] == [NOW + timedelta(days=1), NOW]
        assert earlier_scores(session, second) == {}
