"""Who is written to when a safety answer waits and nobody opens Today, after how many working hours, and when the clinic works.

The hours that stand there until the clinic chooses are common practice; no source is known for them.
"""

from server.fields.field import Field, Kind
from server.words.term import terms

_OWN = "a setting of the clinic, not of a patient"
WEEKDAYS = terms(
    {
        "1": "Monday",
        "2": "Tuesday",
        "3": "Wednesday",
        "4": "Thursday",
        "5": "Friday",
        "6": "Saturday",
        "7": "Sunday",
    }
)

SAFETY_NET: tuple[Field, ...] = (
    Field("reader_id", "Reader", Kind.WHOLE, least=1, most=2**31 - 1, stays=_OWN),
    Field("deputy_id", "Deputy", Kind.WHOLE, least=1, most=2**31 - 1, stays=_OWN),
    Field("first_hours", "First mail after", Kind.WHOLE, unit="working hours", least=1, most=40, required=True, stays=_OWN),
    Field("second_hours", "Second mail after", Kind.WHOLE, unit="working hours", least=2, most=80, required=True, stays=_OWN),
    Field("begins_hour", "The clinic opens at", Kind.WHOLE, unit="full hour", least=0, most=22, required=True, stays=_OWN),
    Field("ends_hour", "The clinic closes at", Kind.WHOLE, unit="full hour", least=1, most=23, required=True, stays=_OWN),
    Field("weekdays", "Working days", Kind.SEVERAL, words=WEEKDAYS, required=True, stays=_OWN),
)  # fmt: skip
