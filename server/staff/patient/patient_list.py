"""The list of patients, and the search in it."""

import unicodedata
from dataclasses import dataclass
from datetime import date

from flask import redirect, render_template, request, url_for
from markupsafe import Markup
from sqlalchemy import func, select
from sqlalchemy.orm import Session, selectinload
from werkzeug.wrappers import Response as AnyResponse

from server.models import Patient
from server.queries.current import NOT_MERGED
from server.staff.page.database import reading
from server.staff.page.paging import At, offset_in
from server.staff.page.request_context import request_context
from server.staff.page.shoulder_rulers import read_rulers
from server.staff.page.year_mark_drawing import draw_key

PAGE = 30
LEFT_OUT = frozenset("'’‘ʼ`´.")


@dataclass(frozen=True)
class Found:
    ids: list[int]
    at: At


def patients() -> str | AnyResponse:
    """Newest first, or those that every word of `q` fits: names, study number, year of birth."""
    asked = " ".join(request.args.get("q", "").split())
    offset = offset_in(request.args.get("from", ""))
    with reading() as session:
        found = _search(session, asked, offset) if asked else _newest(session, offset)
        if asked and found.at.total == 1:
            return redirect(url_for("staff.patient", patient_id=found.ids[0]))
        people = _people(session, found.ids, request_context().today)
        return render_template("staff/patient/patients.html", people=people, asked=asked, at=found.at, key=draw_key())


def _newest(session: Session, offset: int) -> Found:
    kept = NOT_MERGED
    total = session.scalar(select(func.count(Patient.id)).where(kept)) or 0
    ids = session.scalars(select(Patient.id).where(kept).order_by(Patient.id.desc()).offset(offset).limit(PAGE))
    return Found(list(ids), At(offset, PAGE, total))


def _search(session: Session, asked: str, offset: int) -> Found:
    """Names are sealed, so a name can only be looked for by opening every one: 100,000 take about two seconds."""
    wanted = [bare for word in asked.split() if (bare := _bare(word))]
    if not wanted:
        return Found([], At(offset, PAGE, 0))
    columns = select(Patient.id, Patient.study_number, Patient.first_name, Patient.last_name, Patient.birth_year)
    hits = []
    for id_, number, first, last, year in session.execute(columns.where(NOT_MERGED)):
        text = f"{_bare(first)} {_bare(last)} {_bare(number)} {year}"
        if all(word in text for word in wanted):
            hits.append((_bare(last), _bare(first), id_))
    ids = [id_ for _last, _first, id_ in sorted(hits)]
    return Found(ids[offset : offset + PAGE], At(offset, PAGE, len(ids)))


def _bare(text: str) -> str:
    """Without accents, case, hyphens, apostrophes and full stops: a person who searches types none of them. Any other sign counts."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    return "".join(
        sign
        for sign in plain
        if sign not in LEFT_OUT and unicodedata.category(sign)[0] not in "MC" and unicodedata.category(sign) != "Pd"
    )


def _people(session: Session, ids: list[int], today: date) -> list[tuple[Patient, list[tuple[str, Markup]]]]:
    """The patients in the order of `ids`, each with the year marks of every shoulder."""
    loaded = select(Patient).where(Patient.id.in_(ids)).options(selectinload(Patient.shoulders))
    by_id = {each.id: each for each in session.scalars(loaded)}
    rulers = read_rulers(session, [shoulder for each in by_id.values() for shoulder in each.shoulders], today=today)
    return [(by_id[id_], [(shoulder.side, rulers[shoulder.id]) for shoulder in by_id[id_].shoulders]) for id_ in ids]
