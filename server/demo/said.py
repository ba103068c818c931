"""How the front door says days, timepoints and states."""

from datetime import date

from server.schedule.status import Status
from server.staff.page.words import MONTHS, timepoint
from server.timepoints.plans import shipped_plans

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
STATUS = {Status.OPEN: "open", Status.OVERDUE: "overdue", Status.NON_RESPONDER: "no answer to any reminder"}
STATE = {
    "nothing_due": "nothing due",
    "ended": "ended",
    "replaced": "replaced by a newer link",
    "locked": "locked after five wrong dates",
}


def day_words(day: date, *, weekday: bool = False) -> str:
    """25 November 2026; with its weekday if asked for."""
    written = f"{day.day} {MONTHS[day.month - 1]} {day.year}"
    return f"{WEEKDAYS[day.weekday()]} {written}" if weekday else written


def span_words(first: date, last: date) -> str:
    """25 November to 2 December 2026."""
    begins = day_words(first) if first.year != last.year else f"{first.day} {MONTHS[first.month - 1]}"
    return f"{begins} to {day_words(last)}"


def timepoint_words(code: str) -> str:
    """The standard plan's own title: 1 year after surgery; a code that it does not have as staff read it: month 3."""
    standard = {entry.code: dict(entry.title)["en"] for entry in shipped_plans()["standard@1"].entries()}
    return standard.get(code) or timepoint(code)


def counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
