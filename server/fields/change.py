"""What is asked beside a change of what is recorded."""

from server.fields.field import Field, Kind, Tense

WHY = Field(
    "why", "Why", Kind.TEXT, "change", longest=200, hint="May stay empty.", stays="a text that may name a person"
)

# A day of surgery that is done, moved, cancelled or corrected. An empty one is open again.
SURGERY: tuple[Field, ...] = (
    Field("on", "Day", Kind.DAY, "course", stays="columns of its own in the exports"),
    WHY,
)

# A day of surgery that is corrected; never open again.
SURGERY_DAY: tuple[Field, ...] = (
    Field("surgery_on", "Day of surgery", Kind.DAY, "course", tense=Tense.PAST, required=True,
        stays="columns of its own in the exports"),
)  # fmt: skip

# Who confirmed, when and how, that answers belong where they are put.
_CONFIRMS = "it says who confirmed what"
CONFIRMED_HOW = {"telephone": "by telephone", "in_person": "in person", "letter": "by letter", "email": "by e-mail"}
CONFIRMED: tuple[Field, ...] = (
    Field("confirmed_by", "Who confirmed it", Kind.TEXT, "ground", longest=120, stays=_CONFIRMS),
    Field("confirmed_on", "When", Kind.DAY, "ground", tense=Tense.PAST, stays=_CONFIRMS),
    Field("confirmed_how", "How", Kind.CHOICE, "ground", words=CONFIRMED_HOW, stays=_CONFIRMS),
)
