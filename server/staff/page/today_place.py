"""A form that was opened from a row of Today leads back to it, to the next row. The place travels along in the form."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from flask import url_for

FROM_TODAY = "today"


@dataclass(frozen=True)
class TodayPlace:
    """`kind` and `offset` as Today's own address has them; `next_row` is the key of the row to go on with, empty after the last."""

    kind: str
    offset: str
    next_row: str

    def fields(self) -> dict[str, Any]:
        """The hidden inputs of a form, or the arguments of a page on the way."""
        return {"back": FROM_TODAY, "today_kind": self.kind, "today_from": self.offset, "today_next": self.next_row}

    def address(self, done: str | None = None, patient_id: int | None = None) -> str:
        """With what was done, and about whom."""
        about = str(patient_id) if done and patient_id else None
        return today_address(self.kind, self.offset, at=self.next_row or None, done=done, about=about)


def timepoint_key(timepoint_id: int) -> str:
    """How Today's page names the row of a timepoint."""
    return f"timepoint-{timepoint_id}"


def today_address(kind: str, offset: str, **more: str | None) -> str:
    """Today as it was looked at; what is empty stands in no address."""
    where: dict[str, Any] = {"kind": kind or None, "from": offset or None, **more}
    return url_for("staff.today", **where)


def place_in(values: Mapping[str, str]) -> TodayPlace | None:
    """The place that a form or an address carries; None when it was not opened from Today."""
    if values.get("back") != FROM_TODAY:
        return None
    return TodayPlace(values.get("today_kind", ""), values.get("today_from", ""), values.get("today_next", ""))
