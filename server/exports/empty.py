"""Why a field of operations.csv, events.csv, findings.csv or components.csv is empty: two columns of each row list the names.

`not_applicable`: such a row has nothing to record there. `not_recorded`: all the rest. That it was asked and not found out is no empty
cell but the word `unknown`.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from server.exports.column import Column
from server.fields.event import INFECTIONS
from server.fields.field import Field
from server.fields.finding import OF_A_COMPONENT

_NOTE = (
    "Names of columns, with spaces between; of those alone that hold what staff record of it. Any other column is empty where there is "
    "nothing of the kind, such as no death and no revision"
)
Recorded = Mapping[str, Any]
Applies = Callable[[Field, Recorded], bool]


def why_empty(
    file: str, fields: Iterable[Field], recorded: Callable[[Any], Recorded], applies: Applies
) -> tuple[Column, Column]:
    """The two columns. `recorded`: of a row its values by field name; `applies`: whether an empty field of such a row can have a value."""
    of = tuple(fields)

    def names(applicable: bool) -> Callable[[Any], str | None]:
        def of_row(row: Any) -> str | None:
            values = recorded(row)
            empty = [field for field in of if values[field.name] in (None, ())]
            return " ".join(field.column for field in empty if applies(field, values) == applicable) or None

        return of_row

    return (
        Column("not_recorded", "Fields of this row that are empty since nobody recorded them", "text", (file,), names(True),
            source="computed", note=_NOTE),
        Column("not_applicable", "Fields of this row that are empty since they do not apply to it", "text", (file,), names(False),
            source="computed", note=_NOTE),
    )  # fmt: skip


def applies_to_operation(field: Field, values: Recorded) -> bool:
    """A day of surgery or of a cancellation is empty because it was not done, or not cancelled."""
    if field.name in ("surgery_on", "cancelled_on"):
        return False
    return field.applies(kind=values["kind"], done=values["surgery_on"] is not None)


def applies_to_event(field: Field, values: Recorded) -> bool:
    if field.group == "infection":
        return values["kind"] in INFECTIONS
    if field.name == "revision_decision":
        return bool(values["kind"] == "revision_advised")
    return field.name != "judged_on" or values["certainty"] != "reported"


def applies_to_finding(field: Field, values: Recorded) -> bool:
    """What says more of a strength or of a sign needs one."""
    if field.name.startswith("strength_"):
        return values["strength"] is not None or values["other_strength"] is not None
    for sign in OF_A_COMPONENT:
        if field.name == f"{sign}_of":
            return values[sign] not in ("none", "not_assessable")
    return True


def applies_to_component(_field: Field, _values: Recorded) -> bool:
    return True
