"""What is recorded about an operation, and the shoulder it was done on. Its components: `component.py`.

In the order of the columns in operations.csv. To add a field, add a row here, a column in `server/models/operation.py`, and a
migration. The words stand in `operation_words.py`.
"""

from server.fields.field import CERTAINTIES, Export, Field, Kind, Leaves, Tense, When, plain_words
from server.fields.operation_words import (
    ASA_CLASSES,
    CUFF_STATES,
    DIAGNOSES,
    DOMINANT,
    IMPLANT_TYPES,
    KNOWN_BY,
    OPERATION_KINDS,
    PLACES,
    PROCEDURE_WORDS,
    REASONS,
    STAGES,
)

_MILD_TO_SEVERE = ("mild", "moderate", "marked", "severe")
_STAGES = tuple(f"stage_{number}" for number in ("i", "ii", "iii", "iv", "v", "1", "2", "3", "4", "4a", "4b", "5"))
_IN_EVERY_FILE = ("long", "wide", "operations")
_UNKNOWN_OR_EMPTY = "unknown was asked and not found out; empty is not recorded"

# The groups in the order in which forms ask and pages show them.
GROUPS = ("course", "place", "reason", "diagnosis", "procedure", "implant", "before", "cuff", "glenoid")
_ON_A_NEW_SHOULDER = ("index", "conversion", "earlier", "other")
_AGAIN = ("revision", "second_stage", "conversion", "other")


def _coded(
    name: str,
    label: str,
    group: str,
    longest: int,
    words: tuple[str, ...],
    export_label: str = "",
    kinds: tuple[str, ...] = (),
) -> Field:
    exported = Export(f"{export_label or label}; other is a text that stays in the clinic", leaves=Leaves.CODED)
    return Field(
        name, label, Kind.CODED, group, words=plain_words(*words), longest=longest, export=exported, kinds=kinds
    )


def _cuff(tendon: str) -> Field:
    label = f"{tendon.capitalize().replace('_', ' ')} tendon"
    return Field(
        f"cuff_{tendon}", label, Kind.CHOICE, "cuff", words=CUFF_STATES, export=Export(f"{label} at surgery"),
    )  # fmt: skip


def _beside(name: str, of: str, label: str, group: str, kinds: tuple[str, ...] = ()) -> Field:
    """The text that goes with the word `other` of a choice."""
    return Field(
        name, label, Kind.TEXT, group, longest=120, beside=of, in_front=of not in ("known_by", "further_reasons"), kinds=kinds,
        stays="a text in the clinic's own words",
    )  # fmt: skip


OPERATION: tuple[Field, ...] = (
    Field("kind", "Kind", Kind.CHOICE, "course", words=OPERATION_KINDS, required=True,
        export=Export("Kind of operation", note="A revision adds, removes or exchanges a component; an exchange in two stages is one",
            column="operation_kind", files=_IN_EVERY_FILE)),
    Field("stage", "Stages", Kind.CHOICE, "course", words=STAGES, kinds=("revision",), in_front=True,
        hint="An exchange in two stages is one revision, on the day the implant was removed",
        export=Export("Stages of a revision", note="The second of two stages is an operation of its own, of kind second_stage")),
    Field("surgery_on", "Done on", Kind.DAY, "course", tense=Tense.PAST, in_front=True, precision="surgery_precision",
        hint="If it was done: a day (2024-03-28), or only its month (1998-03) or year (1998)",
        export=Export("Day of surgery, when done: the first it can have been; see surgery_precision", files=_IN_EVERY_FILE)),
    Field("surgery_planned_on", "Planned for", Kind.DAY, "course", tense=Tense.AHEAD, in_front=True, when=When.PLANNED,
        hint="If it is to come; may stay empty", export=Export("Planned day of surgery")),
    Field("cancelled_on", "Cancelled on", Kind.DAY, "course", asked=False, when=When.PLANNED,
        export=Export("Day on which the planned operation was cancelled")),
    Field("cancelled_reason", "Why it was cancelled", Kind.TEXT, "course", longest=200, asked=False, when=When.PLANNED,
        stays="a text that may name a person"),
    Field("place", "Done where", Kind.CHOICE, "place", words=PLACES, export=Export("Where it was done")),
    Field("place_name", "Which clinic", Kind.TEXT, "place", longest=120, stays="a text that may name a person"),
    Field("known_by", "How it is known", Kind.CHOICE, "place", words=KNOWN_BY, export=Export("How the clinic knows of it")),
    _beside("known_by_other", "known_by", "In which other way", "place"),
    Field("certainty", "How sure", Kind.CHOICE, "place", words=CERTAINTIES,
        export=Export("How sure it is that this was done")),
    Field("reason", "Why it is operated on again", Kind.CHOICE, "reason", words=REASONS, kinds=_AGAIN, in_front=True,
        hint="The one reason without which it would not be done",
        export=Export("Primary reason of a revision, conversion or re-operation", note=_UNKNOWN_OR_EMPTY,
            column="operation_reason", files=("wide", "operations"))),
    _beside("reason_other", "reason", "Which other reason", "reason", _AGAIN),
    Field("further_reasons", "Further reasons", Kind.SEVERAL, "reason", words=REASONS, longest=400, kinds=_AGAIN,
        export=Export("Further reasons, with commas between")),
    _beside("further_reasons_other", "further_reasons", "Which other further reason", "reason", _AGAIN),
    Field("diagnosis", "Diagnosis", Kind.CHOICE, "diagnosis", words=DIAGNOSES, in_front=True, kinds=_ON_A_NEW_SHOULDER,
        export=Export("Diagnosis", note=_UNKNOWN_OR_EMPTY, files=("wide", "operations"))),
    _beside("diagnosis_other", "diagnosis", "Which other diagnosis", "diagnosis", _ON_A_NEW_SHOULDER),
    _coded("diagnosis_stage", "Stage", "diagnosis", 40, (*_MILD_TO_SEVERE, *_STAGES, "unknown"), "Stage of the diagnosis",
        _ON_A_NEW_SHOULDER),
    Field("earlier_surgery", "Earlier surgery on this shoulder", Kind.TEXT, "before", longest=200,
        export=Export("Earlier surgery on this shoulder is noted (the note itself is not exported)", leaves=Leaves.NOTED)),
    Field("bmi", "BMI", Kind.NUMBER, "before", unit="kg/m²", least=10, most=90, export=Export("Body mass index")),
    Field("asa", "ASA class", Kind.CHOICE, "before", words=ASA_CLASSES, export=Export("ASA class", note=_UNKNOWN_OR_EMPTY)),
    _coded("smoking", "Smoking", "before", 20, ("never", "former", "current", "unknown")),
    *(_cuff(tendon) for tendon in ("supraspinatus", "infraspinatus", "subscapularis", "teres_minor")),
    _coded("glenoid_type", "Glenoid type", "glenoid", 20,
        ("a1", "a2", "b1", "b2", "b3", "c", "c1", "c2", "d", "unknown")),
    _coded("glenoid_wear", "Glenoid wear", "glenoid", 40, ("none", *_MILD_TO_SEVERE, "unknown"), "Glenoid wear at surgery"),
    _coded("glenoid_treatment", "Glenoid treatment", "glenoid", 40,
        ("none", "reamed", "microfracture", "bone_graft", "soft_tissue", "component", "unknown"), "What was done to the glenoid"),
    _coded("subscapularis_handling", "Subscapularis handling", "glenoid", 40,
        ("tenotomy", "peel", "lesser_tuberosity_osteotomy", "split", "spared", "unknown"), "How the subscapularis was taken down"),
    Field("implant_type", "Implant type", Kind.CHOICE, "implant", words=IMPLANT_TYPES, in_front=True,
        hint="What is in the shoulder when the operation is over",
        export=Export("Implant type", note=_UNKNOWN_OR_EMPTY, files=("wide", "operations"))),
    _beside("implant_other", "implant_type", "Which other implant", "implant"),
    _coded("fixation", "Fixation", "implant", 40, ("cemented", "uncemented", "hybrid", "unknown")),
    Field("procedure", "Procedure", Kind.CHOICE, "procedure", words=PROCEDURE_WORDS, in_front=True,
        export=Export("Procedure: what was done", note=_UNKNOWN_OR_EMPTY, files=("wide", "operations"))),
    _beside("procedure_other", "procedure", "Which other procedure", "procedure"),
    Field("surgeon", "Surgeon", Kind.TEXT, "procedure", longest=80, stays="the name of a person"),
)  # fmt: skip

# What is recorded once for a shoulder, and asked together with an operation on it.
SHOULDER: tuple[Field, ...] = (
    Field(
        "dominant",
        "Dominant side",
        Kind.CHOICE,
        "course",
        words=DOMINANT,
        export=Export("Operated on the dominant side", note=_UNKNOWN_OR_EMPTY),
    ),
)


def in_page_order(fields: tuple[Field, ...] = OPERATION) -> list[Field]:
    """As forms ask and pages show them: group by group."""
    return sorted(fields, key=lambda each: GROUPS.index(each.group))
