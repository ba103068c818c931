"""What is asked beside a change of what is recorded."""

from server.fields.field import Field, Kind, Tense
from server.words.term import terms

WHY = Field(
    "why", "Why", Kind.TEXT, "change", longest=200, hint="May stay empty.", stays="a text that may name a person"
)

# A planned operation that will not be done.
CANCELLED: tuple[Field, ...] = (
    Field("on", "Day", Kind.DAY, "course", tense=Tense.PAST, required=True, stays="columns of its own in the exports"),
    WHY,
)

# Who confirmed, when and how, that answers belong where they are put.
_CONFIRMS = "it says who confirmed what"
CONFIRMED_HOW = terms(
    {"telephone": "by telephone", "in_person": "in person", "letter": "by letter", "email": "by e-mail"}
)
CONFIRMED: tuple[Field, ...] = (
    Field("confirmed_by", "Who confirmed it", Kind.TEXT, "ground", longest=120, stays=_CONFIRMS),
    Field("confirmed_on", "When", Kind.DAY, "ground", tense=Tense.PAST, stays=_CONFIRMS),
    Field("confirmed_how", "How", Kind.CHOICE, "ground", words=CONFIRMED_HOW, stays=_CONFIRMS),
)
