"""Runs every long proof and prints a table. Exits 1 when anything was lost."""

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from tests.clinic_case import make_case
from tests.databases import NoPostgreSQL, new_database, private_server
from tests.intake.killed import deliver_all, wrong_counts
from tests.soak.altered_envelopes import altered_envelopes
from tests.soak.coverage_of_a_product import coverage_of_a_product
from tests.soak.coverage_of_limits import coverage_of_limits
from tests.soak.intervals_at_their_best import intervals_at_their_best
from tests.soak.killed_copies import killed_copies
from tests.soak.killed_phone import killed_phone
from tests.soak.mutation.proof import mutation
from tests.soak.proof import Proof
from tests.soak.seeded_twice import seeded_twice
from tests.soak.silence_of_three_kinds import silence_of_three_kinds
from tests.soak.twin import twins

ROUNDS, PATIENTS = 12, 50
EXAMPLES = 3000


@contextmanager
def databases() -> Iterator[dict[str, str | None]]:
    """A URL for each kind, None for SQLite (a file in each round's folder)."""
    urls: dict[str, str | None] = {"SQLite": None}
    try:
        with private_server() as server, new_database(server) as url:
            yield {**urls, "PostgreSQL": url}
    except NoPostgreSQL as missing:
        print(f"PostgreSQL: {missing}; left out")
        yield urls


def killed_intake(kind: str, url: str | None) -> Proof:
    """Twelve times a hundred envelopes, each time in another order and killed elsewhere."""
    started = killed = posts = 0
    lost: list[str] = []
    for seed in range(ROUNDS):
        with tempfile.TemporaryDirectory(prefix="yearmark-soak-") as name:
            folder = Path(name)
            case = make_case(url or f"sqlite:///{folder / 'yearmark.sqlite3'}", folder)
            tally = deliver_all(case, folder, seed, patients=PATIENTS)
            started, killed, posts = started + tally.started, killed + tally.killed, posts + tally.posts
            lost += [f"round {seed}: {wrong}" for wrong in [wrong_counts(case, patients=PATIENTS)] if wrong]
            case.store.engine.dispose()
    tried = f"{2 * ROUNDS * PATIENTS} envelopes, {posts} posts, {started} servers, {killed} killed"
    return Proof(f"intake under kill -9, {kind}", tried, "; ".join(lost) or "nothing")


def properties(name: str, *folders: str) -> Proof:
    """Every property of these tests with many more examples than in ./run test."""
    profile = f"--hypothesis-profile=soak-{EXAMPLES}"
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "tests.soak.profile", profile, *folders]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    last = done.stdout.strip().splitlines()[-1] if done.stdout.strip() else done.stderr[-200:]
    return Proof(name, f"{EXAMPLES} examples a property: {last}", "nothing" if done.returncode == 0 else "see pytest")


def main() -> int:
    began, proofs = time.monotonic(), list[Proof]()
    with databases() as urls:
        waiting: list[Callable[[], Proof | list[Proof]]] = [
            *(partial(killed_intake, kind, url) for kind, url in urls.items()),
            lambda: list(killed_copies()),
            partial(properties, "properties of the schedule", "tests/schedule"),
            partial(properties, "properties of scoring", "tests/scoring"),
            partial(properties, "the record in any order", "tests/clinic/test_record_in_any_order.py"),
            coverage_of_limits,
            coverage_of_a_product,
            silence_of_three_kinds,
            intervals_at_their_best,
            twins,
            altered_envelopes,
            seeded_twice,
            killed_phone,
            mutation,
        ]
        for number, proof in enumerate(waiting, 1):
            print(f"[{number} of {len(waiting)}] running, {time.monotonic() - began:.0f} s so far", flush=True)
            found = proof()
            done = found if isinstance(found, list) else [found]
            proofs += done
            for each in done:
                print(f"  {each.name}: tried {each.tried}; lost: {each.lost}", flush=True)
    print(f"\n{'proof':40}{'tried':80}lost")
    for each in proofs:
        print(f"{each.name:40}{each.tried:80}{each.lost}")
    return 0 if all(each.good for each in proofs) else 1


if __name__ == "__main__":
    sys.exit(main())
