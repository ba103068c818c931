"""Published thresholds as pages print them: never without whom they were found in, and always with the way to their row."""

from dataclasses import dataclass

from flask import url_for
from markupsafe import Markup

from scoring.definition import Definition, Threshold
from scoring.printed_decimals import half_up
from scoring.reachable import first_reachable
from scoring.threshold_choice import choose_threshold, may_be_used, of_kind, threshold_anchor
from server.staff.page import words
from server.words.phrase import phrase

KIND = {
    "mcid": phrase("smallest change that matters"),
    "scb": phrase("substantial benefit"),
    "detectable_change": phrase("smallest change beyond measurement error"),
    "pass": phrase("acceptable state"),
}
HEMI = {
    True: phrase("hemiarthroplasty among them"),
    False: phrase("no hemiarthroplasty in it"),
    None: phrase("whether with hemiarthroplasty: not stated"),
}
WHOM = {
    "mixed": phrase("patients of a shoulder clinic"),
    "not_stated": phrase("people whom the source does not describe"),
    "other": phrase("no arthroplasty"),
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
    range: tuple[float, float]  # the smallest and the largest of them all

    @property
    def never_used(self) -> bool:
        """For no shoulder whatever, by the rule of choice."""
        return not may_be_used(self.threshold)

    @property
    def in_short(self) -> str:
        """For beside a word: "n = 887, arthroplasty, hemiarthroplasty among them"."""
        each = self.threshold
        if each.treatment in WHOM:
            whom = words.say(WHOM[each.treatment])
        elif each.implants and each.kind == "detectable_change":  # taken from any people
            whom = each.population
        elif each.implants:
            whom = words.gettext("%(population)s, as here") % {"population": each.population}
        else:
            whom = words.gettext("arthroplasty, %(hemi)s") % {"hemi": self.hemi}
        parts = [
            f"n\u00a0=\u00a0{each.n}" if each.n else "",
            whom,
            words.gettext("one end of a published range") if each.range_end else "",
            words.gettext("from the spread of scores") if each.distribution_based else "",
            self._confidence,
        ]
        return ", ".join(part for part in parts if part)

    @property
    def _confidence(self) -> str:
        level = self.threshold.confidence_percent
        return words.gettext("at %(level)s %% confidence") % {"level": level} if level else ""

    @property
    def limits(self) -> str:
        """As printed: ", limits 4.41 to 8.61"."""
        limits = self.threshold.limits
        if limits is None:
            return ""
        return words.gettext(", limits %(low)s to %(high)s") % {
            "low": words.number(limits[0]),
            "high": words.number(limits[1]),
        }

    @property
    def published(self) -> str:
        """Between which values those lie that were published of this kind on this scale; empty where there is one."""
        if self.range[0] == self.range[1]:
            return ""
        said = words.gettext(
            "Published values lie between %(low)s and %(high)s; this one was found in the people most like here."
        )
        return said % {"low": words.number(self.range[0]), "high": words.number(self.range[1])}

    @property
    def sentence(self) -> Markup:
        """Everything a reader needs, in one line. What the definition says of its source stays in its English."""
        each = self.threshold
        found = ", ".join(part for part in (f"{self.value}{self.limits}", self.reached, self._confidence) if part)
        frame = words.gettext(
            "%(value)s. Found in: %(whom)s; %(hemi)s. Anchor: %(anchor)s. Follow-up: %(follow_up)s. %(citation)s."
        )
        said = Markup(frame) % {
            "value": found,
            "whom": _in_english(self.whom),
            "hemi": self.hemi,
            "anchor": _in_english(each.anchor),
            "follow_up": _in_english(each.follow_up),
            "citation": _in_english(each.citation),
        }
        return Markup("{} {}").format(said, _in_english(each.note)) if each.note else said


def _in_english(text: str) -> Markup:
    return Markup('<span lang="en">{}</span>').format(text)


def show_threshold(definition: Definition, threshold: Threshold) -> ShownThreshold:
    """One published threshold with the people it was found in and the way to its row."""
    alike = of_kind(definition, threshold.scale, threshold.kind)
    anchor = threshold_anchor(definition, threshold)
    spread = f" ± {words.number(threshold.plus_minus)}" if threshold.plus_minus else ""
    return ShownThreshold(
        threshold=threshold,
        anchor=anchor,
        href=url_for("staff.instrument", spec=definition.spec, _anchor=anchor),
        kind=words.say(KIND[threshold.kind]),
        value=f"{words.number(threshold.value)}{spread}",
        reached=_reached(definition, threshold),
        whom=f"{threshold.population}, n = {threshold.n}" if threshold.n else threshold.population,
        hemi=words.say(HEMI[threshold.holds_hemiarthroplasty]),
        others=len(alike) - 1,
        range=(min(each.value for each in alike), max(each.value for each in alike)),
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
    is_level = kind == "pass"
    if of_kind(definition, scale, kind):
        if is_level:
            return words.gettext("no published level that may be used for this shoulder was read")
        return words.gettext("no published threshold that may be used for this shoulder was read")
    if any(each.kind == kind for each in definition.thresholds):
        if is_level:
            return words.gettext("no published level on this scale was read")
        return words.gettext("no published threshold on this scale was read")
    return (
        words.gettext("no published level was read") if is_level else words.gettext("no published threshold was read")
    )


def _reached(definition: Definition, threshold: Threshold) -> str:
    first = first_reachable(definition, threshold)
    if first == threshold.value:
        return ""
    if threshold.kind == "pass":
        said = words.gettext("the first score that reaches it is %(value)s")
    elif threshold.kind == "detectable_change":
        said = words.gettext("the first change that exceeds it is %(value)s")
    else:
        said = words.gettext("the first change that reaches it is %(value)s")
    return said % {"value": words.number(float(half_up(first, 2)))}
