"""The mutants of all targets as lines of the table of long proofs."""

import os

from tests.soak.mutation.campaign import TARGETS, Campaign, Tally, table
from tests.soak.mutation.reasons import entry_for
from tests.soak.proof import Proof


def mutation() -> list[Proof]:
    proofs = []
    for target in TARGETS:
        tallies = Campaign(target, jobs=os.cpu_count() or 1).run()
        print(table(tallies))
        proofs.append(proof_of(target.folder, tallies))
    return proofs


def proof_of(folder: str, tallies: list[Tally]) -> Proof:
    without = [mutant for each in tallies for mutant in each.without_reason]
    idle = [key for each in tallies for key in each.idle_reasons]
    if without:
        print(entry_for(without))
    mutants, killed, late, reasoned, _ = (
        sum(column) for column in zip(*(each.counts for each in tallies), strict=True)
    )
    tried = f"{mutants} mutants, {killed} killed, {late} timed out, {reasoned} with a written reason"
    lost = f"{len(without)} without a reason, {len(idle)} reasons that fit none" if without or idle else "nothing"
    return Proof(f"mutation of {folder}", tried, lost)
