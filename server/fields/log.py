"""An operation whose patient is not enrolled: counted, never analysed, and without a name."""

from server.fields.field import Export, Field, Kind, Tense
from server.fields.operation_words import IMPLANT_TYPES, PROCEDURE_WORDS, SIDES
from server.words.term import terms

NOT_ENROLLED = terms(
    {
        "declined": "asked, does not want to",
        "not_asked": "not asked, missed at the desk",
        "language": "speaks none of the clinic's languages",
        "no_capacity": "cannot decide for themselves",
        "abroad": "lives abroad or far away",
        "emergency": "emergency, no time to ask",
        "died": "died before being asked",
        "other": "other",
        "unknown": "unknown",
    }
)


def _out(label: str, column: str = "") -> Export:
    return Export(label, column=column, files=("log",))


def _beside(name: str, of: str, label: str) -> Field:
    return Field(name, label, Kind.TEXT, "log", beside=of, longest=120, stays="a text in the clinic's own words")


LOG: tuple[Field, ...] = (
    Field("surgery_on", "Done on", Kind.DAY, "log", tense=Tense.PAST, required=True, in_front=True,
        export=Export("Year of surgery", column="surgery_year", files=("log",))),
    Field("side", "Side", Kind.CHOICE, "log", words=SIDES, required=True, in_front=True, export=_out("Side")),
    Field("procedure", "Procedure", Kind.CHOICE, "log", words=PROCEDURE_WORDS, in_front=True, export=_out("Procedure")),
    _beside("procedure_other", "procedure", "Which other procedure"),
    Field("implant_type", "Implant type", Kind.CHOICE, "log", words=IMPLANT_TYPES, in_front=True, export=_out("Implant type")),
    _beside("implant_other", "implant_type", "Which other implant"),
    Field("surgeon", "Surgeon", Kind.TEXT, "log", longest=80, in_front=True, stays="the name of a person"),
    Field("birth_year", "Year of birth", Kind.WHOLE, "log", least=1880, most=2100, in_front=True,
        stays="whoever is not enrolled is counted, and no row of a file is about one of them"),
    Field("not_enrolled_reason", "Why not enrolled", Kind.CHOICE, "log", words=NOT_ENROLLED, required=True, in_front=True,
        export=_out("Why the patient is not enrolled", "reason")),
    Field("not_enrolled_text", "In words", Kind.TEXT, "log", beside="not_enrolled_reason", longest=200, hint="No name.",
        stays="a text that may name a person"),
)  # fmt: skip
