"""What a running Yearmark holds: settings, store, keys, instruments, clock. Made once by app, cli and jobs, and passed on."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from scoring.library import Library, load_library
from server.config import Settings
from server.installation.private_files import make_private
from server.queries.clock import clinic_now, real_now, the_clinic
from server.store.engine import Store, make_engine
from server.store.folder_lock import FolderLock
from server.trust.keys import KeyFolder


@dataclass(frozen=True)
class Runtime:
    settings: Settings
    store: Store
    keys: KeyFolder
    library: Library
    lock: FolderLock
    real_clock: Callable[[], datetime] = real_now

    def now(self) -> datetime:
        """The clinic's instant: the machine's clock, or the demo's."""
        with self.store.reading() as session:
            return clinic_now(the_clinic(session), self.real_clock())


def open_runtime(settings: Settings, *, real_clock: Callable[[], datetime] = real_now) -> Runtime:
    """Opens (and on first use makes) the data folder. Does not migrate.

    Only a folder that never was one gets a first field key: a key folder that went missing must not be taken for a new one.
    Raises NotPrivate when others can read it and that cannot be mended.
    """
    keys = KeyFolder(settings.keys)
    is_new = keys.is_empty() and not any((settings.data / name).exists() for name in ("locks", "yearmark.sqlite3"))
    settings.data.mkdir(parents=True, exist_ok=True, mode=0o700)
    make_private(settings)
    if is_new:
        keys.first_field_key()  # before the folder of locks, by which a second start knows that there was one
    lock = FolderLock(settings.data)
    engine = make_engine(settings.database_url, lock)
    return Runtime(settings, Store(engine, keys.field_ring()), keys, load_library(), lock, real_clock)
