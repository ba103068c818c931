"""What a page shows of a recorded row, by its field table."""

from collections.abc import Iterable
from datetime import date

from server.fields.field import Field, Kind, Value
from server.fields.operation import OPERATION, in_page_order
from server.fields.stored import read_back, written
from server.models import Operation
from server.staff.page import words

NOT_RECORDED = "not recorded"


def shown(field: Field, value: Value) -> str:
    """A value in words; empty for nothing."""
    if isinstance(value, date):
        return words.day(value)
    if field.kind == Kind.CHOICE and value is not None:
        return field.words.get(str(value), str(value))
    unit = f" {field.unit}" if field.unit and value is not None else ""
    return f"{written(value)}{unit}"


def facts(fields: Iterable[Field], row: object) -> list[tuple[str, str]]:
    """Label and words of what is recorded; the fields in front also when they are not."""
    found = [(field, shown(field, read_back(field, getattr(row, field.name)))) for field in fields]
    return [
        (field.label, text or NOT_RECORDED) for field, text in found if text or (field.in_front and not field.beside)
    ]


def facts_of_operation(operation: Operation) -> list[tuple[str, str]]:
    """All but its course, which stands above the list."""
    return facts([field for field in in_page_order(OPERATION) if field.group != "course"], operation)
