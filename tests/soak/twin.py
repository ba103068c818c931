"""Each instrument against the second scoring, on a hundred thousand random sheets."""

import os
from concurrent.futures import ProcessPoolExecutor

from tests.scoring.agreement import disagreements
from tests.scoring.naive import CODES
from tests.soak.proof import Proof

SHEETS = 100_000
SEED = 20262  # another one than in ./run test


def twin_of(instrument: str) -> Proof:
    found = disagreements(instrument, SHEETS, SEED)
    lost = f"{len(found)} results differ; the first: {found[0]}" if found else "nothing"
    return Proof(f"naive twin, {instrument}", f"{SHEETS} random sheets", lost)


def twins() -> list[Proof]:
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(twin_of, CODES))
