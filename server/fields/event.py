"""What happened to a shoulder between operations, operated or not. The day carries its precision and its source."""

from server.fields.field import Export, Field, Kind, Tense, plain_words

EVENT_KINDS = plain_words(
    "infection",
    "cuff_failure",
    "loosening",
    "glenoid_erosion",
    "necrosis_progression",
    "instability",
    "fracture",
    "nerve",
    "stiffness",
    "other",
)
PRECISIONS = ("day", "month", "year")

EVENT: tuple[Field, ...] = (
    Field("kind", "What happened", Kind.CHOICE, "event", words=EVENT_KINDS, required=True, in_front=True,
        export=Export("What happened", column="event_kind", files=("events",))),
    Field("happened_on", "When", Kind.DAY, "event", tense=Tense.PAST, precision="happened_precision", required=True,
        in_front=True, hint="A day, a month such as 2024-03, or a year",
        export=Export("When it happened; the column of its precision says how exactly that is known", files=("events",))),
    Field("procedure", "What was done about it", Kind.TEXT, "event", longest=120, stays="a text in the clinic's own words"),
    Field("source", "How the clinic knows", Kind.TEXT, "event", longest=120, required=True, stays="a text that may name a person"),
    Field("adjudicator", "Judged by", Kind.TEXT, "event", longest=80, stays="the name of a person"),
)  # fmt: skip
