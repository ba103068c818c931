"""What the long run over altered envelopes counts as a fault."""

from tests.intake.altered import GOOD, opened
from tests.soak.altered_envelopes import count_outcomes


def test_an_exception_and_an_outcome_that_the_protocol_does_not_know_are_faults_and_the_next_is_still_tried() -> None:
    def broken(_given: str) -> str:
        raise KeyError("code")

    def strange(_given: str) -> str:
        return "taken, with other answers"

    tally = count_outcomes([(broken, "x"), (strange, "x"), (opened, GOOD)])
    assert (tally.tried, tally.noticed, tally.taken) == (3, 0, 1)
    assert tally.faults == ["KeyError: 'code', from 'x'", "taken, with other answers, from 'x'"]
