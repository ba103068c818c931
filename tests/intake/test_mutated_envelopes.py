"""Envelopes that were altered, by accident or on purpose, are refused or held with a reason of the protocol: never a fault."""

import json
from collections import Counter

from tests.intake.altered import GOOD, PAYLOADS, PROTOCOL_SAYS, altered, became, opened, read, whole_form

COUNT = 100_000


def test_a_hundred_thousand_altered_envelopes_and_payloads_are_never_a_fault() -> None:
    assert (
        became(opened, GOOD)
        == became(read, json.dumps(whole_form()).encode())
        == became(read, PAYLOADS[2].encode())
        == "taken"
    )
    found = Counter(became(step, given) for step, given in altered(COUNT, "altered"))
    assert found.total() == COUNT
    assert set(found) - {"taken"} <= PROTOCOL_SAYS
    assert all(found[reason] for reason in ("malformed", "not_opened", "not_json", "answers_not_valid", "taken"))
    assert found["taken"] < COUNT / 4, "most alterations are noticed"
