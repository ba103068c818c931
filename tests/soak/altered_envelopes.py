"""A million altered envelopes and payloads: each is refused or held with a reason of the protocol, or was not really altered.

`python -m tests.soak.altered_envelopes 20000` does so many in place of a million.
"""

import os
import sys
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from tests.intake.altered import PROTOCOL_SAYS, Step, altered, became
from tests.soak.proof import Proof

COUNT = 1_000_000
SHARES = 20  # each with a seed of its own, other ones than in ./run test


@dataclass
class Tally:
    tried: int = 0
    noticed: int = 0
    taken: int = 0
    faults: list[str] = field(default_factory=list)


def count_outcomes(given: Iterable[tuple[Step, Any]]) -> Tally:
    tally = Tally()
    for step, each in given:
        tally.tried += 1
        try:
            outcome = became(step, each)
        except Exception as fault:  # whatever it is, the next must be tried too
            tally.faults.append(f"{type(fault).__name__}: {fault}, from {each!r}")
            continue
        if outcome == "taken":
            tally.taken += 1
        elif outcome in PROTOCOL_SAYS:
            tally.noticed += 1
        else:
            tally.faults.append(f"{outcome}, from {each!r}")
    return tally


def of_share(count: int, share: int) -> Tally:
    return count_outcomes(altered(count, f"soak {share}"))


def altered_envelopes(count: int = COUNT) -> Proof:
    """`taken`: the bytes, or what they mean, were the same as before, or the change is one that the protocol allows."""
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        tallies = list(pool.map(partial(of_share, count // SHARES), range(SHARES)))
    tried, noticed, taken = (sum(getattr(each, name) for each in tallies) for name in ("tried", "noticed", "taken"))
    faults = [fault for each in tallies for fault in each.faults]
    told = f"{tried} altered: {noticed} refused or held, {taken} taken, {len(faults)} faults"
    missing = count // SHARES * SHARES - noticed - taken - len(faults)
    lost = [f"{missing} without an outcome"] * bool(missing) + faults[:1]
    return Proof("altered envelopes and payloads", told, "; ".join(lost) or "nothing")


if __name__ == "__main__":
    proof = altered_envelopes(int(sys.argv[1]) if len(sys.argv) > 1 else COUNT)
    print(f"{proof.name}: tried {proof.tried}; lost: {proof.lost}")
    sys.exit(0 if proof.good else 1)
