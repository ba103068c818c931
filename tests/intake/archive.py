"""A clinic whose answers were scored long ago, and the scores of it as they stand. Everybody in it is invented."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Table, select
from sqlalchemy.orm import Session

from scoring.library import Library, load_library
from server.forms.stored import read_stored
from server.intake.rescore import rescore
from server.intake.score_changes import Batch, Change, LeftAlone, RescoreSummary
from server.intake.scores import scores_of
from server.models import AuditEntry, Patient, Response, Score, StaffAccount
from server.store.engine import Store
from server.trust.keys import KeyFolder
from tests import storehouse
from tests.vectors.make_scores import as_answers, recorded

LONG_AGO = datetime(2006, 6, 15, 9, 0, tzinfo=UTC)
NOW = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)
SCORE: Any = Score.__table__
assert isinstance(SCORE, Table)
YES = dict.fromkeys((str(number) for number in range(1, 13)), 1)


@dataclass
class Archive:
    store: Store
    keys: KeyFolder
    library: Library

    def run(self, **options: Any) -> tuple[RescoreSummary, list[Change], list[LeftAlone]]:
        """A rescore, with what it told of each batch."""
        changes: list[Change] = []
        left_alone: list[LeftAlone] = []

        def progress(batch: Batch) -> None:
            changes.extend(batch.changes)
            left_alone.extend(batch.left_alone)

        given = {"keys": self.keys, "library": self.library, "now": NOW, "progress": progress, **options}
        return rescore(self.store, **given), changes, left_alone

    def rows(self, *, valid: bool = False) -> list[tuple[Any, ...]]:
        """Every row of the table of scores, every column of it, as the database gives it."""
        with self.store.reading() as session:
            wanted = select(SCORE).order_by(SCORE.c.id)
            return [
                tuple(row)
                for row in session.execute(wanted.where(SCORE.c.superseded_at.is_(None)) if valid else wanted)
            ]

    def values(self) -> dict[tuple[int, str, str], float | None]:
        """The valid value by response, instrument and scale."""
        with self.store.reading() as session:
            found = session.scalars(select(Score).where(Score.superseded_at.is_(None)))
            return {(each.response_id, each.instrument, each.scale): each.value for each in found}

    def actions(self) -> list[str]:
        with self.store.reading() as session:
            return list(session.scalars(select(AuditEntry.action).order_by(AuditEntry.id)))

    def change_scores(self, *conditions: Any, **values: Any) -> int:
        """Alters stored rows as no program of ours does; returns how many."""
        with self.store.writing() as session:
            rows = list(session.scalars(select(Score).where(*conditions)))
            for row in rows:
                for name, value in values.items():
                    setattr(row, name, value)
            return len(rows)

    def add_patient(self, number: int, forms: Sequence[list[dict[str, Any]]], **values: Any) -> None:
        """A patient with a yearly form each, scored when it came in, long ago."""
        with self.store.writing() as session:
            patient = storehouse.add_patient(session, f"Y-{number:04d}", **values)
            self.keys.new_patient_key(patient.handle)
            self._add_forms(session, patient, forms)

    def _add_forms(self, session: Session, patient: Patient, forms: Sequence[list[dict[str, Any]]]) -> None:
        account = session.scalars(select(StaffAccount)).first() or storehouse.add_account(session)
        operation = storehouse.add_operation(session, patient, surgery_on=date(2005, 6, 15))
        follow_up = storehouse.add_follow_up(session, operation)
        cipher = self.keys.patient_cipher(patient.handle)
        for year, parts in enumerate(forms, 1):
            timepoint = storehouse.add_timepoint(session, follow_up, f"year-{year}", due_on=date(2005 + year, 6, 15))
            response = storehouse.add_response(session, timepoint, parts, cipher=cipher, entered_by=account)
            stated = (
                scores_of(read_stored(json.dumps(parts).encode()), self.library)
                if all(p["instrument"] in self.library.definitions for p in parts)
                else ()
            )
            session.add_all(Score(response_id=response.id, scored_at=LONG_AGO, **each._asdict()) for each in stated)
            session.flush()


def make_archive(url: str, folder: Path) -> Iterator[Archive]:
    store = storehouse.make_store(url, folder)
    yield Archive(store, KeyFolder(folder / "keys"), load_library())
    store.engine.dispose()


def sst(**items: int) -> dict[str, Any]:
    """A shoulder test: yes to all but what is given, as item_7=0."""
    values = YES | {name.removeprefix("item_"): value for name, value in items.items()}
    return storehouse.part("sst@1", storehouse.answered(dict(values)))


def pain(value: int) -> dict[str, Any]:
    return storehouse.part("pain@1", storehouse.answered({"1": value}))


def recorded_forms() -> list[list[dict[str, Any]]]:
    """Every recorded answer sheet of every instrument: the n-th form holds the n-th sheet of each."""
    documents = recorded().items()
    count = max(len(document["sheets"]) for _spec, document in documents)
    return [
        [
            storehouse.part(spec, storehouse.documents(as_answers(each["items"], each["sheets"][n]["answers"])))
            for spec, each in documents
            if n < len(each["sheets"])
        ]
        for n in range(count)
    ]


def recorded_values() -> dict[tuple[int, str, str], str | None]:
    """The recorded double in hexadecimal by number of the form, instrument and scale."""
    return {
        (n, spec.split("@")[0], scale[0]): score[0]
        for spec, document in recorded().items()
        for n, sheet in enumerate(document["sheets"])
        for scale, score in zip(document["scales"], sheet["scores"], strict=True)
    }


def response_ids(archive: Archive) -> list[int]:
    with archive.store.reading() as session:
        return list(session.scalars(select(Response.id).order_by(Response.id)))
