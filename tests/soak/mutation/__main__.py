"""python -m tests.soak.mutation [--jobs N] [--judge TEST_FILE]... [FILE...]: tries every mutant and prints a table."""

import argparse
import json
import os
import sys
from dataclasses import asdict
from pathlib import Path

from tests.soak.mutation.campaign import TARGETS, Campaign, table
from tests.soak.mutation.proof import proof_of
from tests.soak.mutation.reasons import entry_for


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.soak.mutation", description=__doc__)
    parser.add_argument("files", nargs="*", metavar="FILE", help="only these; all by default")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="children at the same time")
    parser.add_argument(
        "--judge", action="append", default=[], metavar="TEST_FILE", help="only this, for work on a file"
    )
    parser.add_argument("--proofs", type=Path, metavar="FILE", help="where to write the lines for the table of proofs")
    given = parser.parse_args()
    tallies, proofs = [], []
    for target in TARGETS:
        campaign = Campaign(target, given.files, jobs=given.jobs, judges=given.judge)
        if campaign.files:
            found = campaign.run()
            tallies += found
            proofs.append(proof_of(target.folder, found))
    print(table(tallies))
    if given.proofs:
        given.proofs.write_text(json.dumps([asdict(each) for each in proofs]), "utf-8")
    without = [mutant for each in tallies for mutant in each.without_reason]
    if without:
        print(f"\nNo test notices these, and no reason is written down:\n\n{entry_for(without)}")
    for each in tallies:
        for key in each.idle_reasons:
            print(f"The reason for this fits no survivor any more: {key}")
    return 0 if all(each.good for each in tallies) else 1


if __name__ == "__main__":
    sys.exit(main())
