"""What is recorded about an operation and its components, and the shoulder it was done on.

In the order of the columns in operations.csv. To add a field, add a row here, a column in `server/models/operation.py`, and a
migration. A word of a list is never taken away; to add one, add it here.
"""

from server.fields.field import Export, Field, Kind, Leaves, Tense, When, plain_words

SIDES = plain_words("left", "right")
OPERATION_KINDS = {"index": "first operation", "revision": "revision", "other": "other re-operation"}
# `unknown` was asked and could not be found out; NULL is not recorded.
IMPLANT_TYPES = {
    "resurfacing_hemi": "humeral resurfacing",
    "resurfacing_with_glenoid": "resurfacing with glenoid",
    "stemmed_hemi": "stemmed hemiarthroplasty",
    "stemless_hemi": "stemless hemiarthroplasty",
    "anatomic_total": "anatomic total",
    "reverse": "reverse",
    "none": "no implant",
    "other": "other implant",
    "unknown": "implant type unknown",
}
DIAGNOSES = plain_words(
    "osteoarthritis",
    "rheumatoid_arthritis",
    "osteonecrosis",
    "cuff_tear_arthropathy",
    "fracture_sequelae",
    "instability_arthropathy",
    "dysplasia",
    "other",
    "unknown",
)
CUFF_STATES = plain_words("intact", "thinned", "partial_tear", "full_tear", "repaired", "unknown")
_MILD_TO_SEVERE = ("mild", "moderate", "marked", "severe")
_STAGES = tuple(f"stage_{number}" for number in ("i", "ii", "iii", "iv", "v", "1", "2", "3", "4", "4a", "4b", "5"))
_IN_EVERY_FILE = ("long", "wide", "operations")
_UNKNOWN_OR_EMPTY = "unknown was asked and not found out, empty is not recorded"

# The groups in the order in which forms ask and pages show them.
GROUPS = ("course", "diagnosis", "component", "team", "before", "cuff", "glenoid")


def _coded(name: str, label: str, group: str, longest: int, words: tuple[str, ...], export_label: str = "") -> Field:
    exported = Export(f"{export_label or label}; other is a text that stays in the clinic", leaves=Leaves.CODED)
    return Field(name, label, Kind.CODED, group, words=plain_words(*words), longest=longest, export=exported)


def _cuff(tendon: str) -> Field:
    label = f"{tendon.capitalize().replace('_', ' ')} tendon"
    return Field(
        f"cuff_{tendon}", label, Kind.CHOICE, "cuff", words=CUFF_STATES, export=Export(f"{label} at surgery"),
    )  # fmt: skip


def _label_of_implant(name: str, label: str, longest: int, export_label: str) -> Field:
    """What staff copy from the implant's label, so it can name no person and is exported as typed."""
    exported = Export(f"{export_label}, as typed from its label")
    return Field(name, label, Kind.TEXT, "component", longest=longest, export=exported)


OPERATION: tuple[Field, ...] = (
    Field("kind", "Kind", Kind.CHOICE, "course", words=OPERATION_KINDS, required=True,
        export=Export("First replacement, revision (a component added, removed or exchanged) or another re-operation",
            column="operation_kind", files=_IN_EVERY_FILE)),
    Field("surgery_on", "Done on", Kind.DAY, "course", tense=Tense.PAST, in_front=True,
        hint="If it was done; decades back is fine", export=Export("Day of surgery, when done", files=_IN_EVERY_FILE)),
    Field("surgery_planned_on", "Planned for", Kind.DAY, "course", tense=Tense.AHEAD, in_front=True, when=When.PLANNED,
        hint="If it is to come; may stay empty", export=Export("Planned day of surgery")),
    Field("cancelled_on", "Cancelled on", Kind.DAY, "course", asked=False, when=When.PLANNED,
        export=Export("Day on which the planned operation was cancelled")),
    Field("cancelled_reason", "Why it was cancelled", Kind.TEXT, "course", longest=200, asked=False, when=When.PLANNED,
        stays="a text that may name a person"),
    Field("diagnosis", "Diagnosis", Kind.CHOICE, "diagnosis", words=DIAGNOSES, in_front=True,
        export=Export(f"Diagnosis; {_UNKNOWN_OR_EMPTY}", files=("wide", "operations"))),
    _coded("diagnosis_stage", "Stage", "diagnosis", 40, (*_MILD_TO_SEVERE, *_STAGES), "Stage of the diagnosis"),
    Field("earlier_surgery", "Earlier surgery on this shoulder", Kind.TEXT, "before", longest=200,
        export=Export("Earlier surgery on this shoulder is noted (the note itself is not exported)", leaves=Leaves.NOTED)),
    Field("bmi", "BMI", Kind.NUMBER, "before", unit="kg/m²", least=10, most=90, export=Export("Body mass index")),
    Field("asa", "ASA class", Kind.WHOLE, "before", least=1, most=5,
        export=Export("ASA class", codes=("1", "2", "3", "4", "5"))),
    _coded("smoking", "Smoking", "before", 20, ("never", "former", "current", "unknown")),
    *(_cuff(tendon) for tendon in ("supraspinatus", "infraspinatus", "subscapularis", "teres_minor")),
    _coded("glenoid_type", "Glenoid type", "glenoid", 20,
        ("a1", "a2", "b1", "b2", "b3", "c", "c1", "c2", "d", "unknown")),
    _coded("glenoid_wear", "Glenoid wear", "glenoid", 40, ("none", *_MILD_TO_SEVERE, "unknown"), "Glenoid wear at surgery"),
    _coded("glenoid_treatment", "Glenoid treatment", "glenoid", 40,
        ("none", "reamed", "microfracture", "bone_graft", "soft_tissue", "component"), "What was done to the glenoid"),
    _coded("subscapularis_handling", "Subscapularis handling", "glenoid", 40,
        ("tenotomy", "peel", "lesser_tuberosity_osteotomy", "split", "spared"), "How the subscapularis was taken down"),
    Field("implant_type", "Implant type", Kind.CHOICE, "component", words=IMPLANT_TYPES, in_front=True,
        export=Export(f"Implant type; {_UNKNOWN_OR_EMPTY}", files=("wide", "operations"))),
    _label_of_implant("implant_model", "Implant model", 80, "Implant model"),
    _label_of_implant("implant_size", "Size", 40, "Implant size"),
    _label_of_implant("implant_lot", "Lot", 60, "Implant lot"),
    _coded("fixation", "Fixation", "component", 40, ("cemented", "uncemented", "hybrid", "cement_free", "press_fit")),
    Field("procedure", "Procedure", Kind.TEXT, "team", longest=120, stays="a text in the clinic's own words"),
    Field("surgeon", "Surgeon", Kind.TEXT, "team", longest=80, stays="the name of a person"),
)  # fmt: skip

# What is recorded once for a shoulder, and asked together with an operation on it.
SHOULDER: tuple[Field, ...] = (
    Field("dominant", "Dominant side", Kind.YES_NO, "course", export=Export("Operated on the dominant side")),
)


def in_page_order(fields: tuple[Field, ...] = OPERATION) -> list[Field]:
    """As forms ask and pages show them: group by group."""
    return sorted(fields, key=lambda each: GROUPS.index(each.group))
