"""However the server dies between receiving and recording, each envelope is there exactly once."""

from pathlib import Path

from tests.clinic_case import Case
from tests.intake.killed import deliver_all, wrong_counts

SEED = 20260615


def test_each_of_a_hundred_envelopes_is_recorded_exactly_once_however_the_server_dies(
    case: Case, tmp_path: Path
) -> None:
    tally = deliver_all(case, tmp_path, SEED)
    assert wrong_counts(case) == {}
    assert tally.killed >= 3
