"""The list of patients, and the search in it."""

import unicodedata
from dataclasses import dataclass
from datetime import date

from flask import redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.hospital_numbers import find_by_number
from server.clinic.recall import looked_for
from server.fields.operation_words import DIAGNOSES, IMPLANT_TYPES
from server.models import Operation, Patient
from server.queries.current import kept_record
from server.queries.facts import withdrew
from server.staff.page.database import reading
from server.staff.page.paging import At, offset_in
from server.staff.page.request_context import request_context, runtime
from server.staff.page.year_mark_drawing import draw_key
from server.staff.patient.patient_choice import (
    BACKWARDS,
    NAME,
    NEWEST,
    SORTS,
    STATES,
    Choice,
    choice_in,
    chosen,
    counted,
    in_use,
    page_of_ids,
)
from server.staff.patient.patient_rows import patient_rows
from server.trust.keys import KeyMissing
from server.words import labels

PAGE = 30
LEFT_OUT = frozenset("'’‘ʼ`´.")


@dataclass(frozen=True)
class Found:
    ids: list[int]
    at: At


def patients() -> str | AnyResponse:
    """Those that every word of `q` fits (names, study number, year of birth), narrowed and sorted as the address says."""
    asked = " ".join(request.args.get("q", "").split())
    offset, today = offset_in(request.args.get("from", "")), request_context().today
    with reading() as session:
        offered = _offered(session)
        choice = choice_in(request.args, offered)
        found = _find(session, asked, choice, offset, today)
        component = looked_for(session, asked) if asked else None
        is_a_lot = component is not None and bool(component.lot)  # a part of a model's name may be a part of a person's
        if asked and found.at.total == 1 and not choice.narrowed and not is_a_lot:
            return redirect(url_for("staff.patient", patient_id=found.ids[0]))
        return render_template(
            "staff/patient/patients.html",
            withdrew=withdrew,
            people=patient_rows(session, found.ids, today),
            asked=asked,
            component=component,
            choice=choice,
            offered=offered,
            sorts=SORTS,
            turned=lambda sort: f"{BACKWARDS}{sort}" if choice.sort == sort else sort,
            at=found.at,
            key=draw_key(),
        )


def _offered(session: Session) -> dict[str, dict[str, object]]:
    """What the list can be narrowed by, each with its words: of implants and diagnoses those that occur."""
    implants, diagnoses = in_use(session, Operation.implant_type), in_use(session, Operation.diagnosis)
    return {
        "side": dict(labels.SIDE),
        "implant": {code: word for code, word in IMPLANT_TYPES.items() if code in implants},
        "diagnosis": {code: word for code, word in DIAGNOSES.items() if code in diagnoses},
        "state": dict(STATES),
    }


def _find(session: Session, asked: str, choice: Choice, offset: int, today: date) -> Found:
    """Names are sealed, so a name can only be looked for, or sorted by, by opening every one: 100,000 take about two seconds.

    A hospital number is found whole, and so is the study number of a duplicate that was merged, or of a record in error.
    """
    named = _named_by_number(session, asked) if asked and not choice.narrowed else []
    if named:
        return Found(named[offset : offset + PAGE], At(offset, PAGE, len(named)))
    if not asked and choice.by != NAME:
        ids = page_of_ids(session, choice, today, offset=offset, limit=PAGE)
        return Found(ids, At(offset, PAGE, counted(session, choice, today)))
    wanted = [bare for word in asked.split() if (bare := _bare(word))]
    if asked and not wanted:
        return Found([], At(offset, PAGE, 0))
    columns = select(Patient.id, Patient.study_number, Patient.first_name, Patient.last_name, Patient.birth_year)
    names = {}
    for id_, number, first, last, year in session.execute(columns.where(*chosen(choice, today))):
        text = f"{_bare(first)} {_bare(last)} {_bare(number)} {year}"
        if all(word in text for word in wanted):
            names[id_] = (_bare(last), _bare(first), id_)
    if choice.by in (NEWEST, NAME):
        ids = sorted(names, key=lambda id_: names[id_], reverse=choice.backwards)
    else:
        ids = [id_ for id_ in page_of_ids(session, choice, today) if id_ in names]
    return Found(ids[offset : offset + PAGE], At(offset, PAGE, len(ids)))


def _named_by_number(session: Session, asked: str) -> list[int]:
    try:
        key = runtime().keys.search_key()
    except KeyMissing:
        found = set()  # no hospital number was entered yet
    else:
        found = set(find_by_number(session, key, asked))
    aliases = select(Patient).where(Patient.study_number == asked, Patient.merged_into_id.is_not(None))
    found |= {kept_record(session, alias).id for alias in session.scalars(aliases)}
    in_error = select(Patient.id).where(Patient.study_number == asked, Patient.taken_back_at.is_not(None))
    found |= set(session.scalars(in_error))
    return sorted(found)


def _bare(text: str) -> str:
    """Without accents, case, hyphens, apostrophes and full stops: a person who searches types none of them. Any other sign counts."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    return "".join(
        sign
        for sign in plain
        if sign not in LEFT_OUT and unicodedata.category(sign)[0] not in "MC" and unicodedata.category(sign) != "Pd"
    )
