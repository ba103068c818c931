"""What an entry of the audit trail tells beside its action: fields by their labels, codes by their words."""

import re
from collections.abc import Mapping
from datetime import date

from server.clinic.history import field_label
from server.fields.component import ROLES
from server.fields.operation_words import OPERATION_KINDS
from server.fields.person import (
    ATTEMPT_CHANNELS,
    ATTEMPT_RESULTS,
    CONSENT_BY,
    CONSENT_KINDS,
    NOTICE_KINDS,
    WITHDRAWAL_EXTENTS,
)
from server.staff.audit.audit_words import plain
from server.staff.page import words
from server.words import labels
from server.words.phrase import Phrase, phrase, phrase_in

NAMES: dict[str, Phrase] = {
    "attempt": phrase_in("detail", "attempt"),
    "channel": phrase_in("detail", "channel"),
    "count": phrase_in("detail", "count"),
    "extent": phrase_in("detail", "extent"),
    "failures": phrase_in("detail", "failures"),
    "kind": phrase_in("detail", "kind"),
    "language": phrase_in("detail", "language"),
    "mode": phrase_in("detail", "mode"),
    "name": phrase_in("detail", "name"),
    "number": phrase_in("detail", "number"),
    "reason": phrase_in("detail", "reason"),
    "replaces": phrase_in("detail", "replaces"),
    "result": phrase_in("detail", "result"),
    "role": phrase_in("detail", "role"),
    "settled_as": phrase_in("detail", "settled as"),
    "study_number": phrase_in("detail", "study number"),
    "texts": phrase_in("detail", "texts"),
    "alias": phrase("the other record"),
    "before": phrase("before"),
    "by": phrase("by"),
    "code": phrase("timepoint"),
    "fields": phrase("what"),
    "on": phrase("on"),
    "opens_on": phrase("opens on"),
    "surgery_on": phrase("day of surgery"),
    "surgery_planned_on": phrase("planned day of surgery"),
}
# A row's number tells a reader nothing; whose it is stands beside the thing.
IDS = frozenset({"flag", "moved_to", "operation", "patient", "response", "shoulder", "timepoint"})
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
# By subject of the action and name of the detail: the words of its codes.
VALUES: Mapping[tuple[str, str], Mapping[str, Phrase | str]] = {
    ("account", "before"): labels.ROLE,
    ("account", "role"): labels.ROLE,
    ("component", "role"): ROLES,
    ("consent", "by"): CONSENT_BY,
    ("consent", "kind"): CONSENT_KINDS,
    ("contact", "result"): ATTEMPT_RESULTS,
    ("follow_up", "reason"): labels.END,
    ("message", "channel"): ATTEMPT_CHANNELS,
    ("notice", "kind"): NOTICE_KINDS,
    ("operation", "kind"): OPERATION_KINDS,
    ("patient", "extent"): WITHDRAWAL_EXTENTS,
    ("response", "mode"): labels.MODE,
}
TABLE_OF = {"event": "clinic_event", "finding": "clinic_finding"}  # where a subject is not called like its table


def detail_words(action: str, found: dict[str, object]) -> str:
    """ "on 15 Nov 2026, reason surgery cancelled" """
    subject = action.split(":")[0]
    told = {name: value for name, value in found.items() if name not in IDS or not isinstance(value, int)}
    return ", ".join(f"{_name(name)} {_of(subject, name, value)}" for name, value in told.items())


def _of(subject: str, name: str, value: object) -> str:
    """A field by its label, a code by its word, anything else as it stands."""
    if name == "fields" and isinstance(value, list):
        return words.listed([words.quoted(_label(subject, str(each))) for each in value]) or words.gettext("none")
    if isinstance(value, dict):
        told = [f"{_label(subject, str(field))} {words.quoted(_value(each))}" for field, each in value.items()]
        return "; ".join(told) or words.gettext("none")
    said = VALUES.get((subject, name), {}).get(str(value))
    return words.say(said) if said is not None else _value(value)


def _label(subject: str, field: str) -> str:
    """A field of another version has no label any more."""
    label = field_label(TABLE_OF.get(subject, subject), field)
    return plain(field) if label == field else words.say(label)


def _name(name: str) -> str:
    return words.say(NAMES[name]) if name in NAMES else plain(name)


def _value(value: object) -> str:
    if isinstance(value, list):
        return words.listed([_value(each) for each in value]) or words.gettext("none")
    if value is None:
        return words.gettext("none")
    if isinstance(value, bool):
        return words.gettext("yes") if value else words.pgettext("answer", "no")
    return _text(str(value))


def _text(text: str) -> str:
    """A day as pages write it. What was only typed like one, such as 2026-02-30 as a name, stays as it is."""
    if _DAY.fullmatch(text):
        try:
            return words.short_day(date.fromisoformat(text))
        except ValueError:
            return text
    return plain(text)
