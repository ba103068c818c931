"""What of an instrument rests on a source that was read, and what does not; and why it can or cannot be sent."""

from markupsafe import Markup, escape

from scoring.definition import BASES, Definition
from server.queries.texts_in_force import Document, Wording
from server.staff.library.instrument_files import Told, examples_of, source_of
from server.staff.page import words

STATUS = {"usable": "usable", "needs_permission": "needs permission", "unverified": "unverified"}
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
        return "no text"
    kind = "the owner's licensed text" if text["kind"] == "licensed" else "descriptive text"
    if text["text_id"] in wording.altered:
        return f"{kind}, altered since it was installed, so not sent"
    return f"{kind}, not decided on, so not sent" if wording.needs_decision(definition, text) else kind


def _from_patients(definition: Definition) -> bool:
    return all(item.found_by == "patient" for item in definition.items)


def why_sent(definition: Definition, licensed: frozenset[str] = frozenset()) -> str:
    """Beside the status word: whether patients can be asked, and why not. `licensed`: those with the owner's text in every language
    of the clinic."""
    if definition.status == "needs_permission" and definition.spec in licensed:
        return "can be sent here: the owner's text is installed"
    if definition.sendable:
        return "can be sent"
    if definition.status == "needs_permission":
        return "cannot be sent before its owner has agreed"
    if definition.status == "unverified":
        return "cannot be sent: part of it was not read in a published source"
    return "cannot be sent to a phone: an examiner finds part of it"


def why_in_full(definition: Definition) -> Markup:
    """Why it cannot be sent, as its own SOURCE.md says; empty for what can be sent."""
    if definition.status == "needs_permission":
        return escape(definition.licence.terms)
    told = [each.text for each in _told(definition, "Status")] if definition.status == "unverified" else []
    return Markup(words.sentence(told[0].removeprefix("<code>unverified</code>: "))) if told else Markup()


def found_by(definition: Definition) -> str:
    """SignedIn gives the answers, and how many items an examiner finds."""
    examined = sum(item.found_by == "examiner" for item in definition.items)
    if not examined:
        return "answered by the patient"
    if examined == len(definition.items):
        return "found by an examiner"
    return f"answered by the patient, {words.counted(examined, 'item')} found by an examiner"


def sourced(definition: Definition) -> list[str]:
    found = ["Items, codes and the rule: as the list below says"]
    published = [each for each in definition.scales if each.missing.needs and BASES[each.missing.basis] is None]
    found += [f"Blanks of “{each.title}”: published rule" for each in published]
    examples = examples_of(definition.id, definition.version)
    if definition.scales and examples:
        found.append(
            f"{words.sentence(words.counted(len(examples), 'worked example'))}, each naming where it comes from"
        )
    if definition.thresholds:
        found.append(
            f"{words.sentence(words.counted(len(definition.thresholds), 'threshold'))}, each with its citation"
        )
    if definition.norms:
        found.append(f"{words.sentence(words.counted(len(definition.norms), 'norm'))}, each with its citation")
    return found


def not_sourced(definition: Definition) -> list[str]:
    found = []
    if definition.status == "unverified":
        found.append(f"Unverified: {why_in_full(definition).striptags()}")
    for each in definition.scales:
        basis = BASES[each.missing.basis]
        if each.missing.needs and basis:
            found.append(f"Blanks of “{each.title}”: {basis}")
    found += _not_stated(definition)
    if definition.scales and not definition.thresholds:
        found.append("Thresholds: none was read")
    if definition.scales and not definition.norms:
        found.append("Norms: none was read")
    return found + [f"Not known: {each.text.striptags()}" for each in _told(definition, "Not known")]


def _told(definition: Definition, lead: str) -> list[Told]:
    return [each for each in source_of(definition.id, definition.version) if each.lead == lead]


def _not_stated(definition: Definition) -> list[str]:
    total = len(definition.thresholds)
    gaps = (
        (
            "whether hemiarthroplasty is among them",
            sum(e.holds_hemiarthroplasty is None for e in definition.thresholds),
        ),
        ("the anchor", sum(_NOT_STATED in each.anchor for each in definition.thresholds)),
        ("the follow-up", sum(_NOT_STATED in each.follow_up for each in definition.thresholds)),
        ("the number of people", sum(each.n is None for each in definition.thresholds)),
    )
    return [f"{count} of {total} thresholds: {what} is not stated in what was read" for what, count in gaps if count]
