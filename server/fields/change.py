"""What is asked beside a change of what is recorded."""

from server.fields.field import Field, Kind

WHY = Field(
    "why", "Why", Kind.TEXT, "change", longest=200, hint="May stay empty.", stays="a text that may name a person"
)

# A day of surgery that is done, moved, cancelled or corrected. An empty one is open again.
SURGERY: tuple[Field, ...] = (
    Field("on", "Day", Kind.DAY, "course", stays="columns of its own in the exports"),
    WHY,
)
