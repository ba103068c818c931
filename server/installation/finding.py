"""What a check of an installation sees, and what it finds. The checks stand in the files that `readiness.py` names."""

import shlex
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from server.installation.called import called
from server.installation.runtime import Runtime
from server.models import Clinic
from server.words.phrase import Phrase


@dataclass(frozen=True)
class Finding:
    """`name`: a code, by which pages know where it is mended. `what`: how it is; `do`: what to do, None where it is ready."""

    name: str
    what: Phrase
    do: Phrase | None = None

    @property
    def ready(self) -> bool:
        return self.do is None


@dataclass(frozen=True)
class Look:
    """One clinic at one instant. `now` is the machine's clock, by which certificates, copies and the trail are judged."""

    runtime: Runtime
    session: Session
    clinic: Clinic
    now: datetime

    def command(self, name: str) -> str:
        """As it is typed on this machine."""
        return f"{called()} {name} --data {shlex.quote(str(self.runtime.settings.data))}"


Check = Callable[[Look], Finding]
