"""What happened to a shoulder or its person: a core set of events, how sure each is, and what was done about it.

Kinds follow the core set of doi 10.1016/j.jse.2019.07.021, in its groups; beside them events that it leaves out. A grade is derived
(server/fields/event_grade.py), never entered.
"""

from collections.abc import Mapping

from server.fields.field import CERTAINTIES, Export, Field, Kind, Tense, plain_words
from server.words.term import term, terms

# The groups in which a form offers the kinds, each with its code and words.
_GROUPED: Mapping[str, Mapping[str, str]] = {
    "During the operation": {
        "intraoperative_device": "device, during the operation",
        "intraoperative_fracture": "bone or cartilage, during the operation",
        "intraoperative_soft_tissue": "nerve, vessel, muscle or tendon, during the operation",
    },
    "Implant and bone": {
        "device": "failure of the implant",
        "loosening": "loosening",
        "dissociation": "dissociation of components",
        "glenoid_erosion": "glenoid erosion",
        "necrosis_progression": "necrosis progression",
        "notching": "scapular notching",
        "osteochondral": "another problem of bone or cartilage",
        "periprosthetic_fracture": "fracture around the implant",
        "acromion_or_spine_fracture": "fracture of acromion or scapular spine",
        "tuberosity": "tuberosity displaced, resorbed or not healed",
        "injury": "fall or broken bone, not yet sorted out",
    },
    "Joint": {
        "instability": "instability or dislocation",
        "stiffness": "stiffness",
        "pain": "pain without another cause",
    },
    "Infection": {
        "infection": "infection",
        "unexpected_positive_culture": "unexpected positive culture at a revision",
    },
    "Nerve, vessel and soft tissue": {
        "nerve": "peripheral nerve",
        "vascular": "vessel",
        "superficial_soft_tissue": "wound or skin",
        "cuff_failure": "cuff failure",
        "subscapularis_failure": "subscapularis failure",
        "deltoid_failure": "deltoid failure",
        "deep_soft_tissue": "another deep soft tissue problem",
        "crps": "complex regional pain syndrome",
    },
    "Of the whole person, to 90 days": {
        "thromboembolism": "thrombosis or embolism",
        "cardiac": "heart",
        "readmission": "readmission",
        "death": "death within 90 days",
    },
    "Operated again or not": {
        "operated_again": "operated again, the operation not recorded yet",
        "revision_advised": "revision advised, declined or unfit",
    },
    "Other": {"other": "other"},
}
EVENT_GROUPS: Mapping[str, Mapping[str, str]] = {term(group): terms(kinds) for group, kinds in _GROUPED.items()}
EVENT_KINDS = {code: words for kinds in EVENT_GROUPS.values() for code, words in kinds.items()}
SYSTEMIC = tuple(EVENT_GROUPS["Of the whole person, to 90 days"])
INFECTIONS = ("infection", "unexpected_positive_culture")
PRECISIONS = ("day", "month", "year")
SOURCE_KINDS = terms(
    {
        "patient": "the patient",
        "relative": "a relative or friend",
        "examination": "an examination here",
        "record": "this clinic's own record",
        "other_department": "another department",
        "other_hospital": "another hospital",
        "gp": "the family doctor",
        "register": "a register",
        "other": "other",
    }
)
TREATMENTS = terms(
    {
        "none": "none",
        "observation": "observation or closer visits",
        "therapy": "exercises, sling or brace",
        "medicine": "medicine or antibiotics",
        "procedure": "injection, puncture or closed reduction",
        "admission": "admission without an operation",
        "reoperation": "operation, every component left",
        "revision": "revision",
        "intensive_care": "intensive care",
        "other": "other",
        "unknown": "unknown",
    }
)
HARMS = terms(
    {
        "none": "none",
        "some": "some, daily life as before",
        "limiting": "some that limits daily life",
        "death": "death",
        "unknown": "unknown",
    }
)
REVISION_DECISIONS = terms(
    {
        "advised": "advised, not decided yet",
        "declined": "advised, declined by the patient",
        "unfit": "advised, unfit for it",
    }
)
INFECTION_DEFINITIONS = terms(
    {
        "icm_2018": "International Consensus Meeting 2018, shoulder",
        "clinic": "this clinic's own definition",
        "other": "another definition",
        "unknown": "unknown",
    }
)
INFECTION_CERTAINTIES = plain_words("definite", "probable", "possible", "unlikely", "unknown")
ORGANISMS = terms(
    {
        "cutibacterium": "Cutibacterium",
        "coagulase_negative": "coagulase-negative staphylococci",
        "staph_aureus": "Staphylococcus aureus",
        "streptococcus": "streptococci",
        "enterococcus": "enterococci",
        "gram_negative": "gram-negative rods",
        "fungus": "fungus",
        "several": "several, not said which",
        "none_grown": "none grown",
        "other": "other",
        "unknown": "unknown",
    }
)
GROUPS = terms(
    {
        "event": "What happened",
        "sure": "How sure it is",
        "care": "What was done, and what stays",
        "infection": "Infection",
    }
)


def _out(label: str, column: str = "") -> Export:
    return Export(label, column=column, files=("events",))


def _word(name: str, label: str, group: str, words: Mapping[str, str], hint: str = "") -> Field:
    return Field(name, label, Kind.CHOICE, group, words=words, hint=hint, export=_out(label))


EVENT: tuple[Field, ...] = (
    Field("kind", "What happened", Kind.CHOICE, "event", words=EVENT_KINDS, required=True, in_front=True,
        export=_out("What happened", "event_kind")),
    Field("kind_other", "In words", Kind.TEXT, "event", beside="kind", longest=200, hint="Needed where it is “other”.",
        stays="a text in the clinic's own words"),
    Field("happened_on", "Date", Kind.DAY, "event", tense=Tense.PAST, precision="happened_precision", required=True,
        in_front=True, hint="A day, a month such as 2024-03, or a year",
        export=_out("When it happened")),
    _word("revision_decision", "Revision not done yet", "event", REVISION_DECISIONS),
    Field("certainty", "How sure", Kind.CHOICE, "sure", words=CERTAINTIES, required=True, in_front=True,
        export=_out("How sure it is")),
    Field("source_kind", "Who says so", Kind.CHOICE, "sure", words=SOURCE_KINDS, required=True, in_front=True,
        export=_out("Where the clinic knows it from")),
    Field("source", "Source, in words", Kind.TEXT, "sure", longest=120, hint="Such as the letter and its date.",
        stays="a text that may name a person"),
    Field("judged_by", "Confirmed or judged by", Kind.TEXT, "sure", longest=80, stays="the name of a person"),
    Field("judged_on", "On which day", Kind.DAY, "sure", tense=Tense.PAST, export=_out("Day it was confirmed or judged")),
    _word("treatment", "Treatment, the greatest", "care", TREATMENTS),
    Field("procedure", "Treatment, in words", Kind.TEXT, "care", longest=120, stays="a text in the clinic's own words"),
    _word("lasting_harm", "Lasting harm", "care", HARMS),
    _word("infection_definition", "By the definition of", "infection", INFECTION_DEFINITIONS),
    Field("infection_definition_other", "Which other definition", Kind.TEXT, "infection", beside="infection_definition", longest=120,
        stays="a text in the clinic's own words"),
    _word("infection_certainty", "The infection is", "infection", INFECTION_CERTAINTIES),
    Field("cultures_taken", "Cultures taken", Kind.WHOLE, "infection", least=0, most=50, export=_out("Cultures taken")),
    Field("cultures_positive", "Of these positive", Kind.WHOLE, "infection", least=0, most=50, export=_out("Cultures positive")),
    Field("organism", "Organisms", Kind.SEVERAL, "infection", words=ORGANISMS, longest=200,
        export=_out("Organisms that grew, with commas between")),
    Field("organism_other", "Which other organism", Kind.TEXT, "infection", beside="organism", longest=120,
        stays="a text in the clinic's own words"),
)  # fmt: skip
