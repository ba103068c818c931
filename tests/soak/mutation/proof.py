"""The mutants of all targets as lines of the table of long proofs."""

import json
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.soak.mutation.campaign import Tally
from tests.soak.proof import Proof


def mutation() -> list[Proof]:
    """In a process of its own, which has not imported what is changed; its tables are printed as they come."""
    with TemporaryDirectory(prefix="yearmark-soak-") as folder:
        lines = Path(folder) / "proofs.json"
        subprocess.run([sys.executable, "-m", "tests.soak.mutation", "--proofs", str(lines)], check=False)
        if not lines.exists():
            return [Proof("mutation", "broke off", "see above")]
        return [Proof(**each) for each in json.loads(lines.read_text("utf-8"))]


def proof_of(folder: str, tallies: list[Tally]) -> Proof:
    without = [mutant for each in tallies for mutant in each.without_reason]
    idle = [key for each in tallies for key in each.idle_reasons]
    mutants, killed, late, reasoned, _ = (
        sum(column) for column in zip(*(each.counts for each in tallies), strict=True)
    )
    tried = f"{mutants} mutants, {killed} killed, {late} timed out, {reasoned} with a written reason"
    lost = f"{len(without)} without a reason, {len(idle)} reasons that fit none" if without or idle else "nothing"
    return Proof(f"mutation of {folder}", tried, lost)
