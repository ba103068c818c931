"""One operation of the log as a series sees it, without a name. Plain values, so that counting needs no database."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from server.schedule.status import Status


@dataclass(frozen=True)
class Form:
    """One timepoint after surgery, or one kind of answer at several. `mode` and `answered_by` of the answer, None without one.

    `texts`: whose words it was asked in. `readable`: the answers were not erased.
    """

    status: Status
    mode: str | None = None
    answered_by: str | None = None
    texts: frozenset[str] = frozenset()
    readable: bool = True


# Told apart by itself alone: to compare all its forms would take long, and two may say the same.
@dataclass(frozen=True, eq=False)
class Row:
    """An operation done here: of an enrolled patient (`operation_id`), or a line of the log of somebody who is not (`line_id`).

    `consent`: to research: given, withdrawn or none; None of a line. Whoever's does not stand is told no more of than the log tells.
    What is recorded is a code, `not_recorded` where it is empty; None: not told. `kind`: of a line it is not told either. `age`: by the
    year of birth alone, as the log has no other; None where that is not recorded.
    """

    surgery_on: date
    kind: str | None
    procedure: str
    implant_type: str
    side: str
    surgeon: str
    age: int | None
    operation_id: int | None = None
    patient_id: int | None = None
    study_number: str | None = None
    line_id: int | None = None
    not_enrolled: str | None = None
    consent: str | None = None
    model: tuple[str, ...] | None = None
    diagnosis: str | None = None
    cuff: str | None = None
    glenoid: str | None = None
    dominant: str | None = None
    sex: str | None = None
    certainty: str | None = None
    forms: tuple[Form, ...] = ()

    @property
    def takes_part(self) -> bool:
        return self.consent == "given"

    def told(self, word: str) -> tuple[str, ...] | None:
        """What is recorded at a word of the sentence; several where an implant has several models, None where it is not told."""
        value: str | tuple[str, ...] | None = getattr(self, word)
        return (value,) if isinstance(value, str) else value


@dataclass(frozen=True)
class Record:
    """Every operation of the log that was done by the as-of day, the first one first. `texts_read`: whether forms say their texts."""

    as_of: date
    rows: tuple[Row, ...]
    texts_read: bool = False


def people(rows: Iterable[Row]) -> int:
    """How many persons; the log names nobody, so each of its lines counts as one."""
    patients, lines = set(), set()
    for row in rows:
        if row.line_id is None:
            patients.add(row.patient_id)
        else:
            lines.add(row.line_id)
    return len(patients) + len(lines)
