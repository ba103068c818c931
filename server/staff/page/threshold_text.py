"""Published thresholds as pages print them: never without whom they were found in, and always with the way to their row."""

from dataclasses import dataclass

from flask import url_for

from scoring.definition import Definition, Threshold
from scoring.printed_decimals import half_up
from scoring.reachable import first_reachable
from scoring.threshold_choice import choose_threshold, may_be_used, of_kind, threshold_anchor

KIND = {
    "mcid": "smallest change that matters",
    "scb": "substantial benefit",
    "detectable_change": "smallest change beyond measurement error",
    "pass": "acceptable state",
}
HEMI = {
    True: "hemiarthroplasty among them",
    False: "no hemiarthroplasty in it",
    None: "whether with hemiarthroplasty: not stated",
}
WHOM = {
    "mixed": "patients of a shoulder clinic",
    "not_stated": "people whom the source does not describe",
    "other": "no arthroplasty",
}


@dataclass(frozen=True)
class ShownThreshold:
    """`value` as printed by its source; `reached` the first score or change that meets it, where the value itself cannot be."""

    threshold: Threshold
    anchor: str
    href: str
    kind: str
    value: str
    reached: str
    whom: str
    hemi: str
    others: int  # further thresholds of this kind on this scale

    @property
    def never_used(self) -> bool:
        """For no shoulder whatever, by the rule of choice."""
        return not may_be_used(self.threshold)

    @property
    def in_short(self) -> str:
        """For beside a word: "n = 887, arthroplasty, hemiarthroplasty among them"."""
        each = self.threshold
        n = f"n\u00a0=\u00a0{each.n}, " if each.n else ""
        confidence = f", at {each.confidence_percent} % confidence" if each.confidence_percent else ""
        whom = WHOM.get(each.treatment) or f"arthroplasty, {self.hemi}"
        if each.implants and each.treatment == "arthroplasty":
            whom = f"{each.population}, as here"
        end = ", one end of a published range" if each.range_end else ""
        spread = ", from the spread of scores" if each.distribution_based else ""
        return f"{n}{whom}{end}{spread}{confidence}"

    @property
    def limits(self) -> str:
        """As printed: ", limits 4.41 to 8.61"."""
        limits = self.threshold.limits
        return "" if limits is None else f", limits {limits[0]:g} to {limits[1]:g}"

    @property
    def sentence(self) -> str:
        """Everything a reader needs, in one line."""
        each = self.threshold
        reached = f", {self.reached}" if self.reached else ""
        note = f" {each.note}" if each.note else ""
        confidence = f", at {each.confidence_percent} % confidence" if each.confidence_percent else ""
        return (
            f"{self.value}{self.limits}{reached}{confidence}. Found in: {self.whom}; {self.hemi}. Anchor: {each.anchor}. "
            f"Follow-up: {each.follow_up}. {each.citation}.{note}"
        )


def show_threshold(definition: Definition, threshold: Threshold) -> ShownThreshold:
    alike = of_kind(definition, threshold.scale, threshold.kind)
    anchor = threshold_anchor(definition, threshold)
    spread = f" ± {threshold.plus_minus:g}" if threshold.plus_minus else ""
    return ShownThreshold(
        threshold=threshold,
        anchor=anchor,
        href=url_for("staff.instrument", spec=definition.spec, _anchor=anchor),
        kind=KIND[threshold.kind],
        value=f"{threshold.value:g}{spread}",
        reached=_reached(definition, threshold),
        whom=f"{threshold.population}, n = {threshold.n}" if threshold.n else threshold.population,
        hemi=HEMI[threshold.holds_hemiarthroplasty],
        others=len(alike) - 1,
    )


def chosen(
    definition: Definition, scale: str, kind: str, *, implant: str | None = None, beside: ShownThreshold | None = None
) -> ShownThreshold | None:
    """The one that is used, by scoring.threshold_choice.RULE; None when none may be."""
    other = beside.threshold if beside else None
    found = choose_threshold(definition, scale, kind, implant=implant, beside=other)
    return show_threshold(definition, found) if found else None


def error_beside(definition: Definition, scale: str, *, implant: str | None) -> ShownThreshold | None:
    """The measurement error to print beside the smallest change that matters for this shoulder."""
    matters = chosen(definition, scale, "mcid", implant=implant)
    return chosen(definition, scale, "detectable_change", beside=matters)


def why_none(definition: Definition, scale: str, kind: str) -> str:
    """Where none was chosen: whether none was read, none on this scale, or none that may be used."""
    what = "level" if kind == "pass" else "threshold"
    if of_kind(definition, scale, kind):
        return f"no published {what} that may be used for this shoulder was read"
    elsewhere = any(each.kind == kind for each in definition.thresholds)
    return f"no published {what} {'on this scale ' if elsewhere else ''}was read"


def _reached(definition: Definition, threshold: Threshold) -> str:
    first = first_reachable(definition, threshold)
    if first == threshold.value:
        return ""
    what = "score" if threshold.kind == "pass" else "change"
    how = "exceeds" if threshold.kind == "detectable_change" else "reaches"
    return f"the first {what} that {how} it is {half_up(first, 2).rstrip('0').rstrip('.')}"
