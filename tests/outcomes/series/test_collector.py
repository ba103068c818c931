"""The collector rests while a series is read, and looks again afterwards whatever happened."""

import gc
from contextlib import suppress

from server.outcomes.series.collector import collector_at_rest


def test_it_rests_within_and_looks_again_after_the_outermost_of_two() -> None:
    with collector_at_rest():
        with collector_at_rest():
            assert not gc.isenabled()
        assert not gc.isenabled()
    assert gc.isenabled()


def test_it_looks_again_after_a_fault_too() -> None:
    with suppress(ValueError), collector_at_rest():
        raise ValueError
    assert gc.isenabled()
