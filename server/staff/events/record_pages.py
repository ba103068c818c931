"""The pages of one kind of row: a new one, the row with its history, its correction, and what was entered in error."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.event_doubts import doubts_about_event
from server.clinic.events import may_be_recorded_as, said_on
from server.clinic.findings import doubts_about_visit
from server.clinic.history import read_changes
from server.clinic.operation_doubts import CHECKED, keep_as_checked, not_yet_checked
from server.clinic.operation_entry import ToBeChecked
from server.clinic.reported_events import has_lost_its_answer
from server.fields.check import EntryRefused
from server.fields.event import EVENT_GROUPS
from server.fields.event_grade import SCHEME, grade_of
from server.fields.field import Errors, Field, Value
from server.fields.operation_words import OPERATION_KINDS
from server.fields.stored import exactly, in_form
from server.models import ClinicEvent, ClinicFinding, Operation, Patient, Shoulder
from server.staff.events.constant_page import put_together_anew
from server.staff.events.tables import EVENTS, FINDINGS, STATUSES, Table
from server.staff.page import words
from server.staff.page.asked_about import digests, has_checked
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import ChangedMeanwhile, OthersChange, as_sent, chosen, row_to_change
from server.staff.page.record_form import entered, grouped, reason, sent
from server.staff.page.recorded_fields import facts
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.staff_names import staff_names
from server.staff.page.visit_forms import visit_forms
from server.staff.page.what_happened import title_of
from server.words.phrase import phrase

MOST_CHANGES = 60
HEADINGS = {"finding": phrase("Visit"), "status": phrase("What a source says")}


@dataclass(frozen=True)
class Page:
    """What a form shows: what was typed, what is wrong, what somebody else changed meanwhile, what is asked about before it is kept."""

    values: Mapping[str, str] = field(default_factory=dict)
    errors: Errors = field(default_factory=dict)
    meanwhile: list[OthersChange] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)


class RecordPages:
    """The views of one table; `Table` says which fields it has and what keeps them."""

    def __init__(self, table: Table) -> None:
        self.table = table

    def new(self, patient_id: int) -> Response:
        asked_for = {name: request.args.get(name, "") for name in ("side", "kind")}
        return self._show_new(patient_id, Page({**self._offered(), **asked_for}))

    def new_post(self, patient_id: int) -> AnyResponse:
        """Keeps a new row, or shows the form again with all that was typed: what is wrong, or what is asked about first."""
        form = with_judge(sent(self.table.fields))
        try:
            with writing() as session:
                patient = _patient(session, patient_id)
                values = entered(
                    self.table.fields, form, lambda given: self.table.check(patient, given, request_context().today)
                )
                owner = self._shoulder(patient, form) if self.table.of_shoulder else patient
                doubts = self._asked_about(session, owner, None, values, form)
                row = self.table.record(session, owner, values, **_now_and_today())
                self._keep_checked(session, row, doubts)
                row_id = row.id
        except ToBeChecked as asked:
            return self._show_new(patient_id, Page(form, doubts=asked.doubts), 422)
        except EntryRefused as problem:
            return self._show_new(patient_id, Page(form, problem.errors), 422)
        return redirect(self._address(patient_id, row_id, done=f"{self.table.word}-entered"))

    def row(self, patient_id: int, row_id: int) -> Response:
        return self._show_row(patient_id, row_id, None)

    def correct_post(self, patient_id: int, row_id: int) -> AnyResponse:
        """Saves a correction with its reason; whoever saves second sees what the first one changed."""
        fields = self.table.fields
        form = with_judge(sent(fields))
        try:
            with writing() as session:
                row = self._row(session, patient_id, row_id, to_change=True)
                typed = as_sent(session, form, in_form(fields, row), fields, [row])
                patient = _patient(session, patient_id)
                of_row = {"itself": row, "known_by": said_on(session, row)} if self.table is EVENTS else {}
                today = request_context().today
                values = entered(fields, typed, lambda given: self.table.check(patient, given, today, **of_row))
                why = reason(typed)
                doubts = self._asked_about(session, None, row, values, typed)
                changed = self.table.correct(session, row, values, **_now_and_today(), why=why)
                if self.table is FINDINGS and "examined_on" in changed and row.taken_back_at is None:
                    put_together_anew(session, row, why)
                self._keep_checked(session, row, doubts)
        except ChangedMeanwhile as problem:
            return self._show_row(patient_id, row_id, Page(problem.values, meanwhile=problem.changes), 422)
        except ToBeChecked as asked:
            return self._show_row(patient_id, row_id, Page(chosen(form), doubts=asked.doubts), 422)
        except EntryRefused as problem:
            return self._show_row(patient_id, row_id, Page(chosen(form), problem.errors), 422)
        return redirect(self._address(patient_id, row_id, done="corrected"))

    def take_back_post(self, patient_id: int, row_id: int) -> AnyResponse:
        """Marks a row as entered in error, or lifts the mark; either with a reason."""
        act = {"take": self.table.take_back, "bring": self.table.bring_back}.get(request.form.get("act", ""))
        if act is None:
            abort(400)
        try:
            with writing() as session:
                row = self._row(session, patient_id, row_id, to_change=True)
                act(session, row, why=reason(request.form, "why_back"), now=request_context().now, by_id=signed_in().id)
        except EntryRefused as problem:
            return self._show_row(patient_id, row_id, Page({"taking": "yes"}, problem.errors), 422)
        done = "taken-back" if request.form["act"] == "take" else "brought-back"
        return redirect(self._address(patient_id, row_id, done=done))

    def _show_new(self, patient_id: int, page: Page, status: int = 200) -> Response:
        table = self.table
        with reading() as session:
            patient = _patient(session, patient_id)
            groups = grouped(table.fields, table.headings, table.folded, page.values, page.errors)
            html = render_template(
                "staff/events/new_record.html",
                table=table,
                patient=patient,
                page=page,
                groups=groups,
                asked_about=digests(page.doubts),
                kinds=EVENT_GROUPS,
                sides=[shoulder.side for shoulder in patient.shoulders],
                field_labels={each.name: each.label for each in table.fields} | {"side": words.gettext("Shoulder")},
            )
        return make_response(html, status)

    def _show_row(self, patient_id: int, row_id: int, page: Page | None, status: int = 200) -> Response:
        table = self.table
        with reading() as session:
            row = self._row(session, patient_id, row_id)
            kept = in_form(table.fields, row)
            shown = page or Page(kept)
            taking = bool(shown.values.get("taking"))
            values = kept if taking else shown.values
            is_event = isinstance(row, ClinicEvent)
            side = session.get_one(Shoulder, row.shoulder_id).side if table.of_shoulder else row.side
            html = render_template(
                "staff/events/record.html",
                table=table,
                patient=_patient(session, patient_id),
                row=row,
                side=side,
                heading=title_of(row) if is_event else words.say(HEADINGS[table.word]),
                facts=facts(_not_in_heading(table.fields, row), row),
                operation_href=operation_href(patient_id, side, row) if is_event else "",
                may_be=_may_be(session, row) if is_event else [],
                recorded=row.recorded_as if is_event else None,
                operation_kinds=OPERATION_KINDS,
                grade=grade_of(row.kind, row.treatment, row.lasting_harm) if is_event else None,
                scheme=SCHEME,
                has_lost_its_answer=is_event and has_lost_its_answer(session, row),
                forms=visit_forms(session, row) if isinstance(row, ClinicFinding) else [],
                kept=kept,
                values=values,
                errors=shown.errors,
                meanwhile=shown.meanwhile,
                doubts=shown.doubts,
                asked_about=digests(shown.doubts),
                groups=grouped(table.fields, table.headings, table.folded, values, shown.errors),
                kinds=EVENT_GROUPS,
                is_open=page is not None and not taking,
                taking=taking,
                history=_history(session, row),
                made_by=staff_names(session).get(row.made_by_id or 0, ""),
                moment=lambda at: words.moment(at, request_context().time_zone),
                field_labels={each.name: each.label for each in table.fields},
            )
        return make_response(html, status)

    def _row(self, session: Session, patient_id: int, row_id: int, *, to_change: bool = False) -> Any:
        table = self.table
        row = row_to_change(session, table.model, row_id) if to_change else session.get(table.model, row_id)
        if row is None or table.patient_of(session, row) != patient_id:
            abort(404)
        return row

    def _asked_about(
        self, session: Session, owner: Any, row: Any, values: Mapping[str, Value], form: Mapping[str, str]
    ) -> list[str]:
        """What was asked about an event or a visit and is kept now. Raises ToBeChecked for what nobody has checked yet."""
        if not self.table.of_shoulder:
            return []
        shoulder = owner or session.get_one(Shoulder, row.shoulder_id)
        about = doubts_about_event if self.table is EVENTS else doubts_about_visit
        doubts = not_yet_checked(session, row, about(values, shoulder.operations))
        if doubts and not has_checked(doubts, form):
            raise ToBeChecked(doubts)
        return doubts

    def _keep_checked(self, session: Session, row: Any, doubts: list[str]) -> None:
        if doubts:  # where nothing is asked, as of what is last known, there is nothing to keep
            keep_as_checked(session, row, doubts, now=request_context().now, by_id=signed_in().id)

    def _offered(self) -> dict[str, str]:
        """A visit is mostly written down on its day, by whoever examined."""
        if self.table is not FINDINGS:
            return {}
        return {"examined_on": request_context().today.isoformat(), "examiner": signed_in().name}

    def _shoulder(self, patient: Patient, form: Mapping[str, str]) -> Shoulder:
        """Raises EntryRefused while none is chosen."""
        for shoulder in patient.shoulders:
            if shoulder.side == form.get("side"):
                return shoulder
        raise EntryRefused({"side": [words.gettext("Choose the shoulder.")]})

    def _address(self, patient_id: int, row_id: int, *, done: str) -> str:
        if self.table is STATUSES:
            return url_for("staff.last_known", patient_id=patient_id, done=done)
        return url_for(f"staff.{self.table.word}", patient_id=patient_id, row_id=row_id, done=done)


def operation_href(patient_id: int, side: str, event: ClinicEvent) -> str:
    """The form of an operation, filled as far as the event knows; empty for an event that is none, or that is recorded."""
    if event.kind != "operated_again" or event.taken_back_at is not None or event.recorded_as is not None:
        return ""
    known = {
        "side": side,
        "kind": "revision",
        "done": "yes",
        "surgery_on": exactly(event.happened_on, event.happened_precision),
        "place": "elsewhere",
        "known_by": "patient" if event.source_kind == "patient" else "",
        "certainty": event.certainty,
        "event": event.id,
    }
    return f"/patients/{patient_id}/operations/new?{urlencode(known)}"


def _not_in_heading(fields: Iterable[Field], row: Any) -> list[Field]:
    """The heading of an event that is none of the listed kinds is its words; they are not told once more."""
    in_heading = isinstance(row, ClinicEvent) and row.kind == "other" and row.recorded_as is None
    return [each for each in fields if not (in_heading and each.name == "kind_other")]


def _may_be(session: Session, event: ClinicEvent) -> list[Operation]:
    """What is recorded already and may be the operation that was reported."""
    operations = session.get_one(Shoulder, event.shoulder_id).operations
    return [each for each in operations if may_be_recorded_as(event, each)]


def with_judge(form: Mapping[str, str]) -> dict[str, str]:
    """Who confirms an event and names nobody else confirms it themselves, today."""
    typed = dict(form)
    if typed.get("certainty") == "confirmed":
        typed["judged_by"] = typed.get("judged_by") or signed_in().name
        typed["judged_on"] = typed.get("judged_on") or request_context().today.isoformat()
    return typed


def _patient(session: Session, patient_id: int) -> Patient:
    patient = session.get(Patient, patient_id)
    if patient is None or patient.merged_into_id is not None:
        abort(404)
    return patient


def _now_and_today() -> dict[str, Any]:
    return {"now": request_context().now, "today": request_context().today, "by_id": signed_in().id}


def _history(session: Session, row: Any) -> list[tuple[str, str]]:
    """Moment and sentence of each change, the newest first."""
    staff, zone = staff_names(session), request_context().time_zone
    said = []
    for change in read_changes(session, [(row.__tablename__, row.id)], most=MOST_CHANGES):
        by = staff.get(change.by_id or 0, words.gettext("the program"))
        if change.field == "taken_back_at":
            what = words.gettext("no error after all") if not change.new else words.gettext("entered in error")
        elif change.field == CHECKED:
            what = words.gettext("checked and kept: %(what)s") % {"what": words.say(change.new)}
        else:
            old, new = words.quoted(change.old), words.quoted(change.new)
            what = words.gettext("%(what)s: %(old)s became %(new)s") % {
                "what": words.say(change.label),
                "old": old,
                "new": new,
            }
        why = f" ({change.why.rstrip('.')})" if change.why else ""
        said.append((words.moment(change.at, zone), words.sentence(f"{what}{why}, {by}.")))
    return said
