"""Which of several published thresholds is used, by one rule that is printed wherever one is."""

from scoring.change import best_of
from scoring.definition import Definition, Threshold

# What `choose_threshold` and `may_be_called_improved` do, for people.
RULE = (
    "Of several published thresholds of one kind, one found after another operation than arthroplasty, or without any, is never used, "
    "nor one whose printed limits include no change at all; one found with one implant type is used for that type only, and there it "
    "comes first; a shoulder without an implant is judged by none. Then comes arthroplasty before a mixed shoulder clinic, and that "
    "before people whom the source does not describe; what people said of their change before what was worked out from the spread of "
    "scores; a single value before one end of a range; a follow-up of at least a year; people with a hemiarthroplasty among them; the "
    "largest number of people. Of two alike it is the one harder to reach. A gain that reaches it is called improved only where it "
    "was found by what people said of their own change after arthroplasty, with the same implant type where the source names types; "
    "for a hemiarthroplasty, and where the type is not recorded, hemiarthroplasties must have been among them. So a value worked out "
    "from the spread of scores alone never makes anybody improved; and a loss is judged by measurement error alone. Measurement error "
    "may come from any people: from the study of the threshold that it stands beside, or else from arthroplasty before a mixed clinic "
    "before anybody else; the highest stated confidence first, then the largest number of people, then the larger value."
)
YEAR_DAYS = 365
_HEMIARTHROPLASTIES = ("resurfacing_hemi", "stemmed_hemi", "stemless_hemi")
_NEAR = ("not_stated", "mixed", "arthroplasty")  # rising
_NEAR_FOR_ERROR = ("mixed", "arthroplasty")


def choose_threshold(
    definition: Definition, scale: str, kind: str, *, implant: str | None = None, beside: Threshold | None = None
) -> Threshold | None:
    """By RULE, among those of this scale and kind, for a shoulder with this implant type; None when none may be used.

    `beside`: the threshold that matters, where a measurement error is wanted that goes with it.
    """
    found = of_kind(definition, scale, kind)
    if kind == "detectable_change":
        return max(found, key=lambda each: _rank_of_error(each, beside), default=None)
    found = [each for each in found if _may_be_used(each, implant)]
    rising = kind != "pass" or best_of(definition.by_scale[scale]) == definition.by_scale[scale].range[1]
    return max(found, key=lambda each: _rank(each, rising), default=None)


def of_kind(definition: Definition, scale: str, kind: str) -> list[Threshold]:
    return [each for each in definition.thresholds if each.scale == scale and each.kind == kind]


def threshold_anchor(definition: Definition, threshold: Threshold) -> str:
    """The name of its row on a page of all of them: its place, which never changes in a published version."""
    return f"threshold-{definition.thresholds.index(threshold) + 1}"


def may_be_used(threshold: Threshold) -> bool:
    """For any shoulder at all."""
    limits = threshold.limits
    return threshold.kind == "detectable_change" or (
        threshold.treatment in _NEAR and (threshold.kind == "pass" or limits is None or limits[0] > 0)
    )


def may_be_called_improved(threshold: Threshold, implant: str | None) -> bool:
    """Whether a gain that reaches this threshold may be called improved: only by what people said of their own change, after the same
    kind of operation. For a hemiarthroplasty, and where the implant is not known, hemiarthroplasties must have been among them.
    """
    return not threshold.distribution_based and found_with(threshold, implant)


def found_with(threshold: Threshold, implant: str | None) -> bool:
    """Whether it was found after arthroplasty in people with such an implant, as far as the source tells which they had."""
    if threshold.treatment != "arthroplasty":
        return False
    if threshold.implants:
        return implant in threshold.implants
    return threshold.holds_hemiarthroplasty is True or not (implant is None or implant in _HEMIARTHROPLASTIES)


def _may_be_used(threshold: Threshold, implant: str | None) -> bool:
    return may_be_used(threshold) and implant != "none" and (not threshold.implants or implant in threshold.implants)


def _rank(threshold: Threshold, rising: bool) -> tuple[float, ...]:
    return (
        bool(threshold.implants),
        _NEAR.index(threshold.treatment),
        not threshold.distribution_based,
        not threshold.range_end,
        (threshold.follow_up_days or 0) >= YEAR_DAYS,
        threshold.holds_hemiarthroplasty is True,
        threshold.n or 0,
        threshold.value if rising else -threshold.value,
    )


def _rank_of_error(threshold: Threshold, beside: Threshold | None) -> tuple[float, ...]:
    near = threshold.treatment
    return (
        beside is not None and threshold.citation == beside.citation,
        _NEAR_FOR_ERROR.index(near) + 1 if near in _NEAR_FOR_ERROR else 0,
        threshold.confidence_percent or 0,
        threshold.n or 0,
        threshold.value,
    )
