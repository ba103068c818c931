"""What is recorded about a patient, and the small forms about reaching one. None of it but the sex leaves the clinic as it is."""

from server.fields.field import Field, Kind, Tense

SEXES = {"female": "woman", "male": "man", "other": "other", "unknown": "unknown", "not_recorded": "not recorded"}
CONSENT_KINDS = {
    "contact": "being contacted",
    "research": "use for research",
    "linkage": "linkage with registers",
    "unfinished": "unfinished answers being sent",
}
CHANNELS = {"email": "e-mail", "sms": "text message", "letter": "letter", "telephone": "telephone"}
ATTEMPT_CHANNELS = {**CHANNELS, "in_person": "in person"}
ATTEMPT_RESULTS = {
    "reached": "reached",
    "no_answer": "no answer",
    "wrong_number": "wrong number",
    "left_message": "left a message",
    "promised": "promised to answer",
    "declined": "does not want to",
    "other": "other",
}
ENDS = {"died": "died", "withdrew": "wants no more contact", "transferred": "another clinic follows up"}
_NAMES = "it says who the person is or how to reach them"

BIRTH: tuple[Field, ...] = (
    Field("birth_on", "Birth date", Kind.DAY, "person", tense=Tense.BIRTH, required=True, in_front=True, stays=_NAMES),
)

CONTACT: tuple[Field, ...] = (
    Field("phone", "Telephone", Kind.TEXT, "contact", longest=40, in_front=True, stays=_NAMES),
    Field("email", "E-mail", Kind.TEXT, "contact", longest=254, in_front=True, stays=_NAMES),
    Field("address", "Address", Kind.LINES, "contact", longest=400, stays=_NAMES),
    Field("second_contact", "Second contact person", Kind.LINES, "contact", longest=400, stays=_NAMES,
        hint="Name and telephone number, with that person's agreement."),
)  # fmt: skip

PERSON: tuple[Field, ...] = (
    Field("first_name", "First name", Kind.TEXT, "person", longest=80, required=True, in_front=True, stays=_NAMES),
    Field("last_name", "Last name", Kind.TEXT, "person", longest=80, required=True, in_front=True, stays=_NAMES),
    *BIRTH,
    Field("sex", "Sex", Kind.CHOICE, "person", words=SEXES, stays="columns of its own in the exports"),
    Field("study_number", "Study number", Kind.TEXT, "person", longest=20, hint="Empty: the next free one",
        stays="columns of its own in the exports"),
    *CONTACT,
    Field("channel_order", "Way of contact", Kind.SEVERAL, "contact", words=CHANNELS, longest=60, in_front=True, stays=_NAMES),
    Field("language", "Language", Kind.TEXT, "contact", longest=10, in_front=True, stays=_NAMES),
    Field("time_zone", "Time zone", Kind.TEXT, "contact", longest=40, stays=_NAMES),
)  # fmt: skip

ATTEMPT: tuple[Field, ...] = (
    Field("channel", "How", Kind.CHOICE, "attempt", words=ATTEMPT_CHANNELS, required=True, stays=_NAMES),
    Field("result", "What came of it", Kind.CHOICE, "attempt", words=ATTEMPT_RESULTS, required=True, stays=_NAMES),
    Field(
        "again_on", "Again on", Kind.DAY, "attempt", hint="Empty: the day that stands beside the result.", stays=_NAMES
    ),
    Field(
        "to_second_contact",
        "Whom",
        Kind.YES_NO,
        "attempt",
        hint="Whether it was the second contact person.",
        stays=_NAMES,
    ),
    Field("note", "Note", Kind.LINES, "attempt", longest=1000, hint="What the next person should know.", stays=_NAMES),
)

# The days from which nothing more is expected of a patient.
ENDS_ON: tuple[Field, ...] = tuple(
    Field(
        f"{reason}_on", label, Kind.DAY, "end", tense=Tense.PAST, asked=False, stays="columns of its own in the exports"
    )
    for reason, label in (
        ("died", "Died on"),
        ("withdrew", "Withdrew on"),
        ("transferred", "Moved to another clinic on"),
    )
)

LEAVING: tuple[Field, ...] = (
    Field("reason", "What happened", Kind.CHOICE, "end", words=ENDS, required=True, stays="a column of its own in the exports"),
    Field("leave-on", "Day", Kind.DAY, "end", tense=Tense.PAST, required=True, stays="columns of its own in the exports"),
)  # fmt: skip
