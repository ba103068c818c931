"""What of an instrument rests on a source that was read, and what does not; and why it can or cannot be sent."""

from markupsafe import Markup, escape

from scoring.definition import BASES, Definition
from server.queries.texts_in_force import Document, Wording
from server.staff.library.instrument_files import Told, examples_of, source_of
from server.staff.page import words
from server.words.phrase import phrase, phrase_in

STATUS = {
    "usable": phrase_in("instrument", "usable"),
    "needs_permission": phrase_in("instrument", "needs permission"),
    "unverified": phrase_in("instrument", "unverified"),
}
_NOT_STATED = "not stated"


def asked_here(definition: Definition, wording: Wording) -> str:
    """What this clinic's patients are asked it in, by language, and what of that is not sent; empty where no text makes it sendable."""
    if definition.kind == "form" or definition.status == "unverified" or not _from_patients(definition):
        return ""
    found = wording.in_force(definition)
    return "; ".join(
        f"{words.language(code)}: {_said_in(definition, found.get(code), wording)}" for code in wording.languages
    )


def _said_in(definition: Definition, text: Document | None, wording: Wording) -> str:
    if text is None:
        return words.gettext("no text")
    licensed = text["kind"] == "licensed"
    kind = words.gettext("the owner's licensed text") if licensed else words.gettext("descriptive text")
    if text["text_id"] in wording.altered:
        return words.gettext("%(kind)s, altered since it was installed, so not sent") % {"kind": kind}
    if wording.needs_decision(definition, text):
        return words.gettext("%(kind)s, not decided on, so not sent") % {"kind": kind}
    return kind


def _from_patients(definition: Definition) -> bool:
    return all(item.found_by == "patient" for item in definition.items)


def why_sent(definition: Definition, licensed: frozenset[str] = frozenset()) -> str:
    """Beside the status word: whether patients can be asked, and why not. `licensed`: those with the owner's text in every language
    of the clinic."""
    if definition.status == "needs_permission" and definition.spec in licensed:
        return words.gettext("can be sent here: the owner's text is installed")
    if definition.sendable:
        return words.gettext("can be sent")
    if definition.status == "needs_permission":
        return words.gettext("cannot be sent before its owner has agreed")
    if definition.status == "unverified":
        return words.gettext("cannot be sent: part of it was not read in a published source")
    return words.gettext("cannot be sent to a phone: an examiner finds part of it")


def why_in_full(definition: Definition) -> Markup:
    """Why it cannot be sent, as its own SOURCE.md says; empty for what can be sent."""
    if definition.status == "needs_permission":
        return escape(definition.licence.terms)
    told = [each.text for each in _told(definition, "Status")] if definition.status == "unverified" else []
    return Markup(words.sentence(told[0].removeprefix("<code>unverified</code>: "))) if told else Markup()


def found_by(definition: Definition) -> str:
    """Who gives the answers, and how many items an examiner finds."""
    examined = sum(item.found_by == "examiner" for item in definition.items)
    if not examined:
        return words.gettext("answered by the patient")
    if examined == len(definition.items):
        return words.gettext("found by an examiner")
    return words.plural(
        "answered by the patient, %(count)s item found by an examiner",
        "answered by the patient, %(count)s items found by an examiner",
        examined,
    )


def sourced(definition: Definition) -> list[str]:
    """What of the instrument was read in a source, a sentence each."""
    found = [words.gettext("Items, codes and the rule: as the list below says")]
    published = [each for each in definition.scales if each.missing.needs and BASES[each.missing.basis] is None]
    found += [words.gettext("Blanks of “%(scale)s”: published rule") % {"scale": each.title} for each in published]
    examples = examples_of(definition.id, definition.version)
    if definition.scales and examples:
        found.append(
            words.plural(
                "%(count)s worked example, naming where it comes from",
                "%(count)s worked examples, each naming where it comes from",
                len(examples),
            )
        )
    if definition.thresholds:
        found.append(
            words.plural(
                "%(count)s threshold, with its citation",
                "%(count)s thresholds, each with its citation",
                len(definition.thresholds),
            )
        )
    if definition.norms:
        found.append(
            words.plural(
                "%(count)s norm, with its citation", "%(count)s norms, each with its citation", len(definition.norms)
            )
        )
    return [words.sentence(each) for each in found]


def not_sourced(definition: Definition) -> list[str]:
    """What of the instrument rests on no source that was read, a sentence each."""
    found = []
    if definition.status == "unverified":
        found.append(words.gettext("Unverified: %(why)s") % {"why": why_in_full(definition).striptags()})
    for each in definition.scales:
        basis = BASES[each.missing.basis]
        if each.missing.needs and basis:
            found.append(words.gettext("Blanks of “%(scale)s”: %(basis)s") % {"scale": each.title, "basis": basis})
    found += _not_stated(definition)
    if definition.scales and not definition.thresholds:
        found.append(words.gettext("Thresholds: none was read"))
    if definition.scales and not definition.norms:
        found.append(words.gettext("Norms: none was read"))
    unknown = [each.text.striptags() for each in _told(definition, "Not known")]
    return found + [words.gettext("Not known: %(what)s") % {"what": what} for what in unknown]


def _told(definition: Definition, lead: str) -> list[Told]:
    return [each for each in source_of(definition.id, definition.version) if each.lead == lead]


def _not_stated(definition: Definition) -> list[str]:
    total = len(definition.thresholds)
    gaps = (
        (
            phrase("whether hemiarthroplasty is among them"),
            sum(e.holds_hemiarthroplasty is None for e in definition.thresholds),
        ),
        (phrase("the anchor"), sum(_NOT_STATED in each.anchor for each in definition.thresholds)),
        (phrase("the follow-up"), sum(_NOT_STATED in each.follow_up for each in definition.thresholds)),
        (phrase("the number of people"), sum(each.n is None for each in definition.thresholds)),
    )
    said = words.gettext("%(count)s of %(total)s thresholds: %(what)s is not stated in what was read")
    return [said % {"count": count, "total": total, "what": words.say(what)} for what, count in gaps if count]
