"""What a source other than the patient's own answers and the clinic's own visits says of a person: reached, alive, implant."""

from server.fields.field import Export, Field, Kind, Tense
from server.fields.operation_words import SIDES

STATUS_SOURCES = {
    "patient": "the patient, by telephone or letter",
    "other_department": "seen in another department",
    "gp_letter": "letter of the family doctor",
    "other_hospital": "letter of another hospital",
    "register": "register of operations",
    "death_register": "register of deaths",
    "relative": "a relative or friend",
}
# What has to be so before a source shows the state of an implant: the field that says it.
NEEDED_OF_IMPLANT = {
    "other_department": "examined",
    "gp_letter": "examined",
    "other_hospital": "examined",
    "register": "covers",
}
ALIVE = {"alive": "alive", "dead": "dead"}
IMPLANT = {"in_place": "not operated again", "operated": "operated again"}

GROUPS = {"status": "What the source says"}


def _out(label: str) -> Export:
    return Export(label, files=("patients",))


KNOWN_STATUS: tuple[Field, ...] = (
    Field("known_on", "Known on", Kind.DAY, "status", tense=Tense.PAST, required=True, in_front=True,
        hint="The day the source speaks of", export=_out("Day the source speaks of")),
    Field("source", "Source", Kind.CHOICE, "status", words=STATUS_SOURCES, required=True, in_front=True,
        export=_out("Source of what is known")),
    Field("source_text", "Source, in words", Kind.TEXT, "status", longest=120, hint="Such as the letter and its date.",
        stays="a text that may name a person"),
    Field("alive", "The person is", Kind.CHOICE, "status", words=ALIVE, in_front=True, export=_out("What it says of the person")),
    Field("side", "Shoulder", Kind.CHOICE, "status", words=SIDES, export=_out("Which shoulder it speaks of")),
    Field("implant", "This shoulder was", Kind.CHOICE, "status", words=IMPLANT, export=_out("What it says of the implant")),
    Field("examined", "It tells of an examination", Kind.YES_NO, "status",
        hint="For a letter or another department: was this shoulder examined?", export=_out("Whether it tells of an examination")),
    Field("covers", "It covers this operation", Kind.YES_NO, "status",
        hint="For a register of operations: does it hold this patient and this kind of operation?",
        export=_out("Whether the register covers patient and procedure")),
)  # fmt: skip
