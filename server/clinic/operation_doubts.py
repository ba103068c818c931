"""What about an operation may be right but is often a slip: asked about once. Who has checked it keeps it, and that is recorded."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.history import note_change
from server.fields.component import OFTEN_ALIKE, ROLES
from server.fields.day_words import day_words
from server.fields.field import Value
from server.fields.operation_words import (
    AGAIN,
    ARTHROPLASTIES,
    BEFORE_THE_FIRST,
    IMPLANT_TYPES,
    KINDS,
    LEAVES,
    PROCEDURES,
    TAKES_NOTHING_OUT,
)
from server.fields.udi import NotReadable, read_udi
from server.models import (
    ClinicEvent,
    ClinicFinding,
    Component,
    FieldChange,
    Operation,
    OperationLog,
    Patient,
    Shoulder,
)
from server.queries.current import COUNTED, STANDS
from server.trust.audit import audit

CHECKED = "checked"  # the field of the history under which it stands that somebody has checked and kept it

Asked = Operation | ClinicEvent | ClinicFinding | OperationLog
ASKED: Mapping[type[Asked], str] = {
    Operation: "operation", ClinicEvent: "event", ClinicFinding: "finding", OperationLog: "operation_log"
}  # fmt: skip


@dataclass(frozen=True)
class PutIn:
    """A component of the operation in question: its values, and its row if it has one."""

    values: Mapping[str, Value]
    component_id: int | None = None


def doubts_about(
    session: Session,
    values: Mapping[str, Value],
    others: Iterable[Operation],
    put_in: list[PutIn],
    there: Iterable[Component],
    taken_out: Collection[int],
) -> list[str]:
    """A sentence for each. `others`: the shoulder's other operations; `there`: what lies in it; `taken_out`: ids of what goes out."""
    standing = [each for each in others if each.cancelled_on is None]
    return [
        *_same_day(values, standing),
        *procedure_and_implant(values),
        *_before_no_first(values, standing),
        *_nothing_to_revise(values, standing),
        *_an_implant_to_convert(values, standing),
        *_nothing_taken_out(values, standing, there, taken_out),
        *_twice(put_in),
        *_elsewhere(session, put_in),
        *(sentence for each in put_in for sentence in _label(each.values, values.get("surgery_on"))),
    ]


def not_yet_checked(session: Session, row: Asked | None, doubts: Iterable[str]) -> list[str]:
    """Those that nobody has checked and kept so far. None: what is only entered now."""
    if row is None:
        return list(doubts)
    kept = select(FieldChange).where(
        FieldChange.table_name == row.__tablename__, FieldChange.row_id == row.id, FieldChange.field == CHECKED
    )
    known = {each.new for each in session.scalars(kept)}
    return [each for each in doubts if each not in known]


def keep_as_checked(session: Session, row: Asked, doubts: Iterable[str], *, now: datetime, by_id: int | None) -> None:
    """Somebody has checked these and keeps what was entered."""
    word = ASKED[type(row)]
    for sentence in doubts:
        note_change(session, row, CHECKED, None, sentence, now=now, by_id=by_id)
        audit(session, f"{word}:checked_and_kept", f"{word} {row.id}", now=now, by_id=by_id)
    session.flush()


def _same_day(values: Mapping[str, Value], standing: list[Operation]) -> list[str]:
    on = values.get("surgery_on")
    if not isinstance(on, date) or (values.get("surgery_precision") or "day") != "day":
        return []
    same = any(each.surgery_on == on and (each.surgery_precision or "day") == "day" for each in standing)
    said = f"Another operation on this shoulder was done on {day_words(on)} too. Is one of them entered twice?"
    return [said] if same else []


def _before_no_first(values: Mapping[str, Value], standing: list[Operation]) -> list[str]:
    """Entered as what was before the first one here, the operation itself is followed up by nobody."""
    if KINDS[str(values["kind"])].order != BEFORE_THE_FIRST:
        return []
    if any(KINDS[each.kind].order > BEFORE_THE_FIRST for each in standing):
        return []
    return ["No first operation of this shoulder is recorded, so none follows this one. Was this the first one here?"]


def procedure_and_implant(values: Mapping[str, Value]) -> list[str]:
    """Figures are told by either, so that two which exclude each other would count one operation as two different ones."""
    procedure, implant = values.get("procedure"), values.get("implant_type")
    fitting = LEAVES.get(str(procedure), ())
    if not fitting or implant in (None, "other", "unknown", *fitting):
        return []
    return [
        f"“{PROCEDURES[str(procedure)].words}” and the implant type “{IMPLANT_TYPES[str(implant)]}” do not go together. Are both right?"
    ]


def _nothing_to_revise(values: Mapping[str, Value], standing: list[Operation]) -> list[str]:
    """A revision on a shoulder where, by the record, nothing was ever put in."""
    done = [each for each in standing if each.surgery_on is not None and KINDS[each.kind].order < AGAIN]
    native = [each for each in done if each.procedure is not None and PROCEDURES[each.procedure].native]
    if values["kind"] != "revision" or not done or len(native) < len(done):
        return []
    return ["What was done on this shoulder before left no implant in it. Is this a conversion to arthroplasty?"]


def _an_implant_to_convert(values: Mapping[str, Value], standing: list[Operation]) -> list[str]:
    """A conversion is counted as no revision, so an implant that is revised under its name would never end."""
    if values["kind"] != "conversion":
        return []
    done = [each for each in standing if each.surgery_on is not None]
    implant = [each for each in done if each.implant_type not in (None, "none", "unknown")]
    implant += [each for each in done if each.procedure in ARTHROPLASTIES]
    return ["There is an implant in this shoulder, by what was done before. Is this a revision?"] if implant else []


def _nothing_taken_out(
    values: Mapping[str, Value], standing: list[Operation], there: Iterable[Component], taken_out: Collection[int]
) -> list[str]:
    """What stays by mistake is in the shoulder for ever: on the recall list, and in the files."""
    on = values.get("surgery_on")
    kind = KINDS[str(values["kind"])]
    if (
        not isinstance(on, date)
        or kind.order < AGAIN
        or not kind.exchanges
        or values.get("procedure") in TAKES_NOTHING_OUT
    ):
        return []
    before = {each.id for each in standing if each.surgery_on is not None and each.surgery_on <= on}
    of_before = {each.id for each in there if each.put_in_id in before and each.struck_at is None}
    stays = of_before and not of_before & set(taken_out)
    return ["Nothing is taken out, so all that was put in before stays in this shoulder. Is that so?"] if stays else []


def _twice(put_in: list[PutIn]) -> list[str]:
    seen: set[tuple[Value, Value, Value]] = set()
    found = []
    for values in (each.values for each in put_in):
        same = (values["role"], values.get("lot"), values.get("serial"))
        if values.get("lot") and values["role"] not in OFTEN_ALIKE and same in seen:
            found.append(
                f"The lot {values['lot']} is entered twice: {ROLES[str(values['role'])]}. Was it put in twice?"
            )
        seen.add(same)
    return found


def _elsewhere(session: Session, put_in: list[PutIn]) -> list[str]:
    """A serial number lies in one shoulder only."""
    found = []
    for each in put_in:
        serial = each.values.get("serial")
        if not serial:
            continue
        of_shoulder = (
            select(Component).join(Operation, Operation.id == Component.put_in_id).join(Shoulder).join(Patient)
        )
        same = of_shoulder.where(Component.serial == serial, Component.struck_at.is_(None), STANDS, COUNTED)
        others = [row for row in session.scalars(same) if row.id != each.component_id]
        if any(_could_be_one(row, each.values) for row in others):
            found.append(
                f"The serial number {serial} is entered for another component too. Copy both labels once more."
            )
    return found


def _could_be_one(row: Component, values: Mapping[str, Value]) -> bool:
    """Makers number for themselves: two numbers of devices that are known and differ are two components."""
    known = [(getattr(row, name), values.get(name)) for name in ("device_identifier", "catalogue_number", "maker")]
    return all(one is None or other is None or one == other for one, other in known)


def _label(values: Mapping[str, Value], on: Value) -> list[str]:
    """What the scanned code says against the other fields, and the last day of use against the operation."""
    found = []
    role = ROLES[str(values["role"])]
    for name, coded in _in_code(values).items():
        typed = values.get(name)
        if typed is not None and typed != coded:
            found.append(f"The scanned code of the {role} says {coded}, and the field beside it {typed}.")
    expires_on = values.get("expires_on")
    if isinstance(expires_on, date) and isinstance(on, date) and expires_on < on:
        found.append(f"The {role} was to be used by {day_words(expires_on)}, before the operation of {day_words(on)}.")
    return found


def _in_code(values: Mapping[str, Value]) -> dict[str, Value]:
    try:
        return read_udi(str(values["udi"])) if values.get("udi") else {}
    except NotReadable:
        return {}  # refused where it is entered
