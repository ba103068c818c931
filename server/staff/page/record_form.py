"""A form of the fields of one table: what was sent, what is shown group by group, and the reason without which nothing recorded changes."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from flask import request

from server.fields.check import EntryRefused, text_problems
from server.fields.field import Errors, Field, Kind, Sentence, Value
from server.fields.read_form import one_line, read_form
from server.staff.page import words

LONGEST_WHY = 200


@dataclass(frozen=True)
class Group:
    """Fields under one heading. A folded one is open where something stands in it."""

    name: str
    heading: str
    rows: list[Field]
    folded: bool


def sent(fields: Iterable[Field]) -> dict[str, str]:
    """The form that was sent; several ticks of one name are joined."""
    form = {name: request.form.get(name, "") for name in request.form}
    for row in fields:
        if row.kind == Kind.SEVERAL:
            form[row.name] = ",".join(request.form.getlist(row.name))
    return form


def entered(
    fields: Iterable[Field], form: Mapping[str, str], check: Callable[[Mapping[str, Value]], object]
) -> dict[str, Value]:
    """The values. Raises EntryRefused with all that cannot be read and all that `check` refuses."""
    values, unreadable = read_form(fields, form)
    refused: Errors = {}
    try:
        check(values)
    except EntryRefused as problem:
        refused = problem.errors
    if refused or unreadable:
        raise EntryRefused({**refused, **unreadable})
    return values


def reason(form: Mapping[str, str], name: str = "why") -> str:
    """Why something recorded is changed. Raises EntryRefused without one."""
    why = one_line(form.get(name, ""))
    problems: list[Sentence] = (
        [*text_problems(why, LONGEST_WHY)] if why else [words.gettext("Say why; the next person relies on it.")]
    )
    if problems:
        raise EntryRefused({name: problems})
    return why


def grouped(
    fields: Iterable[Field],
    headings: Mapping[str, str],
    folded: Iterable[str],
    values: Mapping[str, str],
    errors: Iterable[str],
) -> list[Group]:
    """In the order of `headings`. A group of which nothing is filled and nothing is wrong is folded where `folded` says so."""
    rows, may_fold, wrong = list(fields), set(folded), set(errors)
    groups = []
    for name, heading in headings.items():
        within = [row for row in rows if row.group == name]
        filled = any(values.get(row.name) or row.name in wrong for row in within)
        groups.append(Group(name, heading, within, name in may_fold and not filled))
    return groups
