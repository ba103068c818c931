"""Who is enrolled already and may be the person now being enrolled, by the rule in likeness.py. For a person to judge."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from server.clinic.likeness import Likeness, Traits, bare_email, bare_phone, likeness, years_to_look_in
from server.fields.field import Value
from server.models import Patient
from server.queries.current import COUNTED


@dataclass(frozen=True)
class Alike:
    patient: Patient
    likeness: Likeness


def possible_duplicates(session: Session, person: Mapping[str, Value]) -> list[Alike]:
    """Probably the same first, then perhaps twins, then who only shares a contact; each kind in the order of enrolment.

    Names and contacts are sealed, so they are opened and compared one by one: contacts of everybody, names only where the birth year can
    be meant or a contact is shared.
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
    sharing = _sharing_a_contact(session, wanted)
    names = select(Patient.id, Patient.first_name, Patient.last_name, Patient.birth_on)
    near = or_(Patient.birth_year.in_(years_to_look_in(born)), Patient.id.in_(sharing))
    kinds = {}
    for id_, first, last, birth_on in session.execute(names.where(COUNTED, near)):
        phone, email = (wanted.phone, wanted.email) if id_ in sharing else (None, None)
        found = likeness(wanted, Traits(first, last, birth_on, phone, email))
        if found is not None:
            kinds[id_] = found
    patients = session.scalars(select(Patient).where(Patient.id.in_(kinds)).order_by(Patient.id))
    order = list(Likeness)
    return sorted((Alike(each, kinds[each.id]) for each in patients), key=lambda each: order.index(each.likeness))


def _sharing_a_contact(session: Session, wanted: Traits) -> set[int]:
    """Only what the person has is opened of the others."""
    found: set[int] = set()
    for column, text, bare in ((Patient.phone, wanted.phone, bare_phone), (Patient.email, wanted.email, bare_email)):
        theirs = bare(text)
        if theirs:
            rows = session.execute(select(Patient.id, column).where(COUNTED, column.is_not(None)))
            found.update(id_ for id_, each in rows if bare(each) == theirs)
    return found


def _text(value: Value) -> str | None:
    return str(value) if value is not None else None
