"""How the person of a row is reached, and what stands against it. A row holds what `PERSON` in rows.py selects."""

from datetime import date
from typing import Any

from sqlalchemy import Row

from server.fields.person import SENT_BY_ITSELF
from server.queries.facts import is_spoken_for
from server.words.phrase import Phrase, phrase
from server.worklist import words

AnyRow = Row[*tuple[Any, ...]]
_HAS = {"email": "has_email", "sms": "has_phone", "telephone": "has_phone", "letter": "has_address"}


def is_sent_to(row: AnyRow) -> bool:
    """Whether a message of the program can reach the person; otherwise staff do."""
    return any(way in SENT_BY_ITSELF and getattr(row, _HAS[way]) for way in row.channel_order.split(","))


def has_died(row: AnyRow) -> bool:
    """For sure; a death that is only said is checked by a call."""
    return row.died_on is not None and row.died_certainty != "reported"


def reached(row: AnyRow, consents: bool, today: date) -> Phrase | str:
    """The way of contact, and who answers it where the patient cannot decide."""
    way = _reach(row, consents)
    return phrase("%(way)s; a representative answers", way=way) if is_spoken_for(row, today) else way


def _reach(row: AnyRow, consents: bool) -> Phrase | str:
    """The preferred way of contact, and why it cannot be used."""
    if has_died(row):
        return phrase("has died")
    if row.withdrew_on is not None:
        return phrase("wants no contact")
    if not consents:
        return phrase("no consent to contact")
    if row.messages_stopped_on is not None:
        return phrase("calls and letters by hand only")
    first: str = row.channel_order.partition(",")[0]
    missing = not getattr(row, _HAS.get(first, "has_email"))
    return (words.CHANNELS_WITHOUT_ADDRESS if missing else words.CHANNELS).get(first, first)
