"""The whole file in words, as plain data for the typesetter (patient_file.typ)."""

import json
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from server.clinic.history import TABLES, field_label
from server.fields.field import Field, Kind
from server.staff.audit.audit_details import detail_words
from server.staff.audit.audit_words import action_words, plain
from server.staff.audit.file_sections import SECTIONS, names_staff
from server.staff.page import words
from server.staff.page.request_context import request_context
from server.words import labels
from server.words.languages import direction_of

Row = Mapping[str, Any]


# The section says whose rows these are, and the random name of a form tells a reader nothing.
UNTOLD = frozenset({"id", "answers", "patient_id", "form_id"})


def paper_of(file: Mapping[str, Any], language: str) -> dict[str, Any]:
    """In the language of the request's words; `language` is the tag that the typesetter names."""
    staff = {int(key): each["name"] for key, each in file["staff"].items()}
    numbers = ", ".join(file["study_numbers"])
    made = words.moment(datetime.fromisoformat(file["made_at"]), request_context().time_zone)
    return {
        "language": language,
        "direction": direction_of(language),
        "title": words.gettext("Everything that is kept about %(numbers)s") % {"numbers": numbers},
        "clinic": file["clinic"],
        "made": words.gettext("Made on %(moment)s.") % {"moment": made},
        "lead": words.gettext(
            "This file holds every row of the clinic’s record that concerns this person, also what was entered in error or set aside. "
            "Fingerprints of keys and the secret part of links are left out. The same is to be had as JSON for programs."
        ),
        "foot": f"{numbers} · {made}",
        "sections": [
            {
                "title": words.say(title),
                "none": words.gettext("Nothing is kept here."),
                "rows": [_told(model.__tablename__, row, staff) for row in file["tables"][model.__tablename__]],
            }
            for model, title in SECTIONS.items()
        ],
    }


def _told(table: str, row: Row, staff: Mapping[int, str]) -> dict[str, Any]:
    """Its number, what is recorded in it, and the answers where it is a form."""
    if table == "audit_entry":
        row = {**row, "action": action_words(row["action"]), "detail": _detail(row)}
    if table == "clinic_notice":
        language = words.spoken().language_name(row["language"])
        row = {**row, "kind": words.say(labels.NOTICE[row["kind"]]), "language": language}
    told = [
        [_label(table, name), _value(table, name, value, staff)]
        for name, value in row.items()
        if value not in (None, "") and name not in UNTOLD
    ]
    return {
        "number": str(row.get("id", "")),
        "facts": [[label, text] for label, text in told if text],
        "parts": [_part(each) for each in row.get("answers") or ()],
    }


def _part(part: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "title": f"{part['title']} ({part['instrument']}, {part['text']})",
        "language": part["language"],
        "direction": part["direction"],
        "answers": [
            [each["question"] or each["item"], each["said"] or _state(each["state"])] for each in part["answers"]
        ],
    }


def _state(state: str) -> str:
    return words.say(labels.ITEM_STATE.get(state, plain(state)))


def _label(table: str, name: str) -> str:
    label = field_label(table, name)
    return (
        plain(name.removesuffix("_id").removesuffix("_at").removesuffix("_on")) if label == name else words.say(label)
    )


def _value(table: str, name: str, value: Any, staff: Mapping[int, str]) -> str:
    field = next((each for each in TABLES.get(table, ()) if each.name == name), None)
    if names_staff(name):
        return staff.get(value, "")
    if isinstance(value, bool):
        return words.gettext("yes") if value else words.pgettext("answer", "no")
    if not isinstance(value, str):
        return str(value)
    if name.endswith("_at") or name in ("at", "hour"):
        return words.moment(datetime.fromisoformat(value), request_context().time_zone)
    if name.endswith("_on"):
        return words.day(date.fromisoformat(value))
    return _word(field, value)


def _word(field: Field | None, value: str) -> str:
    if field is None:
        return plain(value)
    if field.kind == Kind.CHOICE:
        return words.say(field.words.get(value, value))
    if field.kind == Kind.SEVERAL:
        return ", ".join(words.say(field.words.get(each, each)) for each in value.split(","))
    return value


def _detail(row: Row) -> str:
    return detail_words(row["action"], json.loads(row["detail"])) if row["detail"] else ""
