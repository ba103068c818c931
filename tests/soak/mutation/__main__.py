"""python -m tests.soak.mutation [--jobs N] [--judge TEST_FILE]... [FILE...]: tries every mutant and prints a table."""

import argparse
import os
import sys

from tests.soak.mutation.campaign import TARGETS, Campaign, table
from tests.soak.mutation.reasons import entry_for


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.soak.mutation", description=__doc__)
    parser.add_argument("files", nargs="*", metavar="FILE", help="only these; all by default")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="children at the same time")
    parser.add_argument(
        "--judge", action="append", default=[], metavar="TEST_FILE", help="only this, for work on a file"
    )
    given = parser.parse_args()
    tallies = []
    for target in TARGETS:
        campaign = Campaign(target, given.files, jobs=given.jobs, judges=given.judge)
        if campaign.files:
            tallies += campaign.run()
    print(table(tallies))
    without = [mutant for each in tallies for mutant in each.without_reason]
    if without:
        print(f"\nNo test notices these, and no reason is written down:\n\n{entry_for(without)}")
    for each in tallies:
        for key in each.idle_reasons:
            print(f"The reason for this fits no survivor any more: {key}")
    return 0 if all(each.good for each in tallies) else 1


if __name__ == "__main__":
    sys.exit(main())
