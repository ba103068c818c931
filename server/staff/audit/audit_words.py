"""What stands in the audit trail as codes, in words a reader need not look up. What has no sentence here is said word by word."""

import re
from datetime import date

from server.staff.page import words
from server.words.phrase import Phrase, phrase

ACTIONS: dict[str, Phrase] = {
    "account:made": phrase("account made"),
    "account:shut": phrase("account shut"),
    "clinic:changed": phrase("settings of the clinic changed"),
    "clinic:set_up": phrase("clinic set up"),
    "component:put_in": phrase("component recorded as put in"),
    "component:struck": phrase("component struck out, entered by mistake"),
    "component:taken_out": phrase("component recorded as taken out"),
    "contact:tried": phrase("try to reach the patient written down"),
    "envelope:settled": phrase("held envelope settled"),
    "envelope:tried_again": phrase("held envelope tried again"),
    "envelopes:settled": phrase("held envelopes settled"),
    "event:corrected": phrase("event corrected"),
    "event:entered": phrase("event entered"),
    "export:written": phrase("files taken out"),
    "finding:corrected": phrase("findings of a visit corrected"),
    "finding:entered": phrase("findings of a visit entered"),
    "flag:note_kept": phrase("note kept with what waits"),
    "flag:settled": phrase("what waited for a person settled"),
    "follow_up:ended": phrase("follow-up ended"),
    "key:made": phrase("sealing key made"),
    "ladder:in_force": phrase("reminder ladder put in force"),
    "ladder:installed": phrase("reminder ladder installed"),
    "link:replaced": phrase("link replaced by a new one"),
    "link:unlocked": phrase("link unlocked"),
    "operation:cancelled": phrase("operation cancelled"),
    "operation:checked_and_kept": phrase("operation asked about and kept as it is"),
    "operation:corrected": phrase("operation corrected"),
    "operation:done": phrase("operation written down as done"),
    "operation:entered": phrase("operation entered"),
    "operation:moved": phrase("planned day of an operation moved"),
    "operation_log:corrected": phrase("line of the operation log corrected"),
    "operation_log:entered": phrase("line of the operation log entered"),
    "patient:birth_date_corrected": phrase("birth date corrected"),
    "patient:contact_changed": phrase("contact details changed"),
    "patient:died": phrase("death of a patient entered"),
    "patient:enrolled": phrase("patient enrolled"),
    "patient:transferred": phrase("move to another clinic entered"),
    "patient:withdrew": phrase("withdrawal entered"),
    "plan:default": phrase("follow-up plan for new follow-ups chosen"),
    "plan:installed": phrase("follow-up plan installed"),
    "recall:file": phrase("list of who carries a component taken out"),
    "response:entered": phrase("form entered by staff"),
    "scores:rebuild_begun": phrase("rebuilding of scores begun"),
    "scores:rebuilt": phrase("scores rebuilt"),
    "sign-in:done": phrase("signed in"),
    "text:installed": phrase("text of an instrument installed"),
    "texts:decided": phrase("use of descriptive texts decided"),
    "texts:decision-withdrawn": phrase("decision about descriptive texts withdrawn"),
    "timepoint:withdrawn": phrase("timepoint taken back"),
}
NAMES: dict[str, Phrase] = {
    "before": phrase("before"),
    "by": phrase("by"),
    "code": phrase("timepoint"),
    "on": phrase("on"),
    "opens_on": phrase("opens on"),
    "surgery_on": phrase("day of surgery"),
    "surgery_planned_on": phrase("planned day of surgery"),
}
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def action_words(action: str) -> str:
    known = ACTIONS.get(action)
    return words.say(known) if known else _plain(action.replace(":", " "))


def thing_words(thing: str) -> str:
    return _plain(thing)


def detail_words(found: dict[str, object]) -> str:
    """ "on 15 Nov 2026, reason: cancelled" """
    return ", ".join(f"{_name(name)} {_value(value)}" for name, value in found.items())


def _name(name: str) -> str:
    return words.say(NAMES[name]) if name in NAMES else _plain(name)


def _value(value: object) -> str:
    if isinstance(value, list):
        return words.listed([_value(each) for each in value]) or words.gettext("none")
    if isinstance(value, dict):
        return "; ".join(f"{_name(str(name))} “{_value(each)}”" for name, each in value.items()) or words.gettext(
            "none"
        )
    if value is None:
        return words.gettext("none")
    if isinstance(value, bool):
        return words.gettext("yes") if value else words.pgettext("answer", "no")
    text = str(value)
    return words.short_day(date.fromisoformat(text)) if _DAY.fullmatch(text) else _plain(text)


def _plain(code: str) -> str:
    """A code as words; what is no code, such as an address or a sentence, stays as it is."""
    return code.replace("_", " ") if re.fullmatch(r"[\w \-]*", code) else code
