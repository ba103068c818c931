"""What cannot be rescored is left as it is, said with its reason; what others do meanwhile is not undone."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from sqlalchemy import select, update

from scoring.definition import Definition
from server.crypto.fields import PatientCipher
from server.intake.open import Keys
from server.intake.rescore import RescoreProblem
from server.intake.score_changes import LeftAloneReason
from server.models import Patient, Response, Score
from tests.intake.archive import NOW, Archive, pain, sst


def change_all(archive: Archive) -> None:
    """Two patients with a wrong total each; the first is the one that something happens to."""
    archive.add_patient(1, [[sst(), pain(3)]])
    archive.add_patient(2, [[sst(), pain(3)]])
    archive.change_scores(Score.scale == "total", value=2)


def handle(archive: Archive) -> str:
    with archive.store.reading() as session:
        return session.scalars(select(Patient.handle).order_by(Patient.id)).first() or ""


def erase(archive: Archive, *, key_too: bool = True) -> None:
    if key_too:
        archive.keys.erase_patient_key(handle(archive))
    with archive.store.writing() as session:
        session.execute(update(Patient).where(Patient.handle == handle(archive)).values(erased_at=NOW))


def lose_key(archive: Archive) -> None:
    archive.keys.erase_patient_key(handle(archive))


def alter(archive: Archive) -> None:
    with archive.store.writing() as session:
        response = session.scalars(select(Response).order_by(Response.id)).first()
        assert response is not None
        response.answers = response.answers[:-1] + bytes([response.answers[-1] ^ 1])


def drop_version(archive: Archive) -> None:
    newer = {"pain@2": archive.library.definitions["pain@1"]}
    kept = {spec: each for spec, each in archive.library.definitions.items() if spec != "pain@1"}
    archive.library = replace(archive.library, definitions=kept | newer)


@pytest.mark.parametrize(
    ("happen", "why"),
    [
        (erase, LeftAloneReason.ERASED),
        (lambda archive: erase(archive, key_too=False), LeftAloneReason.ERASED),
        (lose_key, LeftAloneReason.KEY_MISSING),
        (alter, LeftAloneReason.NOT_OPENED),
    ],
    ids=["erased", "erased-and-key-back", "key-missing", "altered"],
)
def test_a_response_that_does_not_open_is_left_alone_and_the_others_are_rescored(
    archive: Archive, happen: Callable[[Archive], None], why: LeftAloneReason
) -> None:
    change_all(archive)
    happen(archive)
    before = archive.rows()
    found, changes, (left,) = archive.run()
    assert (left.response.study_number, left.reason, found.left_alone) == ("Y-0001", why, {why: 1})
    assert [change.response.study_number for change in changes] == ["Y-0002"]
    assert archive.rows()[:4] == before[:4]


def test_a_version_that_is_not_known_is_left_alone_and_never_scored_by_a_newer_one(archive: Archive) -> None:
    change_all(archive)
    drop_version(archive)
    before = archive.rows()
    found, changes, _left_alone = archive.run()
    assert (found.left_alone, changes) == ({LeftAloneReason.UNKNOWN_VERSION: 2}, [])
    assert archive.rows() == before


def test_an_instrument_without_a_version_is_not_taken_for_the_newest(archive: Archive) -> None:
    archive.add_patient(1, [[{**sst(), "instrument": "sst"}]])
    assert archive.run()[0].left_alone == {LeftAloneReason.UNKNOWN_VERSION: 1}


@pytest.mark.parametrize("blank", [False, True], ids=["whole-sheet", "with-a-blank"])
def test_answers_that_their_instrument_does_not_accept_are_left_alone(archive: Archive, blank: bool) -> None:
    archive.add_patient(1, [[pain(3)]])
    wrong = sst(item_3=1)
    if blank:
        wrong["answers"]["1"] = {"state": "declined"}
    archive.add_patient(2, [[wrong]])
    eleven = archive.library.definitions["pain@1"]
    archive.library = replace(archive.library, definitions={"sst@1": _codes_2_and_3(archive), "pain@1": eleven})
    before = archive.rows()
    found, _changes, (left,) = archive.run()
    assert (left.response.study_number, left.reason, found.unchanged.total()) == (
        "Y-0002",
        LeftAloneReason.NOT_FITTING,
        1,
    )
    assert archive.rows() == before


def _codes_2_and_3(archive: Archive) -> Definition:
    definition = archive.library.definitions["sst@1"]
    return replace(definition, items=tuple(replace(item, numbers=(2, 3)) for item in definition.items))


class Meddling:
    """Keys of which asking for one makes something else happen meanwhile, as long as `happens` goes on."""

    def __init__(self, archive: Archive, happens: list[Callable[[], object]]) -> None:
        self._keys, self._happens = archive.keys, happens

    def sealing_key(self, key_id: str) -> ec.EllipticCurvePrivateKey:
        return self._keys.sealing_key(key_id)

    def patient_cipher(self, handle: str) -> PatientCipher:
        if self._happens:
            self._happens.pop()()
        return self._keys.patient_cipher(handle)


def test_two_runs_at_once_supersede_each_row_once(archive: Archive) -> None:
    change_all(archive)
    keys: Keys = Meddling(archive, [archive.run])
    found, changes, _left_alone = archive.run(keys=keys)
    assert (found.unchanged.total(), changes) == (8, [])
    assert len(archive.rows()) == 10
    assert len(archive.rows(valid=True)) == 8


def test_a_patient_who_is_erased_meanwhile_gets_no_new_score(archive: Archive) -> None:
    change_all(archive)

    def when_the_second_patient_is_read() -> None:
        erase(archive)

    before = archive.rows()
    found, changes, _left_alone = archive.run(keys=Meddling(archive, [when_the_second_patient_is_read, lambda: None]))
    assert (found.left_alone, len(changes)) == ({LeftAloneReason.ERASED: 1}, 1)
    assert archive.rows()[:4] == before[:4]


def test_a_run_that_is_overtaken_again_and_again_says_so_and_leaves_what_stands(archive: Archive) -> None:
    change_all(archive)

    def again() -> None:
        archive.run()
        archive.change_scores(Score.scale == "total", Score.superseded_at.is_(None), value=2)

    with pytest.raises(RescoreProblem, match="run it again"):
        archive.run(keys=Meddling(archive, [again] * 100))
    assert sorted(each for each in archive.values().values() if each == 2) == [2, 2]
