"""The components on the form of an operation: rows that it has, rows that are new, and what it takes out.

A row that is kept has inputs named c7-lot, a new one n1-lot; `strike-7` strikes it, `out-9` says that component 9 is taken out. A new
row in which nothing was entered is none. Buttons add a row and read scanned codes without saving.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from server.clinic.operation_entry import ComponentsEntry
from server.fields.component import COMPONENT, ROLES
from server.fields.field import Errors, Value
from server.fields.read_form import is_filled, read_form
from server.fields.stored import in_form, written
from server.fields.udi import NotReadable, read_udi
from server.models import Component

NEW_ROWS = "new_rows"  # how many new rows the page shows
MOST_NEW_ROWS = 20
FIRST_FIELDS = ("role", "role_other", "udi", "maker", "model", "size", "lot", "serial")


@dataclass(frozen=True)
class ComponentRow:
    """One row of the form. `component` is None for a new one."""

    prefix: str
    heading: str
    component: Component | None = None


def shown_of(component: Component) -> dict[str, str]:
    """What its inputs show, by their names."""
    return in_form(COMPONENT, component, prefix=f"c{component.id}-")


def rows_of(own: Iterable[Component], typed: Mapping[str, str]) -> list[ComponentRow]:
    kept = [ComponentRow(f"c{each.id}-", ROLES[each.role], each) for each in own]
    return [*kept, *(ComponentRow(f"n{number}-", "") for number in range(1, new_rows(typed) + 1))]


def new_rows(typed: Mapping[str, str]) -> int:
    count = typed.get(NEW_ROWS, "")
    return min(int(count), MOST_NEW_ROWS) if count.isdecimal() and len(count) < 4 else 0


def read_components(
    typed: Mapping[str, str], own: Iterable[Component], there: Iterable[Component]
) -> tuple[ComponentsEntry, Errors]:
    """The components as they were typed, to be checked; and what could not be read. `there`: what the operation may take out."""
    errors: Errors = {}

    def read(prefix: str) -> dict[str, Value]:
        values, unreadable = read_form(COMPONENT, typed, prefix=prefix)
        errors.update(unreadable)
        if values["udi"] is not None and f"{prefix}udi" not in errors:
            try:
                read_udi(str(values["udi"]))
            except NotReadable as problem:
                errors[f"{prefix}udi"] = [str(problem)]
        return values

    filled = [f"n{number}-" for number in range(1, new_rows(typed) + 1) if is_filled(COMPONENT, typed, f"n{number}-")]
    sent = [each for each in own if f"c{each.id}-role" in typed]
    entry = ComponentsEntry(
        new={prefix: read(prefix) for prefix in filled},
        changed={each.id: read(f"c{each.id}-") for each in sent},
        struck=frozenset(each.id for each in own if typed.get(f"strike-{each.id}")),
        taken_out=frozenset(each.id for each in there if typed.get(f"out-{each.id}")),
    )
    return entry, errors


def with_codes_read(typed: Mapping[str, str], rows: Iterable[ComponentRow]) -> tuple[dict[str, str], Errors]:
    """The same with the fields filled from the scanned codes where they are empty; what was typed stays. And codes that say nothing."""
    found, errors = dict(typed), Errors()
    for row in rows:
        code = typed.get(f"{row.prefix}udi", "").strip()
        try:
            parts = read_udi(code) if code else {}
        except NotReadable as problem:
            errors[f"{row.prefix}udi"] = [str(problem)]
            continue
        for name, value in parts.items():
            if not found.get(f"{row.prefix}{name}", "").strip():
                found[f"{row.prefix}{name}"] = written(value)
    return found, errors


def unread_codes(typed: Mapping[str, str], rows: Iterable[ComponentRow]) -> bool:
    """Whether a code would fill a field that is empty: then it is read, and the person looks, before anything is saved."""
    filled, errors = with_codes_read(typed, rows)
    return not errors and filled != dict(typed)
