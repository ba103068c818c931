"""What is entered about a patient and an operation, before anything is kept: values by the names of the field tables."""

from collections.abc import Mapping

from server.fields.check import EntryRefused
from server.fields.field import Value

__all__ = ["Enrolment", "EntryRefused", "ShoulderEntry"]

CONSENT_VERSION = "1"
_OF_A_PERSON: Mapping[str, Value] = {"sex": "not_recorded", "language": "en", "channel_order": ("email",)}


class ShoulderEntry:
    """One operation on one shoulder, planned or done. `values`: fields of OPERATION and SHOULDER; what is left out is not recorded."""

    def __init__(self, side: str, **values: Value) -> None:
        self.side = side
        self.values: Mapping[str, Value] = {"kind": "index", **values}


class Enrolment:
    """One patient with one or two shoulders. `person`: fields of PERSON; an empty study number takes the next free one.

    `consents`: kinds agreed to today; `texts`: by kind the choice and the typed version of a Reading, where it was not the text in force.
    `offered`: by kind which version the page offered as the text in force, as a Reading has it; empty where no page did.
    `given_by`: who agreed for a child, as consents name it, and that person's name.
    """

    def __init__(
        self,
        *,
        shoulders: tuple[ShoulderEntry, ...] = (),
        consents: tuple[str, ...] = (),
        **person: Value,
    ) -> None:
        self.shoulders, self.consents = shoulders, consents
        self.texts: Mapping[str, tuple[str, str | None]] = {}
        self.offered: Mapping[str, str] = {}
        self.given_by: tuple[str, str | None] | None = None
        given = {name: value for name, value in person.items() if value is not None}
        self.person: Mapping[str, Value] = {**_OF_A_PERSON, **given}
