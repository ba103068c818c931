"""What must hold of each command that was killed, and of the clinic it was given for. Everybody in it is invented."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import psycopg
from sqlalchemy import delete, inspect, make_url, select, text

from server.config import Settings
from server.exports import DIGEST_FOLDERS
from server.installation.backup import Copy, copy_data, copy_keys, count_rows
from server.installation.drill import drill
from server.installation.restore import Wanted, restore
from server.installation.scratch import SCRATCH
from server.installation.set_up import RESTORE_UNFINISHED, NotReady, check_ready
from server.models import BackupCopy, RestoreProof
from server.queries.restored import waits_for_release
from server.store.engine import make_engine
from server.trust.backup.databases import is_empty
from server.trust.backup.manifest import CopyProblem
from server.trust.backup.place import finished_copies, verify
from tests.clinic_case import NOW
from tests.installation.copied import Copied, opened
from tests.installation.killed import Killed, Step

ADDED_TO = {"backup_copy", "restore_proof"}
NOTED = {"restoration", "audit_entry"}  # in a restored database stands that it was restored


class Unharmed:
    """The clinic as it was at first: every row of every table, and every key. Copies and drills add rows of their own alone."""

    def __init__(self, copied: Copied) -> None:
        self._copied = copied
        self._before = self._now()

    def check(self) -> None:
        assert self._now() == self._before, "the clinic's own data have changed"

    def _now(self) -> dict[str, object]:
        case, found = self._copied.case, dict[str, object]()
        with case.store.reading() as session:
            for name in set(inspect(session.connection()).get_table_names()) - ADDED_TO:
                kept = "WHERE action NOT LIKE 'backup:%'" if name == "audit_entry" else ""
                found[name] = sorted(map(repr, session.execute(text(f'SELECT * FROM "{name}" {kept}'))))
        case.store.engine.dispose()  # nothing that is open goes into a process that is killed
        return {**found, **files_in(case.runtime.keys.folder)}


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(file.relative_to(folder)): file.read_bytes() for file in folder.rglob("*") if file.is_file()}


def digest_folders(data: Path) -> list[str]:
    return [each.name for each in data.glob(f"{DIGEST_FOLDERS}*")]


@dataclass
class KilledCopy:
    """`yearmark backup`, or `backup-keys`."""

    copied: Copied
    keys: bool = False
    clinic: Unharmed = field(init=False)

    def __post_init__(self) -> None:
        self.clinic = Unharmed(self.copied)

    @property
    def place(self) -> Path:
        return self.copied.folder / ("keys-killed" if self.keys else "copies-killed")

    @contextmanager
    def ground(self) -> Iterator[None]:
        shutil.rmtree(self.place, ignore_errors=True)
        with self.copied.case.store.writing() as session:
            session.execute(delete(BackupCopy))
        self._copy()  # an earlier one, which has to stay
        self.copied.case.store.engine.dispose()
        yield

    def _copy(self, step: Step = lambda *_: None) -> Copy:
        runtime = self.copied.runtime
        return copy_keys(runtime, self.place) if self.keys else copy_data(runtime, self.place, step)

    def work(self, step: Step) -> None:
        self._copy(step)

    def look(self) -> bool:
        return self._whole_copies(before=1) == 2

    def again(self, was_whole: bool) -> None:
        made = self._copy()
        assert verify(made.folder) == made.manifest
        assert self._whole_copies(before=1 + was_whole) == 2 + was_whole
        assert [each.name for each in self.place.iterdir() if each.name.startswith(".")] == []
        assert digest_folders(self.copied.runtime.settings.data) == []

    def _whole_copies(self, before: int) -> int:
        """All that count: each is whole, and each that the clinic knows of is one of them."""
        copies = list(finished_copies(self.place))
        assert len(copies) - before in (0, 1)
        assert {folder for folder, _ in copies} == {each for each in self.place.iterdir() if each.name[0] != "."}
        assert [verify(folder) for folder, _ in copies] == [manifest for _, manifest in copies]
        with self.copied.case.store.reading() as session:
            known = set(session.scalars(select(BackupCopy.place)))
        assert known <= {str(folder.resolve()) for folder, _ in copies}
        self.clinic.check()
        return len(copies)


@dataclass
class KilledRestore:
    """`yearmark restore`, of data and keys, on a machine on which nothing is yet."""

    copied: Copied

    def __post_init__(self) -> None:
        self.data, self.keys = self.copied.data(), self.copied.keys()
        self.wanted = Wanted(self.data.folder, self.keys.folder)
        self.clinic, self.copies = Unharmed(self.copied), self._copies()

    def _copies(self) -> dict[str, bytes]:
        return {**files_in(self.data.folder), **files_in(self.keys.folder)}

    @contextmanager
    def ground(self) -> Iterator[None]:
        with self.copied.for_a_while():
            self.machine = self.copied.new_machine("killed")
            yield
            shutil.rmtree(self.machine.data, ignore_errors=True)

    def work(self, _step: Step) -> None:
        restore(self.machine, self.wanted, now=NOW)

    def look(self) -> bool:
        self.clinic.check()
        assert self._copies() == self.copies, "the copy was changed"
        return is_restored(self.machine, self.data)

    def again(self, was_whole: bool) -> None:
        try:
            restore(self.machine, self.wanted, now=NOW)
            assert not was_whole, "what was restored already was written over"
        except CopyProblem as problem:
            assert was_whole and "holds data already" in str(problem), problem
        assert is_restored(self.machine, self.data)
        assert files_in(self.machine.keys) == {
            name: content for name, content in files_in(self.keys.folder).items() if name != "manifest.json"
        }
        there = {each.name.removesuffix("-wal").removesuffix("-shm") for each in self.machine.data.iterdir()}
        assert there <= {"keys", "locks", "yearmark.sqlite3"}, there


def is_restored(settings: Settings, data: Copy) -> bool:
    """Whether a server would start on it: then all is there, and it waits for release. Else it is empty, or says it is unfinished."""
    engine = make_engine(settings.database_url, None)
    empty = is_empty(engine)
    engine.dispose()
    if empty:
        return False
    runtime = opened(settings)
    try:
        check_ready(runtime)
        with runtime.store.reading() as session:
            assert waits_for_release(session) is not None
            counts = count_rows(session.connection())
        assert {name for name, rows in counts.items() if rows != data.manifest.counts[name]} == NOTED
        assert not (settings.data / RESTORE_UNFINISHED).exists()
        return True
    except NotReady as problem:
        assert "begun and not finished" in str(problem), problem
        return False
    finally:
        runtime.store.engine.dispose()


@dataclass
class KilledDrill:
    """`yearmark drill`, of the newest copies."""

    copied: Copied

    def __post_init__(self) -> None:
        self.copied.data()
        self.copied.keys()
        self.clinic, self.keys = Unharmed(self.copied), self._keys()

    @contextmanager
    def ground(self) -> Iterator[None]:
        with self.copied.case.store.writing() as session:
            session.execute(delete(RestoreProof))
        self.copied.case.store.engine.dispose()
        yield

    def work(self, _step: Step) -> None:
        assert drill(self.copied.runtime, None, None).same

    def look(self) -> bool:
        self.clinic.check()
        assert self._keys() == self.keys, "a second copy of keys was left"
        proofs = self._proofs()
        assert proofs in ([], [True])
        return proofs == [True]

    def again(self, was_whole: bool) -> None:
        self.work(lambda *_: None)
        assert self._proofs() == [True] * (1 + was_whole)
        data = self.copied.runtime.settings.data
        assert [each.name for each in data.iterdir() if each.name == SCRATCH] + digest_folders(data) == []
        assert self._keys() == self.keys, "a second copy of keys was left"
        assert self._scratch_databases() == []

    def _proofs(self) -> list[bool]:
        with self.copied.case.store.reading() as session:
            return list(session.scalars(select(RestoreProof.same)))

    def _keys(self) -> list[str]:
        found = self.copied.folder.rglob("*")
        return sorted(str(each) for each in found if each.suffix in (".key", ".pem") or "keys-restoring" in each.name)

    def _scratch_databases(self) -> list[str]:
        if self.copied.server is None:
            return []
        own = make_url(self.copied.runtime.settings.database_url).database
        with psycopg.connect(self.copied.server.url("postgres")) as connection:
            found = connection.execute(
                "SELECT datname FROM pg_database WHERE starts_with(datname, %s)", [f"{own}_drill_"]
            )
            return [name for (name,) in found]


COMMANDS: dict[str, Callable[[Copied], Killed]] = {
    "backup": KilledCopy,
    "backup-keys": partial(KilledCopy, keys=True),
    "restore": KilledRestore,
    "drill": KilledDrill,
}
