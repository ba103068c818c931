"""Diagnoses, implants and surgeons of the invented clinic, in plausible shares. Models, lots and surgeons do not exist."""

from random import Random
from typing import Any

SURGEONS = ("Dr Quillhurst", "Dr Alvarenda", "Dr Fjellmark")
IMPLANTS = {
    "resurfacing_hemi": 56,
    "resurfacing_with_glenoid": 10,
    "stemmed_hemi": 11,
    "stemless_hemi": 7,
    "anatomic_total": 10,
    "reverse": 6,
}
MODELS = {
    "resurfacing_hemi": ("Invented cup 1", "Invented cup 2"),
    "resurfacing_with_glenoid": ("Invented cup 2 with glenoid",),
    "stemmed_hemi": ("Invented stem S",),
    "stemless_hemi": ("Invented short head",),
    "anatomic_total": ("Invented total A",),
    "reverse": ("Invented reverse R",),
}
PROCEDURES = {
    "resurfacing_hemi": "resurfacing",
    "resurfacing_with_glenoid": "resurfacing",
    "stemmed_hemi": "hemiarthroplasty",
    "stemless_hemi": "hemiarthroplasty",
    "anatomic_total": "anatomic_total",
    "reverse": "reverse",
}
# The parts of each implant: role, material, fixation.
PARTS = {
    "resurfacing_hemi": (("head", "cobalt_chrome", "uncemented"),),
    "resurfacing_with_glenoid": (
        ("head", "cobalt_chrome", "uncemented"),
        ("glenoid", "polyethylene", "cemented"),
        ("cement", "bone_cement", None),
    ),
    "stemmed_hemi": (("stem", "titanium", "uncemented"), ("head", "cobalt_chrome", "coupled")),
    "stemless_hemi": (("stem", "titanium", "uncemented"), ("head", "pyrocarbon", "coupled")),
    "anatomic_total": (
        ("stem", "titanium", "uncemented"),
        ("head", "cobalt_chrome", "coupled"),
        ("glenoid", "crosslinked_polyethylene", "cemented"),
    ),
    "reverse": (
        ("stem", "titanium", "uncemented"),
        ("liner", "crosslinked_polyethylene", "coupled"),
        ("glenosphere", "cobalt_chrome", "coupled"),
        ("baseplate", "titanium", "screwed"),
        ("screws", "titanium", "screwed"),
    ),
}
DIAGNOSES = {
    "osteoarthritis": 55,
    "rheumatoid_arthritis": 12,
    "osteonecrosis": 13,
    "fracture_sequelae": 7,
    "instability_arthropathy": 8,
    "dysplasia": 3,
    "locked_dislocation": 2,
}
STAGES = {"osteonecrosis": ("stage III", "stage IV", "stage V"), "osteoarthritis": ("moderate", "severe")}


def draw_surgery(random: Random, implant_type: str | None = None) -> dict[str, Any]:
    """Members of ShoulderEntry about diagnosis, cuff, glenoid and implant. What a clinic often leaves out is sometimes left out."""
    implant = implant_type or _weighted(random, IMPLANTS)
    torn = implant == "reverse"
    diagnosis = "cuff_tear_arthropathy" if torn and random.random() < 0.8 else _weighted(random, DIAGNOSES)
    with_glenoid = implant in ("resurfacing_with_glenoid", "anatomic_total", "reverse")
    return {
        "diagnosis": diagnosis,
        "diagnosis_stage": random.choice(STAGES.get(diagnosis, (None,))),
        "implant_type": implant,
        "components": _components(
            implant,
            random.choice(MODELS[implant]),
            str(random.choice((42, 44, 46, 48, 50, 52))),
            random.randint(1000, 9999),
        ),
        "fixation": "cemented" if implant == "stemmed_hemi" and random.random() < 0.5 else "uncemented",
        "procedure": PROCEDURES[implant],
        "surgeon": random.choices(SURGEONS, (5, 3, 2))[0],
        "earlier_surgery": random.choices((None, "arthroscopy", "fracture fixation"), (80, 14, 6))[0],
        "bmi": round(random.gauss(27.5, 3.6), 1),
        "asa": random.choices(("1", "2", "3", None), (15, 55, 22, 8))[0],
        "smoking": random.choices(("never", "former", "current", None), (48, 28, 14, 10))[0],
        "cuff_supraspinatus": "full_tear"
        if torn
        else random.choices(("intact", "thinned", "partial_tear"), (78, 14, 8))[0],
        "cuff_infraspinatus": "full_tear" if torn and random.random() < 0.5 else "intact",
        "cuff_subscapularis": random.choices(("intact", "thinned", "unknown"), (82, 12, 6))[0],
        "glenoid_type": random.choices(("A1", "A2", "B1", "B2", None), (34, 20, 20, 14, 12))[0],
        "glenoid_wear": random.choice(("none", "mild", "moderate", None)),
        "glenoid_treatment": "component" if with_glenoid else random.choices(("none", "reamed"), (60, 40))[0],
        "subscapularis_handling": random.choices(("tenotomy", "peel", "lesser tuberosity osteotomy"), (55, 30, 15))[0],
    }


def as_revision(facts: dict[str, Any], reason: str) -> dict[str, Any]:
    """The same as a revision: a reason in place of a diagnosis, and fixed components exchanged."""
    kept = {name: value for name, value in facts.items() if name not in ("diagnosis", "diagnosis_stage")}
    return {**kept, "stage": "one", "reason": reason, "procedure": "component_exchange"}


def _components(implant: str, model: str, size: str, number: int) -> tuple[dict[str, Any], ...]:
    """What the labels say. A lot is of one part of one model, and its name says of which. Lots are few, so that one lies in several
    shoulders, as it does."""
    of_model = "".join(word[0].upper() for word in model.removeprefix("Invented ").split())
    return tuple(
        {
            "role": role,
            "maker": "Invented Implants",
            "model": model,
            "size": size if role in ("head", "glenosphere") else None,
            "lot": None if number % 17 == 0 else f"DEMO-{of_model}-{number // 1500}{role[:2].upper()}",
            "fixation": fixation,
            "material": material,
        }
        for role, material, fixation in PARTS[implant]
    )


def _weighted(random: Random, shares: dict[str, int]) -> str:
    return random.choices(list(shares), list(shares.values()))[0]
