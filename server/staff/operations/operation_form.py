"""The one form of an operation: which groups it shows, what was sent, and the page itself."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from flask import Response, make_response, render_template, request

from server.fields.component import COMPONENT, ROLES
from server.fields.field import Errors, Field, Kind, When
from server.fields.operation import OPERATION, SHOULDER, in_page_order
from server.fields.operation_words import AGAIN, AWAITS_ITS_SECOND, FIRST, KINDS, OPERATION_KINDS
from server.models import Component, Operation, Patient
from server.staff.operations.component_rows import FIRST_FIELDS, new_rows, rows_of
from server.staff.operations.moved_day import MovedForm
from server.staff.page import words
from server.staff.page.asked_about import digests
from server.staff.page.edit_form import OthersChange
from server.words.phrase import phrase

HEADINGS = {
    "course": phrase("What and when"),
    "place": phrase("Where, and how it is known"),
    "reason": phrase("Why"),
    "diagnosis": phrase("Diagnosis"),
    "procedure": phrase("What was done"),
    "implant": phrase("Implant"),
    "before": phrase("Before the operation"),
    "cuff": phrase("Rotator cuff"),
    "glenoid": phrase("Glenoid and subscapularis"),
}
FOLDED = ("place", "before", "cuff", "glenoid")  # open where something stands in them


@dataclass(frozen=True)
class Shown:
    """What the form shows. `operation` is None for a new one; `kept`: what its inputs showed, for two people at once.

    `carried`: what the address knew of a new one, kept when another kind is chosen.
    """

    patient: Patient
    side: str
    kind: str
    done: bool
    operation: Operation | None
    values: Mapping[str, str]
    own: list[Component] = field(default_factory=list)
    there: list[Component] = field(default_factory=list)
    kept: Mapping[str, str] = field(default_factory=dict)
    errors: Errors = field(default_factory=dict)
    meanwhile: list[OthersChange] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    moved: list[MovedForm] = field(default_factory=list)
    codes_read: bool = False
    carried: Mapping[str, str] = field(default_factory=dict)


def sent() -> dict[str, str]:
    """The fields of the form; several inputs of one name are joined, and a tick that was taken away is an empty text."""
    form = {name: request.form.get(name, "") for name in request.form}
    for row in (*OPERATION, *SHOULDER):
        if row.kind == Kind.SEVERAL:
            form[row.name] = ",".join(request.form.getlist(row.name))
    ticks = [name.removeprefix("was-") for name in form if name.startswith(("was-out-", "was-strike-"))]
    return {**dict.fromkeys(ticks, ""), **form}


CANCELLED = tuple(
    row for row in OPERATION if row.name in ("cancelled_on", "cancelled_reason")
)  # a mistake can be taken back
ASKED = tuple(row for row in in_page_order((*OPERATION, *SHOULDER)) if row.asked)


def asked_of(kind: str, *, done: bool, operation: Operation | None) -> list[Field]:
    """The fields that apply, in the order of the page; one that does not is shown as long as something stands in it.

    The kind of a new operation was chosen before; it can be corrected later.
    """
    fields = [row for row in ASKED if operation is not None or row.name != "kind"]
    if operation is not None and operation.cancelled_on is not None:
        fields = list(in_page_order((*fields, *CANCELLED)))
    return [
        row
        for row in fields
        if row.applies(kind=kind, done=done) or (operation is not None and _stands(operation, row))
    ]


def _stands(operation: Operation, row: Field) -> bool:
    return row in OPERATION and getattr(operation, row.name) is not None and row.when != When.PLANNED


def kinds_for(operations: list[Operation]) -> dict[str, str]:
    """The kinds of a new operation that this shoulder can have."""
    standing = [each for each in operations if each.cancelled_on is None]
    has_first = any(each.kind == "index" for each in standing)
    has_done = any(each.surgery_on is not None for each in standing)
    fits = {
        code
        for code, kind in KINDS.items()
        if (kind.order == AGAIN and has_done) or (kind.order == FIRST and not has_first) or kind.order < FIRST
    }
    if not any(each.stage in AWAITS_ITS_SECOND for each in standing):
        fits -= {"second_stage"}
    return {code: word for code, word in OPERATION_KINDS.items() if code in fits}


def show(page: Shown, status: int = 200) -> Response:
    """The page; 422 where nothing was saved."""
    asked = asked_of(page.kind, done=page.done, operation=page.operation)
    rows = rows_of([each for each in page.own if each.struck_at is None], page.values)
    labels = {
        **{row.name: row.label for row in asked},
        **{
            f"{row.prefix}{each.name}": _row_label(number, each)
            for number, row in enumerate(rows, 1)
            for each in COMPONENT
        },
        "components": words.gettext("Components"),
        "why": words.gettext("Why"),
    }
    return make_response(
        render_template(
            "staff/operations/operation.html",
            page=replace(page, errors=_in_order(page.errors, labels)),
            patient=page.patient,
            groups=[(name, words.say(HEADINGS[name]), rows_in) for name, rows_in in _grouped(asked)],
            folded={name for name, rows_in in _grouped(asked) if name in FOLDED and not _filled(rows_in, page)},
            component_rows=rows,
            # A browser must not insist on the part of a row that is left empty; the part of a filled one is asked for by the check.
            first_fields=[replace(row, required=False) for row in COMPONENT if row.name in FIRST_FIELDS],
            further_fields=[row for row in COMPONENT if row.name not in FIRST_FIELDS],
            shows_components=page.done,
            takes_out=list(page.there) if KINDS[page.kind].exchanges else [],
            new_rows=new_rows(page.values),
            field_labels=labels,
            kinds=OPERATION_KINDS,
            asked_about=digests([*page.doubts, *(each.sentence for each in page.moved)]),
            role_words=ROLES,
        ),
        status,
    )


def _in_order(errors: Errors, labels: Mapping[str, str]) -> Errors:
    """As the fields stand on the page; without a field's name what is about the kind, where that was chosen before."""
    ordered = {name: errors[name] for name in dict.fromkeys((*labels, *errors)) if name in errors}
    return {"" if name == "kind" and name not in labels else name: found for name, found in ordered.items()}


def _row_label(number: int, each: Field) -> str:
    return words.gettext("Component %(number)s, %(field)s") % {"number": number, "field": words.say(each.label)}


def _grouped(asked: list[Field]) -> list[tuple[str, list[Field]]]:
    names = list(dict.fromkeys(row.group for row in asked))
    return [(name, [row for row in asked if row.group == name]) for name in names]


def _filled(rows: list[Field], page: Shown) -> bool:
    return any(page.values.get(row.name, "").strip() or page.errors.get(row.name) for row in rows)
