"""Files hold the valid scores alone: after a rescore they are the same bytes as if the wrong scores had never been."""

from collections import Counter

from sqlalchemy import select

from scoring.library import load_library
from server.intake.rescore import rescore
from server.models import Score
from tests.exports.clinic import Exporter, ada_answers
from tests.storehouse import NOW, add_score


def files(exporter: Exporter, name: str) -> dict[str, bytes]:
    exporter.export(name)
    return {file.name: file.read_bytes() for file in (exporter.folder / name).iterdir()}


def run(exporter: Exporter) -> Counter[str]:
    """What a rescore changed."""
    return rescore(exporter.store, exporter.keys, load_library(), now=NOW).changed


def spoil(exporter: Exporter) -> None:
    """Another value, and a scale that the definition does not have, as an earlier version might have stored them."""
    with exporter.store.writing() as session:
        total = session.scalars(select(Score).where(Score.superseded_at.is_(None), Score.scale == "total")).one()
        total.value, total.method, total.scoring_version = 3.5, "words of old", "0"
        add_score(session, total.response, scale="of_old", value=1.0, scoring_version="0")


def test_an_export_after_a_rescore_is_what_it_was_before_the_scores_were_wrong(exporter: Exporter) -> None:
    with exporter.store.writing() as session:
        ada_answers(exporter, session)
    run(exporter)  # the scores of the example do not all follow from its answers
    right = files(exporter, "right")
    spoil(exporter)
    assert files(exporter, "wrong") != right
    assert run(exporter) == {"value": 1, "scale_gone": 1}
    assert files(exporter, "rescored") == right
    with exporter.store.reading() as session:
        old = session.scalars(select(Score).where(Score.superseded_at.is_not(None), Score.scoring_version == "0"))
        assert {score.scale: score.value for score in old} == {"total": 3.5, "of_old": 1}
