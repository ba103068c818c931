"""What is entered about a day, or some days, on which the clinic is closed."""

from server.fields.field import Field, Kind

_OWN = "a setting of the clinic, not of a patient"

HOLIDAY: tuple[Field, ...] = (
    Field("first_on", "First day", Kind.DAY, required=True, stays=_OWN),
    Field("last_on", "Last day", Kind.DAY, stays=_OWN, hint="Empty: one day."),
    Field("name", "Name", Kind.TEXT, longest=60, stays=_OWN, hint="May stay empty."),
    Field("yearly", "Every year", Kind.YES_NO, stays=_OWN),
)  # fmt: skip
