"""What an examiner found at a visit: motion of both sides, strength, lag signs, and radiographs by their core set.

Radiographs follow the core set of doi 10.2106/JBJS.OA.19.00025, with necrosis and glenoid erosion beside it. Internal rotation is an
ordered level: levels are counted, never averaged.
"""

from server.fields.field import Export, Field, Kind, Tense
from server.words.term import terms

# In their order, from the lowest to the highest that the thumb reaches.
LEVELS = terms(
    {
        "thigh": "thigh",
        "buttock": "buttock",
        "sacrum": "sacrum",
        **{f"l{number}": f"L{number}" for number in (5, 4, 3, 2, 1)},
        **{f"t{number}": f"T{number}" for number in range(12, 3, -1)},
        "unknown": "unknown",
    }
)
MEASURED_BY = terms(
    {
        "goniometer": "goniometer",
        "inclinometer": "inclinometer or sensor",
        "camera": "photograph or video",
        "eye": "by eye",
        "unknown": "unknown",
    }
)
STRENGTH_UNITS = terms({"n": "newtons", "kg": "kilograms", "lb": "pounds"})
STRENGTH_DEVICES = terms(
    {
        "spring_balance": "spring balance",
        "isometric": "fixed isometric device",
        "hand_held": "hand-held dynamometer",
        "other": "other device",
        "unknown": "unknown",
    }
)
STRENGTH_POSITIONS = terms(
    {
        "abduction_90_scapular": "90° in the plane of the shoulder blade",
        "abduction_90": "90° straight to the side",
        "flexion_90": "90° to the front",
        "side": "arm at the side",
        "other": "another position",
        "unknown": "unknown",
    }
)
SIGN = terms({"absent": "absent", "present": "present", "not_possible": "could not be tested", "unknown": "unknown"})
# `present` is for a reader who gives no degree.
SEEN = terms(
    {
        **{degree: degree for degree in ("none", "mild", "moderate", "marked", "severe")},
        "present": "present, no degree given",
        "other": "other, see the text",
        "not_assessable": "not assessable",
        "unknown": "unknown",
    },
    about="degree",
)
# By which published description degrees were read.
SCHEMES = terms(
    {
        "reader": "the reader's own judgement",
        "franklin": "Franklin",
        "lazarus": "Lazarus",
        "mole": "Molé",
        "other": "other scheme",
        "unknown": "unknown",
    }
)
# What is loose or has migrated.
PARTS_SEEN = terms(
    {
        "humeral": "the humeral component",
        "glenoid": "the glenoid component",
        "both": "both",
        "unknown": "unknown",
    }
)
OF_A_COMPONENT = ("migration", "loosening")
VIEWS = terms(
    {
        "true_ap": "true front view",
        "axillary": "axillary",
        "scapular_y": "Y view",
        "outlet": "outlet",
        "ct": "CT",
        "mri": "MRI",
        "other": "other",
    },
    about="view",
)
GROUPS = terms(
    {
        "visit": "The visit",
        "active": "Active motion",
        "passive": "Passive motion",
        "other_side": "The other side",
        "strength": "Strength",
        "lag": "Lag signs",
        "radiograph": "Radiographs",
        "note": "Note",
    }
)
RADIOGRAPHIC = (
    "migration",
    "loosening",
    "displacement",
    "bone_resorption",
    "bone_formation",
    "articular_wear",
    "fracture",
    "breakage",
    "necrosis",
    "glenoid_erosion",
)


def _out(label: str, column: str = "") -> Export:
    return Export(label, column=column, files=("findings",))


def _degrees(name: str, label: str, group: str, most: int) -> Field:
    said = label if label.startswith(("Active", "Passive")) else f"{label}, active"
    exported = _out(said, name.replace("_external_rotation", "_er"))  # a column has at most 32 characters
    return Field(name, label, Kind.WHOLE, group, unit="degrees", least=-90, most=most, export=exported)


def _level(name: str, label: str, group: str) -> Field:
    return Field(name, label, Kind.CHOICE, group, words=LEVELS, export=_out(f"{label}: an ordered level, never a mean"))


def _motion(prefix: str, said: str, group: str) -> tuple[Field, ...]:
    """The five motions; `said` is "Active", "Passive" or the other side."""
    return (
        _degrees(f"{prefix}flexion_degrees", f"{said} flexion", group, 200),
        _degrees(f"{prefix}abduction_degrees", f"{said} abduction", group, 200),
        _degrees(f"{prefix}external_rotation_degrees", f"{said} external rotation at the side", group, 120),
        _degrees(f"{prefix}external_rotation_90_degrees", f"{said} external rotation at 90°", group, 120),
        _level(f"{prefix}internal_rotation", f"{said} internal rotation, the level reached", group),
    )


def _word(name: str, label: str, group: str, words: dict[str, str]) -> Field:
    return Field(name, label, Kind.CHOICE, group, words=words, export=_out(label))


def _yes_no(name: str, label: str, group: str) -> Field:
    return Field(name, label, Kind.YES_NO, group, export=_out(label))


FINDING: tuple[Field, ...] = (
    Field("examined_on", "Examined on", Kind.DAY, "visit", tense=Tense.PAST, required=True, in_front=True,
        export=_out("Day of the examination")),
    Field("examiner", "Examiner", Kind.TEXT, "visit", longest=80, required=True, in_front=True, stays="the name of a person"),
    _yes_no("examiner_is_surgeon", "The examiner did the operation", "visit"),
    _word("measured_by", "Motion measured by", "visit", MEASURED_BY),
    _yes_no("pain_free", "Motion measured up to where pain begins", "visit"),
    *_motion("", "Active", "active"),
    *_motion("passive_", "Passive", "passive"),
    *_motion("other_", "Other side,", "other_side"),
    Field("strength", "Strength", Kind.NUMBER, "strength", least=0, most=1000, export=_out("Strength, in its unit")),
    _word("strength_unit", "Unit", "strength", STRENGTH_UNITS),
    _word("strength_device", "Device", "strength", STRENGTH_DEVICES),
    Field("strength_device_other", "Which other device", Kind.TEXT, "strength", beside="strength_device",
        longest=80, stays="a text in the clinic's own words"),
    _word("strength_position", "Position", "strength", STRENGTH_POSITIONS),
    Field("strength_position_other", "Which other position", Kind.TEXT, "strength", beside="strength_position", longest=80,
        stays="a text in the clinic's own words"),
    _yes_no("cannot_reach_90", "Cannot reach 90°", "strength"),
    Field("other_strength", "Strength of the other side", Kind.NUMBER, "strength", least=0, most=1000,
        hint="In the same unit and position", export=_out("Strength of the other side, in the same unit")),
    _word("lag_external_rotation", "External rotation lag", "lag", SIGN),
    _word("lag_hornblower", "Hornblower sign", "lag", SIGN),
    _word("lag_internal_rotation", "Internal rotation lag, lift-off", "lag", SIGN),
    _word("lag_belly_press", "Belly press", "lag", SIGN),
    Field("radiograph_on", "Radiographs of", Kind.DAY, "radiograph", tense=Tense.PAST, export=_out("Day of the radiographs")),
    Field("radiograph_views", "Views", Kind.SEVERAL, "radiograph", words=VIEWS, longest=60, export=_out("Views of the radiographs")),
    Field("radiograph_views_other", "Which other view", Kind.TEXT, "radiograph", beside="radiograph_views", longest=80,
        stays="a text in the clinic's own words"),
    Field("radiograph_reader", "Read by", Kind.TEXT, "radiograph", longest=80, stays="the name of a person"),
    _yes_no("reader_is_surgeon", "The reader did the operation", "radiograph"),
    _word("radiograph_scheme", "Degrees read by", "radiograph", SCHEMES),
    Field("radiograph_scheme_other", "Which other scheme", Kind.TEXT, "radiograph", beside="radiograph_scheme", longest=80,
        stays="a text in the clinic's own words"),
    _word("migration", "Migration of a component", "radiograph", SEEN),
    _word("migration_of", "What has migrated", "radiograph", PARTS_SEEN),
    _word("loosening", "Radiolucency or loosening", "radiograph", SEEN),
    _word("loosening_of", "What is loose", "radiograph", PARTS_SEEN),
    _word("displacement", "Displacement of the joint", "radiograph", SEEN),
    _word("bone_resorption", "Bone resorption", "radiograph", SEEN),
    _word("bone_formation", "Bone formation", "radiograph", SEEN),
    _word("articular_wear", "Articular wear", "radiograph", SEEN),
    _word("fracture", "Fracture around the implant", "radiograph", SEEN),
    _word("breakage", "Breakage or disassembly", "radiograph", SEEN),
    _word("necrosis", "Necrosis", "radiograph", SEEN),
    _word("glenoid_erosion", "Glenoid erosion", "radiograph", SEEN),
    Field("radiograph_other", "What else they show", Kind.TEXT, "radiograph", longest=400, stays="a text in the clinic's own words"),
    Field("note", "Note", Kind.TEXT, "note", longest=400, stays="a text that may name a person"),
)  # fmt: skip
