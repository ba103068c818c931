"""Who carries a component: found by maker, model and lot, on a page and as a file. The program lists, the clinic writes."""

import io
from itertools import groupby

from flask import Response, make_response, render_template, request

from server.clinic.recall import Carrier, Place, Reach, Wanted, carriers, logged, offered, other_lots
from server.exports.cells import Table
from server.fields.component import ROLES
from server.fields.read_form import one_line
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.telephone import dialled
from server.trust.audit import audit
from server.words.phrase import phrase

LONGEST = 80
PLACES = {
    Place.IN_SITU: phrase("In the shoulder now"),
    Place.LABEL_UNKNOWN: phrase("In the shoulder now, maker, model or lot not recorded"),
    Place.PART_NOT_RECORDED: phrase("An implant of which a part is not recorded"),
    Place.TAKEN_OUT: phrase("Taken out"),
}
WITH_IT = (Place.IN_SITU, Place.LABEL_UNKNOWN)
REACHES = {
    Reach.DIED: phrase("died"),
    Reach.NO_WAY: phrase("no way of contact is recorded"),
    Reach.LOST: phrase("lost to questionnaires"),
    Reach.WITHDREW: phrase("withdrew from the follow-up"),
    Reach.TRANSFERRED: phrase("another clinic follows up"),
    Reach.REACHABLE: phrase("can be reached"),
}
COLUMNS = (
    "study_number", "last_name", "first_name", "birth_on", "side", "place", "part", "maker", "model", "catalogue_number", "size",
    "lot", "serial", "device_identifier", "put_in_on", "put_in_precision", "taken_out_on", "reach", "died_on", "died_precision", "phone",
    "email", "address", "second_contact", "language", "not_recorded",
)  # fmt: skip


def recall_page() -> str:
    """Empty until something is looked for."""
    wanted = _wanted()
    with reading() as session:
        found = carriers(session, wanted)
        groups = [(place, words.say(said), _by_operation(found, place)) for place, said in PLACES.items()]
        return render_template(
            "staff/operations/recall.html",
            wanted=wanted,
            groups=[group for group in groups if group[2]],
            certain=len(certain := _living(found, Place.IN_SITU)),
            possible=len(_living(found, Place.LABEL_UNKNOWN) - certain),
            died=len({each.patient.id for each in found if each.place in WITH_IT and each.reach == Reach.DIED}),
            taken_out=len({each.patient.id for each in found if each.place == Place.TAKEN_OUT}),
            unrecorded=any(each.place == Place.PART_NOT_RECORDED for each in found),
            unreachable=len({each.patient.id for each in found if each.reach == Reach.NO_WAY}),
            found=found,
            logged=logged(session),
            offered=offered(session),
            other_lots=other_lots(session, wanted),
            role_words=ROLES,
            in_words=lambda roles: words.listed([ROLES[role] for role in roles]),
            reaches=REACHES,
            folded=(Place.PART_NOT_RECORDED, Place.TAKEN_OUT),
            dial=dialled,
        )


def _living(found: list[Carrier], place: Place) -> set[int]:
    """Each person once, of those who are not known to have died."""
    return {each.patient.id for each in found if each.place == place and each.reach != Reach.DIED}


def _by_operation(found: list[Carrier], place: Place) -> list[list[Carrier]]:
    """The components in question of each operation stand together."""
    of_place = [each for each in found if each.place == place]
    return [
        list(rows) for _operation, rows in groupby(of_place, key=lambda each: (each.operation.id, each.taken_out_on))
    ]


def recall_file() -> Response:
    """The same list for the clinic's letters. That it was taken, by whom and for what, stands in the audit trail before it leaves."""
    wanted, text = _wanted(), io.StringIO(newline="")
    with writing() as session:
        found = carriers(session, wanted)
        table = Table(text, COLUMNS)
        for each in found:
            table.write(_cells(each))
        what = {"maker": wanted.maker, "model": wanted.model, "lot": wanted.lot, "rows": table.rows}
        audit(session, "recall:file", "components", now=request_context().now, by_id=signed_in().id, **what)
    response = make_response(text.getvalue().encode("utf-8"))
    response.mimetype = "text/csv"
    response.headers["Content-Disposition"] = f'attachment; filename="recall-{request_context().today}.csv"'
    return response


def _wanted() -> Wanted:
    asked = {name: one_line(request.values.get(name, ""))[:LONGEST] for name in ("maker", "model", "lot")}
    return Wanted(**asked)


def _cells(each: Carrier) -> list[object]:
    patient, operation, component = each.patient, each.operation, each.component
    label = ("maker", "model", "catalogue_number", "size", "lot", "serial", "device_identifier")
    return [
        patient.study_number, patient.last_name, patient.first_name, patient.birth_on, each.side, str(each.place),
        component.role if component else None, *(getattr(component, name, None) for name in label),
        operation.surgery_on, operation.surgery_precision, each.taken_out_on, str(each.reach), patient.died_on,
        (patient.died_precision or "day") if patient.died_on else None, patient.phone, patient.email,
        patient.address, patient.second_contact, patient.language,
        ",".join(each.missing) or None,
    ]  # fmt: skip
