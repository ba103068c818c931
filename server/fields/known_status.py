"""What a source other than the patient's own answers and the clinic's own visits says of a person: reached, alive, implant."""

from server.fields.field import Field, Kind, Tense
from server.fields.operation_words import SIDES
from server.words.term import terms

STATUS_SOURCES = terms(
    {
        "patient": "the patient, by telephone or letter",
        "other_department": "seen in another department",
        "gp_letter": "letter of the family doctor",
        "other_hospital": "letter of another hospital",
        "register": "register of operations",
        "death_register": "register of deaths",
        "relative": "a relative or friend",
    }
)
# What has to be so before a source shows the state of an implant: the field that says it.
NEEDED_OF_IMPLANT = {
    "other_department": "examined",
    "gp_letter": "examined",
    "other_hospital": "examined",
    "register": "covers",
}
ALIVE = terms({"alive": "alive", "dead": "dead"})
IMPLANT = terms({"in_place": "not operated again", "operated": "operated again"})

GROUPS = terms({"status": "What the source says"})


# No file has a row for each source.
TELLS = "it leaves as the last-known days of operations.csv and their sources, as far as it moves them"

KNOWN_STATUS: tuple[Field, ...] = (
    Field("known_on", "Known on", Kind.DAY, "status", tense=Tense.PAST, required=True, in_front=True,
        hint="The day the source speaks of", stays=TELLS),
    Field("source", "Source", Kind.CHOICE, "status", words=STATUS_SOURCES, required=True, in_front=True,
        stays=TELLS),
    Field("source_text", "Source, in words", Kind.TEXT, "status", longest=120, hint="Such as the letter and its date.",
        stays="a text that may name a person"),
    Field("alive", "The person is", Kind.CHOICE, "status", words=ALIVE, in_front=True, stays=TELLS),
    Field("side", "Shoulder", Kind.CHOICE, "status", words=SIDES, stays=TELLS),
    Field("implant", "This shoulder was", Kind.CHOICE, "status", words=IMPLANT, stays=TELLS),
    Field("examined", "It tells of an examination", Kind.YES_NO, "status", stays=TELLS,
        hint="For a letter or another department: was this shoulder examined?"),
    Field("covers", "It covers this operation", Kind.YES_NO, "status", stays=TELLS,
        hint="For a register of operations: does it hold this patient and this kind of operation?"),
)  # fmt: skip
