"""What follows from a try to reach a patient about a form: when its row is back on the list, and whether reminders go on.

Rules:

1. The last try about a timepoint decides. A later one takes the place of an earlier one, also of a refusal.
2. Until the day on which it is back, a row stands under "later" and asks for nothing. Staff may name another day than the table's.
3. After a promise reminders rest until that day, so that nobody is reminded of what they have just promised; and so they do of somebody
   who is too ill now. Where there is no common language, or no device to answer on, the next step is a person's: an interpreter, paper, or
   the answers taken by telephone; reminders go on meanwhile, as somebody may help.
4. After a refusal the reminders of that timepoint end. The form can still be answered, and the row is not back unless staff named a day.
5. A message that staff sent by hand is a try too. One that could not be delivered is none: the row is back at once.
6. By the table a row is back at the latest on the day before its form closes (before surgery: before the operation).

The numbers of days are the project's own, to be piloted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

MESSAGE = "message"  # a message by hand, beside the results of server.fields.person


class Reminders(StrEnum):
    GO_ON = "go_on"
    REST = "rest"
    END = "end"


@dataclass(frozen=True)
class After:
    """`days` until the row is back, None: not by itself. `spoke`: the patient, or somebody for them, was spoken to."""

    days: int | None
    reminders: Reminders = Reminders.GO_ON
    spoke: bool = False


TABLE: Mapping[str, After] = {
    "promised": After(3, Reminders.REST, spoke=True),
    "reached": After(7, spoke=True),
    "declined": After(None, Reminders.END, spoke=True),
    "too_ill": After(14, Reminders.REST, spoke=True),
    "language": After(3, spoke=True),
    "no_device": After(3, spoke=True),
    "left_message": After(2),
    "no_answer": After(1),
    "wrong_number": After(1),
    "other": After(1),
    MESSAGE: After(3),
}
ENDING = frozenset(result for result, after in TABLE.items() if after.reminders == Reminders.END)
RESTING = frozenset(result for result, after in TABLE.items() if after.reminders == Reminders.REST)


def again_on(result: str, today: date, last_day: date | None = None) -> date | None:
    """The day on which the row is back, by the table. `last_day`: on which the form can be answered, where there is one."""
    days = TABLE[result].days
    if days is None:
        return None
    tomorrow, by_table = today + timedelta(days=1), today + timedelta(days=days)
    return by_table if last_day is None else max(tomorrow, min(by_table, last_day - timedelta(days=1)))


def reminders_stopped(last_try: str | None, again: date | None, today: date) -> bool:
    """Whether no reminder about the timepoint goes by itself today."""
    return last_try in ENDING or (last_try in RESTING and again is not None and today < again)
