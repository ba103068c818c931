"""The shipped ladder sends what the ladder inside `standard@1` sent, on the same days: checked against that file, day by day."""

import json
from datetime import date, timedelta
from importlib.resources import files
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import Message, Patient, Timepoint
from tests.reminders.cast import MADRID, House, madrid

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

START = date(2026, 7, 6)
DAY = timedelta(days=1)
OLD_LADDER = json.loads((files("instruments") / "plans/standard/1.json").read_text("utf-8"))["ladder"]
PHONE = {"phone": "+34 600 000 000"}
PATIENTS: dict[str, dict[str, Any]] = {
    "e-mail": {"channel_order": ("email",)},
    "text message, then e-mail": {"channel_order": ("sms", "email"), **PHONE},
    "letter, then e-mail": {"channel_order": ("letter", "email"), "address": "Demo Street 1"},
    "letter, then e-mail, whose address was lost": {
        "channel_order": ("letter", "email"),
        "address": "Demo Street 1",
        "email": None,
    },
    "telephone only": {"channel_order": ("telephone",), **PHONE},
    "text message only": {"channel_order": ("sms",), **PHONE},
    "no consent to contact": {"channel_order": ("email",), "consents": ("research",)},
}
SHOULDERS = {
    "baseline": ShoulderEntry(side="right", surgery_planned_on=date(2026, 10, 1)),
    "week-6": ShoulderEntry(side="right", surgery_on=START - 35 * DAY),
    "year-1": ShoulderEntry(side="right", surgery_on=date(2025, 7, 20)),
    "year-2": ShoulderEntry(side="right", surgery_on=date(2024, 7, 20)),
}

Row = tuple[str, str, str, date, str, str | None]  # patient, code, step, day, channel, outcome


def test_the_same_messages_go_on_the_same_days_by_the_same_channel(house: House) -> None:
    house.case.now = madrid(START, 8)
    expected = {
        (name, code, str(step["step"]), START + step["after_invite_days"] * DAY, step["channel"], _outcome(changes))
        for name, changes in PATIENTS.items()
        for code in SHOULDERS
        for step in OLD_LADDER
    }
    for name, changes in PATIENTS.items():
        for shoulder in SHOULDERS.values():
            patient_id = house.case.enrol(shoulder, first_name=name, **{**changes, "email": "ada@patient.example"})
            if "email" in changes:
                house.change_patient(patient_id, email=None)
    for number in range(23):
        house.tick(START + number * DAY, extend=False)
        if START + number * DAY in {row[3] for row in expected}:
            house.send()
    assert rows_of(house) == expected


def _outcome(changes: dict[str, Any]) -> str:
    """By the rule of that time: e-mail alone, for whoever agreed, has an address, and named e-mail among the ways of contact."""
    if "consents" in changes:
        return "no_consent"
    return "sent" if "email" in changes["channel_order"] and "email" not in changes else "no_contact"


def rows_of(house: House) -> set[Row]:
    with house.case.store.reading() as session:
        rows = session.execute(
            select(Message, Timepoint.code, Patient)
            .join(Timepoint, Message.timepoint_id == Timepoint.id)
            .join(Patient, Timepoint.patient_id == Patient.id)
        ).all()
        return {
            (
                patient.first_name,
                code,
                row.step,
                row.made_at.astimezone(MADRID).date(),
                row.channel,
                row.outcome,
            )
            for row, code, patient in rows
        }
