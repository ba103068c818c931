"""The words of an operation: kinds, procedures, implant types, diagnoses, reasons; and what follows from a word.

A word is never taken away without a mapping in a migration; to add one, add it here and bring the database's CHECK up to date.
`unknown` was asked and could not be found out; NULL is not recorded. Beside each `other` stands a text that stays in the clinic.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from server.fields.field import plain_words
from server.words.term import terms

SIDES = plain_words("left", "right")


@dataclass(frozen=True)
class OperationKind:
    """What follows from the kind of an operation.

    `is_revision`: it ends the survival of what it revises; the second stage of an exchange does not, since the exchange was counted
    when the implant was removed. `order`: what has a larger one is not done before what has a smaller one on the same shoulder;
    from AGAIN on it needs another operation before it. `exchanges`: components of an implant may come in and go out.
    """

    words: str
    starts_follow_up: bool
    order: int
    exchanges: bool
    is_revision: bool = False


BEFORE_THE_FIRST, FIRST, AGAIN = range(3)


KINDS: Mapping[str, OperationKind] = {
    "index": OperationKind("first operation", starts_follow_up=True, order=FIRST, exchanges=True),
    "revision": OperationKind("revision", starts_follow_up=True, order=AGAIN, exchanges=True, is_revision=True),
    "second_stage": OperationKind("second stage of an exchange", starts_follow_up=True, order=AGAIN, exchanges=True),
    "conversion": OperationKind("conversion to arthroplasty", starts_follow_up=True, order=AGAIN, exchanges=True),
    "other": OperationKind("other re-operation", starts_follow_up=False, order=AGAIN, exchanges=False),
    "earlier": OperationKind(
        "operation before the first one here", starts_follow_up=False, order=BEFORE_THE_FIRST, exchanges=True
    ),
}
OPERATION_KINDS = terms({code: kind.words for code, kind in KINDS.items()})
# A revision in two stages is one revision, on the day the implant was removed. The definitive implant starts its follow-up, so a
# revision with a word of AWAITS_ITS_SECOND starts none of its own.
STAGES = terms({"one": "in one stage", "first_of_two": "first of two stages, a spacer or nothing stays in"})
AWAITS_ITS_SECOND = ("first_of_two",)
REVISIONS = tuple(code for code, kind in KINDS.items() if kind.is_revision)
# The first implant of a joint that was operated on without one: it ends what went before, and is no revision.
CONVERSIONS = ("conversion",)


def starts_follow_up(kind: str, stage: str | None) -> bool:
    """Whether a follow-up begins with such an operation."""
    return KINDS[kind].starts_follow_up and stage not in AWAITS_ITS_SECOND


def done_here(kind: str, place: str | None) -> bool:
    """Whether an operation counts as one of this clinic's, in coverage and flow.

    Where no place is recorded it was done here, but for an operation before the first one here: of these most were done elsewhere.
    """
    return place == "here" or (place is None and KINDS[kind].order != BEFORE_THE_FIRST)


@dataclass(frozen=True)
class Procedure:
    """`kinds`: the kinds of operation that it can be; empty: every kind. `native`: it leaves no implant in the joint."""

    words: str
    kinds: tuple[str, ...] = ()
    native: bool = False


_IMPLANTS = ("index", "revision", "second_stage", "conversion", "earlier")
_REVISES = ("revision", "second_stage", "earlier")
_NATIVE = ("index", "other", "earlier")
PROCEDURES: Mapping[str, Procedure] = {
    "arthroplasty": Procedure("shoulder replacement, which one is not said", _IMPLANTS),
    "resurfacing": Procedure("resurfacing of the humeral head", _IMPLANTS),
    "hemiarthroplasty": Procedure("hemiarthroplasty", _IMPLANTS),
    "anatomic_total": Procedure("anatomic total arthroplasty", _IMPLANTS),
    "reverse": Procedure("reverse arthroplasty", _IMPLANTS),
    "composite": Procedure("composite of implant and bone graft", _IMPLANTS),
    "component_exchange": Procedure("exchange of fixed components", _REVISES),
    "modular_exchange": Procedure("washout with exchange of modular parts", _REVISES),
    "component_added": Procedure("component added, such as a glenoid", _REVISES),
    "component_removed": Procedure("implant or a component removed", _REVISES),
    "spacer": Procedure("spacer put in", ("index", "revision", "earlier")),
    "permanent_spacer": Procedure("spacer that is to stay", ("index", "revision", "earlier")),
    "resection": Procedure("resection arthroplasty", ("index", "revision", "earlier")),
    "arthrodesis": Procedure("arthrodesis", ("index", "revision", "conversion", "earlier")),
    "washout": Procedure("washout or debridement, nothing exchanged", _NATIVE, native=True),
    "cuff_repair": Procedure("rotator cuff repair", _NATIVE, native=True),
    "capsular_reconstruction": Procedure("superior capsular reconstruction", _NATIVE, native=True),
    "tendon_transfer": Procedure("tendon transfer", _NATIVE, native=True),
    "bone_block": Procedure("bone block", _NATIVE, native=True),
    "stabilisation": Procedure("soft tissue stabilisation", _NATIVE, native=True),
    "biceps": Procedure("biceps tenodesis or tenotomy", _NATIVE, native=True),
    "decompression": Procedure("subacromial decompression", _NATIVE, native=True),
    "core_decompression": Procedure("core decompression of the humeral head", _NATIVE, native=True),
    "acromioclavicular": Procedure("acromioclavicular joint", _NATIVE, native=True),
    "release": Procedure("release of the capsule, or manipulation under anaesthesia", _NATIVE, native=True),
    "fracture_fixation": Procedure("fixation of a fracture", _NATIVE, native=True),
    "hardware_removal": Procedure("removal of plates or screws", _NATIVE, native=True),
    "biopsy": Procedure("biopsy or arthroscopy to look", _NATIVE, native=True),
    "nerve": Procedure("operation on a nerve", _NATIVE, native=True),
    "other": Procedure("other procedure"),
    "unknown": Procedure("procedure unknown"),
}
# What leaves a whole implant in the joint.
ARTHROPLASTIES = tuple(code for code, each in PROCEDURES.items() if each.kinds == _IMPLANTS)
# They take a component out and put none in.
PUT_NOTHING_IN = ("component_removed", "resection")
# It adds a component and takes none out.
TAKES_NOTHING_OUT = ("component_added",)
PROCEDURE_WORDS = terms({code: each.words for code, each in PROCEDURES.items()})


@dataclass(frozen=True)
class ImplantType:
    """`like`: the implant type of published thresholds that this one is judged by; None: by no threshold of one type alone.

    `parts`: the components without which there is no such implant (roles in component.py); none where it varies.
    """

    words: str
    like: str | None = None
    parts: tuple[str, ...] = ()


_HEAD = ("head",)
_HEAD_AND_GLENOID = ("head", "glenoid")
_HEMI = ("stem", "head")
_TOTAL = ("stem", "head", "glenoid")
_REVERSE = ("stem", "liner", "glenosphere", "baseplate")


IMPLANTS: Mapping[str, ImplantType] = {
    "resurfacing_hemi": ImplantType("humeral resurfacing", "resurfacing_hemi", parts=_HEAD),
    "resurfacing_with_glenoid": ImplantType(
        "resurfacing with glenoid", "resurfacing_with_glenoid", parts=_HEAD_AND_GLENOID
    ),
    "inlay_hemi": ImplantType("inlay of the humeral head", parts=_HEAD),
    "inlay_with_glenoid": ImplantType("inlay of the head with glenoid", parts=_HEAD_AND_GLENOID),
    "stemmed_hemi": ImplantType("stemmed hemiarthroplasty", "stemmed_hemi", parts=_HEMI),
    "short_stem_hemi": ImplantType("short-stem hemiarthroplasty", "stemmed_hemi", parts=_HEMI),
    "convertible_hemi": ImplantType("hemiarthroplasty on a convertible stem", "stemmed_hemi", parts=_HEMI),
    "stemless_hemi": ImplantType("stemless hemiarthroplasty", "stemless_hemi", parts=_HEMI),
    "anatomic_total": ImplantType("anatomic total", "anatomic_total", parts=_TOTAL),
    "short_stem_total": ImplantType("short-stem anatomic total", "anatomic_total", parts=_TOTAL),
    "convertible_total": ImplantType("anatomic total on a convertible stem", "anatomic_total", parts=_TOTAL),
    "stemless_total": ImplantType("stemless anatomic total", "anatomic_total", parts=_TOTAL),
    "reverse": ImplantType("reverse", "reverse", parts=_REVERSE),
    "short_stem_reverse": ImplantType("short-stem reverse", "reverse", parts=_REVERSE),
    "convertible_reverse": ImplantType("reverse on a convertible stem", "reverse", parts=_REVERSE),
    "stemless_reverse": ImplantType("stemless reverse", "reverse", parts=_REVERSE),
    "spacer": ImplantType("spacer", parts=("spacer",)),
    "none": ImplantType("no implant", "none"),
    "other": ImplantType("other implant"),
    "unknown": ImplantType("implant type unknown"),
}
IMPLANT_TYPES = terms({code: each.words for code, each in IMPLANTS.items()})
_RESURFACED = ("resurfacing_hemi", "resurfacing_with_glenoid", "inlay_hemi", "inlay_with_glenoid")
# What is in the shoulder after a procedure that says so by its name; `other` and `unknown` go with any.
LEAVES: Mapping[str, tuple[str, ...]] = {
    "resurfacing": _RESURFACED,
    "hemiarthroplasty": tuple(code for code in IMPLANTS if code.endswith("_hemi")),
    "anatomic_total": tuple(code for code in IMPLANTS if code.endswith(("_total", "_with_glenoid"))),
    "reverse": tuple(code for code in IMPLANTS if code.endswith("reverse")),
    "spacer": ("spacer",),
    "permanent_spacer": ("spacer",),
    "resection": ("none",),
}


def threshold_type(implant_type: str | None) -> str | None:
    """The implant type of published thresholds for an operation's; None where no threshold of one type may be used."""
    return IMPLANTS[implant_type].like if implant_type else None


DIAGNOSES = terms(
    {
        **plain_words("osteoarthritis", "rheumatoid_arthritis", "osteonecrosis", "cuff_tear_arthropathy"),
        "massive_cuff_tear": "massive irreparable cuff tear without arthritis",
        "cuff_tear": "reparable cuff tear",
        **plain_words("acute_fracture", "fracture_sequelae"),
        "instability": "instability without arthropathy",
        **plain_words("instability_arthropathy", "locked_dislocation", "dysplasia"),
        "septic_arthropathy": "septic arthropathy",
        "neuropathic_arthropathy": "neuropathic arthropathy",
        "haemophilic_arthropathy": "arthropathy of haemophilia",
        "crystal_arthropathy": "crystal arthropathy",
        **plain_words("tumour", "stiffness", "biceps_disorder", "subacromial_pain"),
        "acromioclavicular_disorder": "disorder of the acromioclavicular joint",
        **plain_words("other", "unknown"),
    }
)

# Why a shoulder is operated on again: one is the primary reason, others may stand beside it.
REASONS = terms(
    {
        **plain_words("infection", "instability", "dissociation", "humeral_loosening", "glenoid_loosening"),
        **plain_words("glenoid_erosion", "polyethylene_wear", "component_breakage", "malposition"),
        "osteolysis": "osteolysis or reaction to wear",
        **plain_words("cuff_failure", "subscapularis_failure", "tuberosity_failure", "deltoid_failure"),
        "periprosthetic_fracture": "fracture around the implant",
        "acromial_fracture": "fracture of acromion or spine",
        **plain_words("notching", "necrosis_progression", "stiffness"),
        "pain": "pain without another reason",
        **plain_words("nerve", "haematoma", "wound", "tumour_recurrence"),
        "arthritis_progression": "arthritis after a procedure on the native joint",
        "planned_second_stage": "planned second stage",
        **plain_words("other", "unknown"),
    }
)
PLACES = terms({"here": "here", "elsewhere": "in another clinic"})
KNOWN_BY = terms(
    {
        "own_record": "our own record",
        "operation_report": "the operation report",
        "letter": "another clinic's letter",
        "implant_card": "the implant's card or label",
        "register": "a register",
        "radiograph": "a radiograph",
        "patient": "the patient",
        "relative": "a relative",
        "other": "another way",
    }
)
ASA_CLASSES = plain_words("1", "2", "3", "4", "5", "unknown")
DOMINANT = plain_words("yes", "no", "unknown")
CUFF_STATES = plain_words("intact", "thinned", "partial_tear", "full_tear", "repaired", "unknown")
