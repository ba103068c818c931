"""The clinic's settings, changed while the server runs. What another person changed meanwhile is never undone unseen."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import Response, make_response, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from scoring.text import LANGUAGE
from server.clinic.history import read_changes
from server.clinic.settings import ASKED, change_settings, check_settings, reached_by, tidy, what_follows
from server.fields.change import WHY
from server.fields.check import Calendar, check_values
from server.fields.field import Errors, Value
from server.fields.read_form import read_form
from server.fields.stored import in_form, stored_values
from server.models import Clinic
from server.queries.clock import clinic_to_change, the_clinic
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import ChangedMeanwhile, OthersChange, as_sent
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names
from server.words.phrase import phrase

HISTORY_SHOWN = 100
# The parts of the form, each with the groups of fields in it.
SECTIONS = (
    (phrase("Telephones"), ("numbers",)),
    (phrase("Name, address and mail"), ("clinic", "address", "mail")),
    (phrase("Languages and calendar"), ("calendar",)),
    (phrase("Operations"), ("team", "log")),
)


@dataclass(frozen=True)
class NotSaved:
    """Why nothing was saved, with what was typed. `meanwhile`: what somebody else changed while the page was open.

    `warnings`: what follows of a change that has to be confirmed first.
    """

    values: Mapping[str, str]
    errors: Errors = field(default_factory=dict)
    meanwhile: list[OthersChange] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


def settings_page() -> str:
    with reading() as session:
        return _render(session)


def save_settings() -> AnyResponse:
    """Saves what was changed on the page, or shows it again with the reason why nothing was saved."""
    with writing() as session:
        not_saved = _save(session, clinic_to_change(session))
    if not_saved is None:
        return redirect(url_for("staff.settings", done="settings"))
    with reading() as session:
        return _shown_again(session, not_saved)


def _shown_again(session: Session, not_saved: NotSaved) -> Response:
    return make_response(_render(session, not_saved), 422)


def _save(session: Session, clinic: Clinic) -> NotSaved | None:
    codes = _codes(clinic, request.form)
    try:
        typed = as_sent(session, request.form, in_form(ASKED, clinic, languages=codes), ASKED, [clinic])
    except ChangedMeanwhile as problem:
        return NotSaved(problem.values, meanwhile=problem.changes)
    read, unreadable = read_form((*ASKED, WHY), typed, languages=codes)
    why = read.pop("why")
    values = tidy(read)
    sender = values["mail_from"] or runtime().settings.mail_from  # which one goes out where the clinic names none
    errors = {
        **check_settings({**values, "mail_from": sender}, live=clinic.mode == "live", kept=reached_by(clinic)),
        **check_values((WHY,), {"why": why}, Calendar(request_context().today)),
    }
    if errors or unreadable:
        return NotSaved(typed, errors={**errors, **unreadable})
    warnings = what_follows(_different(values, clinic))
    if warnings and not typed.get("sure"):
        return NotSaved(typed, warnings=warnings)
    change_settings(session, values, now=request_context().now, by_id=signed_in().id, why=str(why) if why else None)
    return None


def _different(values: Mapping[str, Value], clinic: Clinic) -> list[str]:
    return [name for name, value in stored_values(ASKED, values).items() if value != getattr(clinic, name)]


def _codes(clinic: Clinic, typed: Mapping[str, str]) -> list[str]:
    """Every language that has, or should have, words of its own, those being entered included; the clinic's first."""
    entered = str(tidy(typed).get("languages") or "").split(",")
    tags = [code for code in entered if re.fullmatch(LANGUAGE, code)]
    return list(dict.fromkeys((*clinic.languages.split(","), *clinic.phone_hours, *tags)))


def _render(session: Session, not_saved: NotSaved | None = None) -> str:
    clinic = the_clinic(session)
    codes = _codes(clinic, not_saved.values if not_saved else {})
    kept = in_form(ASKED, clinic, languages=codes)
    return render_template(
        "staff/settings/settings.html",
        asked=ASKED,
        sections=SECTIONS,
        codes=codes,
        kept=kept,
        values=not_saved.values if not_saved else kept,
        typed=not_saved.values if not_saved else {},
        not_saved=not_saved or NotSaved({}),
        field_labels={"why": WHY.label, **{row.name: row.label for row in ASKED}},
        default_plan=clinic.default_plan,
        history=read_changes(session, [("clinic", 1)], most=HISTORY_SHOWN),
        staff=staff_names(session),
        moment=lambda at: words.moment(at, request_context().time_zone),
    )
