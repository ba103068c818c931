"""Who is enrolled already and may be the person now being enrolled, by the rule in likeness.py. For a person to judge."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.likeness import Likeness, Traits, likeness, years_to_look_in
from server.fields.field import Value
from server.models import Patient
from server.queries.current import NOT_MERGED


@dataclass(frozen=True)
class Alike:
    patient: Patient
    likeness: Likeness


def possible_duplicates(session: Session, person: Mapping[str, Value]) -> list[Alike]:
    """Probably the same first, then perhaps twins, then who only shares a contact; each kind in the order of enrolment.

    Names and contacts are sealed, so they are compared one by one: names where the birth year can be meant, contacts everywhere.
    """
    born = person["birth_on"]
    if not isinstance(born, date):
        return []
    wanted = Traits(
        str(person["first_name"]),
        str(person["last_name"]),
        born,
        _text(person.get("phone")),
        _text(person.get("email")),
    )
    names = select(Patient.id, Patient.first_name, Patient.last_name, Patient.birth_on, Patient.phone, Patient.email)
    rows = names.where(NOT_MERGED)
    if not (wanted.phone or wanted.email):
        rows = rows.where(Patient.birth_year.in_(years_to_look_in(born)))
    kinds = {}
    for id_, first, last, birth_on, phone, email in session.execute(rows):
        found = likeness(wanted, Traits(first, last, birth_on, phone, email))
        if found is not None:
            kinds[id_] = found
    patients = session.scalars(select(Patient).where(Patient.id.in_(kinds)).order_by(Patient.id))
    order = list(Likeness)
    return sorted((Alike(each, kinds[each.id]) for each in patients), key=lambda each: order.index(each.likeness))


def _text(value: Value) -> str | None:
    return str(value) if value is not None else None
