"""Two people at once: a form that changes what is recorded sends along what its page showed, so that nobody's change is undone unseen.

Use it in an edit form of fields of a table, within the write transaction:

    row = row_to_change(session, Operation, operation_id)
    typed = as_sent(session, request.form, in_form(FIELDS, row), FIELDS, [row])   # raises ChangedMeanwhile

and read `typed`, not `request.form`. The template puts `shown_before(kept)` and `changed_meanwhile(problem.changes)` inside its form, both
from staff/page/edit_form.html; a page shown again takes its values from `problem.values`, after any other error from `chosen(form)`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from sqlalchemy.orm import Session

from server.clinic.history import Change, read_changes
from server.fields.field import Field, Kind
from server.fields.read_form import BETWEEN_LANGUAGE_AND_NAME
from server.models import Base
from server.staff.page import words
from server.staff.page.request_context import request_context
from server.staff.page.staff_names import staff_names

WAS = "was-"  # what the page showed in an input
THEIRS = "theirs-"  # ticked: take the other person's value instead of what was typed
Row = TypeVar("Row", bound=Base)
LOOKED_THROUGH = 200  # changes of the same rows: more are not made while one page is open


@dataclass(frozen=True)
class OthersChange:
    """What somebody else changed while the page was open, in words. `mine` is None where this person had left it alone."""

    name: str
    label: str
    was: str
    now: str
    mine: str | None
    by: str
    at: str
    why: str


class ChangedMeanwhile(Exception):
    """Nothing is saved. `values`: what the form shows now, with all that was typed."""

    def __init__(self, values: Mapping[str, str], changes: list[OthersChange]) -> None:
        super().__init__(", ".join(change.name for change in changes))
        self.values = values
        self.changes = changes


def row_to_change(session: Session, model: type[Row], row_id: int) -> Row | None:
    """The row as it is now; whoever wants to change it at the same moment waits for this transaction."""
    return session.get(model, row_id, with_for_update={"key_share": True}, populate_existing=True)


def chosen(form: Mapping[str, str]) -> dict[str, str]:
    """What was sent, with the other's value, which the page showed, where that was chosen."""
    theirs = [name.removeprefix(THEIRS) for name in form if name.startswith(THEIRS)]
    return {**form, **{name: form.get(f"{WAS}{name}", "") for name in theirs}}


def as_sent(
    session: Session,
    form: Mapping[str, str],
    kept: Mapping[str, str],
    fields: Iterable[Field],
    rows: Iterable[Base],
    *,
    prefix: str = "",
) -> dict[str, str]:
    """What was sent, with the other's value where that was chosen. `kept`: the text that each input shows now (`in_form`), by its name.

    Raises ChangedMeanwhile when one of `kept` is no longer what the page showed. `rows` are those whose history says who did it.
    """
    typed = chosen(form)
    differing = [name for name in kept if _plain(typed.get(f"{WAS}{name}", "")) != _plain(kept[name])]
    if not differing:
        return typed
    last = _last_changes(session, rows)
    found = {field.name: field for field in fields}
    changes = [_told(session, name, typed, kept, found, last, prefix) for name in differing]
    untouched = [name for name in kept if name in typed and not _is_mine(typed, name)]
    raise ChangedMeanwhile({**typed, **{name: kept[name] for name in untouched}}, changes)


def _is_mine(form: Mapping[str, str], name: str) -> bool:
    """Whether this person typed something else than the page showed."""
    return name in form and _plain(form[name]) != _plain(form.get(f"{WAS}{name}", ""))


def _last_changes(session: Session, rows: Iterable[Base]) -> dict[str, Change]:
    last: dict[str, Change] = {}
    for change in read_changes(session, [(row.__tablename__, _id(row)) for row in rows], most=LOOKED_THROUGH):
        last.setdefault(change.field, change)
    return last


def _id(row: Base) -> int:
    known: int = row.id  # type: ignore[attr-defined]
    return known


def _told(
    session: Session,
    name: str,
    form: Mapping[str, str],
    kept: Mapping[str, str],
    fields: Mapping[str, Field],
    last: Mapping[str, Change],
    prefix: str,
) -> OthersChange:
    bare = name.removeprefix(prefix)
    known = bare if bare in fields else bare.split(BETWEEN_LANGUAGE_AND_NAME)[0]
    field, change = fields.get(known), last.get(known)
    by = staff_names(session).get(change.by_id, "") if change and change.by_id else ""
    return OthersChange(
        name=name,
        label=words.say(field.label) if field else words.plain(known),
        was=_in_words(field, form.get(f"{WAS}{name}", "")),
        now=_in_words(field, kept[name]),
        mine=_in_words(field, form[name]) if _is_mine(form, name) else None,
        by=by or words.gettext("the command line or the program"),
        at=words.moment(change.at, request_context().time_zone) if change else "",
        why=change.why if change else "",
    )


def _in_words(field: Field | None, text: str) -> str:
    if field is not None and field.kind in (Kind.CHOICE, Kind.SEVERAL):
        return ", ".join(words.say(field.words.get(code, code)) for code in text.split(",")) if text else ""
    return text


def _plain(text: str) -> str:
    """Browsers send lines apart by two signs."""
    return "\n".join(text.splitlines()).strip()
