"""Texts of an operation that staff type and that are exported as words of a list, so that no name a person typed leaves the clinic.

A text that is one of the words, whatever its capitals and spaces, is exported as that word. Any other is exported as `other`: the
record has a text, and it stays in the clinic. A word is never taken away; to add one, add it here, and the codebook follows.
"""

import re

OTHER = "other"
_MILD_TO_SEVERE = ("mild", "moderate", "marked", "severe")
CODED: dict[str, tuple[str, ...]] = {
    "diagnosis_stage": (
        *_MILD_TO_SEVERE,
        *(f"stage_{number}" for number in ("i", "ii", "iii", "iv", "v", "1", "2", "3", "4", "4a", "4b", "5")),
    ),
    "smoking": ("never", "former", "current", "unknown"),
    "glenoid_type": ("a1", "a2", "b1", "b2", "b3", "c", "c1", "c2", "d", "unknown"),
    "glenoid_wear": ("none", *_MILD_TO_SEVERE, "unknown"),
    "glenoid_treatment": ("none", "reamed", "microfracture", "bone_graft", "soft_tissue", "component"),
    "subscapularis_handling": ("tenotomy", "peel", "lesser_tuberosity_osteotomy", "split", "spared"),
    "fixation": ("cemented", "uncemented", "hybrid", "cement_free", "press_fit"),
}


def words_of(name: str) -> tuple[str, ...]:
    """All that the column can hold."""
    return (*CODED[name], OTHER)


def coded(name: str, text: str | None) -> str | None:
    """The word for what was typed; None for nothing."""
    if text is None or not text.strip():
        return None
    word = re.sub(r"[\s_-]+", "_", text.strip().lower())
    return word if word in CODED[name] else OTHER
