"""All mutants of a target: which are to be tried, what became of each, and the counts by file."""

import ast
import hashlib
import json
import os
import re
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from tests.soak.mutation.mutants import Mutant, mutants_of
from tests.soak.mutation.reasons import FILE, Key, read_reasons
from tests.soak.mutation.trial import Outcome, Seen, Session, outcome_of, watch

ROOT = Path(__file__).parents[3]
# What became of each mutant; a run that was stopped goes on from here.
RESULTS = ROOT / "build" / "mutants.jsonl"


@dataclass(frozen=True)
class Target:
    """`folder` is changed, the tests in `tests` judge, and `data` is what they read besides."""

    folder: str
    tests: tuple[str, ...]
    data: tuple[str, ...] = ()

    def files(self) -> list[str]:
        found = sorted((ROOT / self.folder).glob("*.py"))
        return [str(each.relative_to(ROOT)) for each in found if each.name != "__init__.py"]

    def digest(self) -> str:
        """Of everything that a result hangs on."""
        found = hashlib.sha256()
        for folder in (self.folder, *self.tests, *self.data):
            for path in sorted((ROOT / folder).rglob("*")):
                if path.suffix in (".py", ".json", ".md"):
                    found.update(f"{path.relative_to(ROOT)}\0".encode() + path.read_bytes() + b"\0")
        return found.hexdigest()[:16]


TARGETS = (
    Target("scoring", ("tests/scoring", "tests/instruments"), ("instruments",)),
    Target("server/outcomes/arithmetic", ("tests/outcomes/arithmetic",)),
    Target("server/forms", ("tests/forms",), ("instruments",)),
)


@dataclass
class Tally:
    """One file. `idle_reasons` fit no mutant, or one that a test notices."""

    file: str
    outcomes: dict[Key, Outcome] = field(default_factory=dict)
    with_reason: list[Mutant] = field(default_factory=list)
    without_reason: list[Mutant] = field(default_factory=list)
    idle_reasons: list[Key] = field(default_factory=list)

    @property
    def good(self) -> bool:
        return not self.without_reason and not self.idle_reasons

    @property
    def counts(self) -> tuple[int, int, int, int, int]:
        values = list(self.outcomes.values())
        found = len(values), values.count("killed"), values.count("timed out")
        return *found, len(self.with_reason), len(self.without_reason)


class Campaign:
    """`judges` are the test files to ask instead of all, for work on a file: what they kill is kept through changes."""

    def __init__(self, target: Target, only: Sequence[str] = (), *, jobs: int, judges: Sequence[str] = ()) -> None:
        self.target, self.jobs, self.judges = target, jobs, judges
        self.files = [file for file in target.files() if not only or file in only]
        self.sources = {file: (ROOT / file).read_text("utf-8").splitlines() for file in target.files()}
        self.digest = target.digest()
        self.known = self._known()

    def run(self) -> list[Tally]:
        """RuntimeError in a process that has imported what is to be changed: its tests would go on with the code as it is."""
        imported = {file.removesuffix(".py").replace("/", ".") for file in self.files} & sys.modules.keys()
        if imported:
            raise RuntimeError(f"{', '.join(sorted(imported))}: imported already, so that no mutant would be tried")
        os.chdir(ROOT)
        Session(self.judges or self.target.tests, self._work).run()
        return [self._tally(file) for file in self.files]

    def _known(self) -> dict[Key, Outcome]:
        known: dict[Key, Outcome] = {}
        for line in RESULTS.read_text("utf-8").splitlines() if RESULTS.exists() else ():
            digest, key, outcome = json.loads(line)
            if digest == self.digest or (self.judges and outcome != "survived"):
                known[tuple(key)] = outcome
        return known

    def _work(self, session: Session) -> None:
        RESULTS.parent.mkdir(exist_ok=True)
        seen = watch(session, list(self.sources), RESULTS.with_name("mutants-seen.json"))
        for file in self.files:
            if seen is None or self._file(session, file, seen) is None:
                return

    def _first(self, seen: Seen, mutant: Mutant) -> tuple[str, ...]:
        """The few tests that are likely to notice; where nothing runs its lines but an import, those that use its name."""
        tests = seen.first(f"{mutant.file}:{number}" for number in mutant.lines)
        if tests:
            return tests
        named, _, _ = self.sources[mutant.file][mutant.lines.start - 1].partition("=")
        names = re.compile(r"\b(?:" + "|".join(re.findall(r"\w+", named)) + r")\b")
        lines = ((file, number, line) for file, text in self.sources.items() for number, line in enumerate(text, 1))
        return seen.first(f"{file}:{number}" for file, number, line in lines if names.search(line))

    def _file(self, session: Session, file: str, seen: Seen) -> bool | None:
        """None in a child, which has its mutant by then."""
        source = "\n".join(self.sources[file]) + "\n"
        tree = ast.parse(source)
        found = [each for each in mutants_of(file, source, tree) if each.key not in self.known]
        # First the few tests that are likely to notice, then, if they do not, all of them.
        waiting = [(mutant, self._first(seen, mutant)) for mutant in reversed(found)]
        session.seconds = seen.seconds
        running: dict[int, tuple[Mutant, tuple[str, ...]]] = {}
        began = time.monotonic()
        while waiting or running:
            if waiting and len(running) < self.jobs:
                mutant, tests = waiting.pop()
                child = session.start(mutant, tree, tests)
                if child == 0:
                    return None
                running[child] = mutant, tests
            else:
                child, status = os.wait()
                mutant, tests = running.pop(child)
                outcome = outcome_of(status)
                if outcome == "survived" and tests:
                    waiting.append((mutant, ()))
                else:
                    self._record(mutant, outcome)
        print(f"  {file}: {time.monotonic() - began:.0f} s", flush=True)
        return True

    def _record(self, mutant: Mutant, outcome: Outcome) -> None:
        self.known[mutant.key] = outcome
        if self.judges and outcome == "survived":
            return  # other tests may notice
        with RESULTS.open("a", encoding="utf-8") as file:
            file.write(json.dumps([self.digest, mutant.key, outcome]) + "\n")

    def _tally(self, file: str) -> Tally:
        source, tally = Path(file).read_text("utf-8"), Tally(file)
        reasons = {key for key in read_reasons(FILE.read_text("utf-8")) if key[0] == file}
        for mutant in mutants_of(file, source, ast.parse(source)):
            tally.outcomes[mutant.key] = self.known[mutant.key]
            if self.known[mutant.key] == "survived":
                (tally.with_reason if mutant.key in reasons else tally.without_reason).append(mutant)
        tally.idle_reasons = sorted(reasons - {each.key for each in tally.with_reason})
        return tally


def table(tallies: Sequence[Tally]) -> str:
    """A line for each file and one for all."""
    rows = [(each.file, *each.counts) for each in tallies]
    rows.append(("all", *(sum(column) for column in list(zip(*rows, strict=True))[1:])))
    head = f"{'file':40}{'mutants':>9}{'killed':>9}{'timed out':>11}{'with reason':>13}{'without':>9}"
    return "\n".join([head, *_lines(rows)])


def _lines(rows: Sequence[tuple[str, int, int, int, int, int]]) -> Iterator[str]:
    for name, mutants, killed, late, reasoned, without in rows:
        yield f"{name:40}{mutants:9}{killed:9}{late:11}{reasoned:13}{without:9}"
