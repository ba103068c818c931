"""Days, timepoints and states in the words of the front door."""

from datetime import date

from server.schedule.status import Status
from server.staff.page.words import ENGLISH
from server.timepoints.plans import shipped_plans
from server.words import timepoints

STATUS = {Status.OPEN: "open", Status.OVERDUE: "overdue", Status.NON_RESPONDER: "no answer to any reminder"}
STATE = {
    "nothing_due": "nothing due",
    "ended": "ended",
    "replaced": "replaced by a newer link",
    "locked": "locked after five wrong dates",
}


def day_words(day: date, *, weekday: bool = False) -> str:
    """25 November 2026; with its weekday if asked for."""
    return ENGLISH.weekday_and_day(day) if weekday else ENGLISH.day(day)


def span_words(first: date, last: date) -> str:
    """25 November to 2 December 2026."""
    begins = day_words(first)
    return f"{begins.removesuffix(f' {last.year}')} to {day_words(last)}"


def timepoint_words(code: str) -> str:
    """The standard plan's own title: 1 year after surgery; a code that it does not have as staff read it: 3 months."""
    standard = {entry.code: dict(entry.title)["en"] for entry in shipped_plans()["standard@1"].entries()}
    return standard.get(code) or ENGLISH.say(timepoints.timepoint_words(code))


def counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
