"""Whether what is said to have happened lies within a person's life, as far as its day is known."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date

from server.fields.check import Calendar
from server.fields.day_words import day_words
from server.fields.field import Field, Kind, Tense, Value
from server.models import Patient
from server.queries.facts import death_by


def calendar_of(patient: Patient, today: date) -> Calendar:
    return Calendar(today, patient.birth_on)


def not_within_life(
    fields: Iterable[Field], values: Mapping[str, Value], patient: Patient
) -> Iterator[tuple[str, str]]:
    """Name and sentence of each day after the patient's death. A day before birth is refused by the fields' own check."""
    died = death_by(patient)
    if died is None:
        return
    death = day_words(patient.died_on, patient.died_precision)
    for field in fields:
        day = values.get(field.name)
        if field.kind == Kind.DAY and field.tense == Tense.PAST and isinstance(day, date) and day > died:
            yield (
                field.name,
                f"{day_words(day, str(values.get(field.precision) or 'day'))} is after the death on {death}. Check both days.",
            )
