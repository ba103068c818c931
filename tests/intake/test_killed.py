"""However the server dies between receiving and recording, each envelope is there exactly once."""

from pathlib import Path

from tests.clinic_case import Case
from tests.intake.killed import deliver_all, wrong_counts

SEED = 20260615


def test_each_envelope_is_recorded_exactly_once_however_the_server_dies(case: Case, tmp_path: Path) -> None:
    tally = deliver_all(case, tmp_path, SEED, patients=15)
    assert wrong_counts(case, patients=15) == {}
    assert tally.killed >= 3
