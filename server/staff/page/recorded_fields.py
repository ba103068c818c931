"""What a page shows of a recorded row, by its field table."""

from collections.abc import Iterable
from datetime import date

from server.fields.component import ROLES
from server.fields.field import Field, Kind, Value
from server.fields.leaving import coded
from server.fields.operation import OPERATION, in_page_order
from server.fields.stored import read_back, written
from server.models import Component, Operation
from server.queries.spacers import spacer_times
from server.staff.page import words
from server.words.phrase import phrase

PUT_IN, TAKEN_OUT, SPACER_TIME = phrase("Put in"), phrase("Taken out"), phrase("Spacer time")


def shown(field: Field, value: Value) -> str:
    """A value in words; empty for nothing."""
    if isinstance(value, date):
        return words.day(value)
    if field.kind == Kind.CHOICE and value is not None:
        return words.say(field.words.get(str(value), str(value)))
    if isinstance(value, tuple):
        return ", ".join(words.say(field.words.get(word, word)) for word in value)
    if isinstance(value, bool):
        return words.yes_or_no(value)
    if field.kind == Kind.CODED:
        return _typed(field, written(value))
    unit = f" {words.say(field.unit)}" if field.unit and value is not None else ""
    return f"{written(value)}{unit}"


def _typed(field: Field, text: str) -> str:
    """What somebody typed; a word of the field's list in the reader's language, where that has another."""
    known = field.words.get(coded(field.words, text) or "", "")
    said = words.say(known)
    return said if said != known else text


def shown_of(field: Field, row: object) -> str:
    """A day as exactly as it is known."""
    value = read_back(field, getattr(row, field.name))
    if field.precision and isinstance(value, date):
        return words.exact_day(value, getattr(row, field.precision))
    return shown(field, value)


def facts(fields: Iterable[Field], row: object) -> list[tuple[str, str]]:
    """Label and words of what is recorded; the fields in front also when they are not."""
    found = [(field, shown_of(field, row)) for field in fields]
    return [
        (words.say(field.label), text or words.gettext("not recorded"))
        for field, text in found
        if text or (field.in_front and not field.beside)
    ]


def facts_of_operation(operation: Operation) -> list[tuple[str, str]]:
    """All but its course, which stands above the list; then its components, and how long a spacer was in."""
    done = operation.surgery_on is not None
    fields = [
        field
        for field in in_page_order(OPERATION)
        if (field.group != "course" or field.name == "stage")
        and (getattr(operation, field.name) is not None or field.applies(kind=operation.kind, done=done))
    ]
    components = (
        (PUT_IN, "\n".join(label_of(each) for each in operation.put_in if each.struck_at is None)),
        (TAKEN_OUT, "\n".join(label_of(each) for each in operation.taken_out if each.struck_at is None)),
        (SPACER_TIME, _spacer_time(operation)),
    )
    return [*facts(fields, operation), *((words.say(label), text) for label, text in components if text)]


def label_of(component: Component) -> str:
    """A component in one line: "Liner, Cup 2, lot 4711"."""
    part = component.role_other or words.say(ROLES[component.role])
    lot = words.gettext("lot %(lot)s") % {"lot": component.lot} if component.lot else words.gettext("lot not recorded")
    named = (words.sentence(part), component.maker, component.model, component.size, lot)
    return ", ".join(text for text in named if text)


def _spacer_time(operation: Operation) -> str:
    """Of both stages of an exchange: the days without a definitive implant."""
    stages = (operation.id, operation.first_stage_id)
    time = next((each for each in spacer_times(operation.shoulder.operations) if each.first_stage.id in stages), None)
    if time is None:
        return ""
    first, second = time.first_stage, time.second_stage
    since = words.exact_day(first.surgery_on, first.surgery_precision)
    if second is None or time.until is None:
        return words.gettext("since %(day)s; the second stage is not done") % {"day": since}
    until = words.exact_day(second.surgery_on, second.surgery_precision)
    if not {first.surgery_precision, second.surgery_precision} <= {None, "day"}:
        return words.gettext("%(since)s to the second stage, %(day)s") % {"since": since, "day": until}
    days = (time.until - time.since).days
    return words.ngettext(
        "%(days)s day, to the second stage on %(day)s", "%(days)s days, to the second stage on %(day)s", days
    ) % {"days": days, "day": until}
