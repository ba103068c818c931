"""What an examiner found at a visit. Active motion in degrees, strength in newtons, radiographs in the clinic's words."""

from server.fields.field import Export, Field, Kind, Leaves, Tense, plain_words

_MILD_TO_SEVERE = ("mild", "moderate", "marked", "severe")
_NONE_TO_SEVERE = plain_words("none", *_MILD_TO_SEVERE, "unknown")


def _degrees(name: str, label: str, most: int) -> Field:
    return Field(
        name, label, Kind.WHOLE, "motion", unit="degrees", least=-90, most=most, export=Export(label, files=("findings",)),
    )  # fmt: skip


def _radiograph(name: str, label: str) -> Field:
    exported = Export(f"{label}; other is a text that stays in the clinic", leaves=Leaves.CODED, files=("findings",))
    return Field(name, label, Kind.CODED, "radiograph", words=_NONE_TO_SEVERE, longest=80, export=exported)


FINDING: tuple[Field, ...] = (
    Field("examined_on", "Examined on", Kind.DAY, "visit", tense=Tense.PAST, required=True, in_front=True,
        export=Export("Day of the examination", files=("findings",))),
    Field("examiner", "Examiner", Kind.TEXT, "visit", longest=80, required=True, in_front=True, stays="the name of a person"),
    _degrees("flexion_degrees", "Active flexion", 200),
    _degrees("abduction_degrees", "Active abduction", 200),
    _degrees("external_rotation_degrees", "Active external rotation at the side", 120),
    Field("internal_rotation", "Active internal rotation, the level reached", Kind.CODED, "motion", longest=40,
        words=plain_words("thigh", "buttock", "sacrum", "l5", "l4", "l3", "l2", "l1", "t12", "t10", "t8", "t7", "t6"),
        export=Export("Level reached behind the back; other is a text that stays in the clinic", leaves=Leaves.CODED,
            files=("findings",))),
    Field("strength_newtons", "Strength", Kind.NUMBER, "motion", unit="N", least=0, most=1000,
        export=Export("Strength", files=("findings",))),
    _radiograph("glenoid_wear", "Glenoid wear"),
    _radiograph("loosening", "Loosening"),
    _radiograph("migration", "Migration"),
    _radiograph("necrosis", "Necrosis"),
)  # fmt: skip
