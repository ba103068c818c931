"""What is recorded about a patient, and the small forms about reaching one. None of it but the sex leaves the clinic as it is."""

from server.fields.field import Field, Kind, Tense
from server.words.term import terms

SEXES = terms(
    {"female": "woman", "male": "man", "other": "other", "unknown": "unknown", "not_recorded": "not recorded"}
)
CONSENT_KINDS = terms(
    {
        "contact": "being contacted",
        "research": "use for research",
        "linkage": "linkage with registers",
        "unfinished": "unfinished answers being sent",
    }
)
PRIVACY = "privacy"
NOTICE_KINDS = terms({PRIVACY: "privacy notice", **CONSENT_KINDS})
CHANNELS = terms({"email": "e-mail", "sms": "text message", "letter": "letter", "telephone": "telephone"})
SENT_BY_ITSELF = ("email",)  # every other way is taken by staff, by hand
WAYS = terms({**CHANNELS, "sms": "text message (by hand, none is sent)"})
ATTEMPT_CHANNELS = terms({**CHANNELS, "in_person": "in person"})
ATTEMPT_RESULTS = terms(
    {
        "reached": "reached",
        "no_answer": "no answer",
        "wrong_number": "wrong number",
        "left_message": "left a message",
        "promised": "promised to answer",
        "declined": "does not want to",
        "too_ill": "too ill now",
        "language": "no common language",
        "no_device": "has nothing to answer on",
        "other": "other",
    }
)
ENDS = terms({"died": "died", "withdrew": "wants no more contact", "transferred": "another clinic follows up"})
DEATH_SOURCES = terms(
    {
        "relative": "a relative or friend",
        "gp": "the family doctor",
        "hospital": "a hospital's record or letter",
        "death_register": "register of deaths",
        "certificate": "death certificate or public notice",
        "unknown": "not known any more",
    }
)
ONLY_REPORTED = ("relative", "unknown")  # sources on whose word alone a death stays reported
NO_RECORD = (
    "relative",
    "certificate",
)  # not taken from a record or register, so heard of also where a patient closed those
DEATH_CERTAINTIES = terms(
    {
        "reported": "only said",
        "confirmed": "checked by staff",
        "adjudicated": "judged by a named person",
    }
)
HOW_EXACTLY = terms({"day": "to the day", "month": "to the month", "year": "to the year"})
# How far a withdrawal goes: each takes in those before it.
WITHDRAWAL_EXTENTS = terms(
    {
        "messages": "no more messages; the clinic may still call or write by hand",
        "contact": "no more contact; what visits and records show may still be written down",
        "records": "no more contact, and nothing more from records",
        "erasure": "all of that, and what is kept is to be erased",
    }
)
USUAL_MAJORITY = 18  # where the clinic has set none
CONSENT_BY = terms(
    {"self": "the patient", "parent": "a parent or guardian", "representative": "a legal representative"}
)
AFTER_CAPACITY = terms(
    {
        "stop": "questionnaires stop",
        "proxy": "someone else answers",
    }
)
_DECIDES = "it is about who decides for the patient"
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
    Field("channel_order", "Way of contact", Kind.SEVERAL, "contact", words=WAYS, longest=60, in_front=True, stays=_NAMES),
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

# What somebody who wants less of it has said, and what is left open by it.
WITHDRAWAL: tuple[Field, ...] = (
    Field("withdrawal_extent", "How far it goes", Kind.CHOICE, "end", words=WITHDRAWAL_EXTENTS, asked=False,
        stays="the day of withdrawal leaves"),
    Field("messages_stopped_on", "No more messages from", Kind.DAY, "end", tense=Tense.PAST, asked=False,
        stays="a column of its own in the exports"),
    Field("records_closed_on", "Nothing more from records from", Kind.DAY, "end", tense=Tense.PAST, asked=False,
        stays="columns of its own in the exports"),
    Field("erasure_asked_on", "Erasure asked for on", Kind.DAY, "end", tense=Tense.PAST, asked=False,
        stays="columns of its own in the exports"),
)  # fmt: skip

# By whom a death is known, how surely, and how exactly its day is.
DEATH: tuple[Field, ...] = (
    Field("died_source", "Known from", Kind.CHOICE, "end", words=DEATH_SOURCES, required=True,
        stays="columns of its own in the exports"),
    Field("died_certainty", "How sure", Kind.CHOICE, "end", words=DEATH_CERTAINTIES, required=True,
        stays="columns of its own in the exports"),
    Field("died_precision", "Its day is known", Kind.CHOICE, "end", words=HOW_EXACTLY, stays="columns of its own in the exports"),
)  # fmt: skip

CAPACITY: tuple[Field, ...] = (
    Field("capacity_lost_on", "Cannot decide since", Kind.DAY, "capacity", tense=Tense.PAST, stays=_DECIDES),
    Field("representative", "Representative", Kind.LINES, "capacity", longest=400, stays=_NAMES,
        hint="Name, relation, and how to reach that person."),
    Field("capacity_then", "From then on", Kind.CHOICE, "capacity", words=AFTER_CAPACITY, stays="answers say themselves who gave them"),
)  # fmt: skip

CONSENT: tuple[Field, ...] = (
    Field("kind", "To what", Kind.CHOICE, "consent", words=CONSENT_KINDS, required=True, stays="a column of its own in the exports"),
    Field("version", "Version of the form", Kind.TEXT, "consent", longest=20, stays="it names a form of the clinic"),
    Field("given_on", "Given on", Kind.DAY, "consent", tense=Tense.PAST, required=True, stays="a column of its own in the exports"),
    Field("given_by", "By whom", Kind.CHOICE, "consent", words=CONSENT_BY, stays=_DECIDES),
    Field("given_by_name", "Name, if not the patient", Kind.TEXT, "consent", longest=120, stays=_NAMES),
    Field("withdrawn_on", "Withdrawn on", Kind.DAY, "consent", tense=Tense.PAST, stays="a column of its own in the exports"),
    Field("withdrawn_by", "Withdrawn by", Kind.CHOICE, "consent", words=CONSENT_BY, stays=_DECIDES),
    Field("withdrawn_by_name", "Name, if not the patient", Kind.TEXT, "consent", longest=120, stays=_NAMES),
)  # fmt: skip

HOSPITAL_NUMBER: tuple[Field, ...] = (
    Field("issuer", "Issued by", Kind.TEXT, "number", longest=80, required=True, stays=_NAMES,
        hint="The hospital or health service, always by the same name."),
    Field("number", "Number", Kind.TEXT, "number", longest=60, required=True, stays=_NAMES),
)  # fmt: skip

LEAVING: tuple[Field, ...] = (
    Field("reason", "What happened", Kind.CHOICE, "end", words=ENDS, required=True, stays="a column of its own in the exports"),
    Field("leave-on", "Day", Kind.DAY, "end", tense=Tense.PAST, required=True, stays="columns of its own in the exports"),
    Field("by", "A withdrawal: by whom", Kind.CHOICE, "end", words=CONSENT_BY, stays=_DECIDES),
    Field("by_name", "Name, if not the patient", Kind.TEXT, "end", longest=120, stays=_NAMES),
)  # fmt: skip
