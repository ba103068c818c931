"""The grade of an event, derived from its treatment and lasting harm. Never entered, and never shown without its scheme."""

# From memory of the paper, as the pages and the codebook say: Sink et al., Clin Orthop Relat Res 2012;470:2220-2226.
SCHEME = "Clavien-Dindo as modified for orthopaedics by Sink et al. 2012 (from memory)"
_BY_TREATMENT = {
    "none": 1,
    "observation": 1,
    "therapy": 2,
    "medicine": 2,
    "procedure": 3,
    "admission": 3,
    "reoperation": 3,
    "revision": 3,
    "intensive_care": 4,
}
_BY_HARM = {"limiting": 4, "death": 5}


def grade_of(kind: str, treatment: str | None, lasting_harm: str | None) -> int | None:
    """1 to 5, the higher of what treatment and harm say; None where neither says anything."""
    if kind == "death":
        return 5
    grades = [_BY_TREATMENT.get(treatment or ""), _BY_HARM.get(lasting_harm or "")]
    return max((each for each in grades if each is not None), default=None)
