"""What stands in the audit trail as codes, in words a reader need not look up. A code of another version is said word by word."""

import re
from dataclasses import dataclass

from server.staff.page import words
from server.words.phrase import Phrase, phrase

ACTIONS: dict[str, Phrase] = {
    "account:invitation-used": phrase("invitation used to choose a password"),
    "account:invited": phrase("invitation to an account made"),
    "account:language": phrase("language of an account changed"),
    "account:made": phrase("account made"),
    "account:name-changed": phrase("name of an account changed"),
    "account:opened": phrase("account opened again"),
    "account:password-changed": phrase("password changed"),
    "account:role-changed": phrase("role of an account changed"),
    "account:sessions-ended": phrase("sessions of an account ended"),
    "account:set-anew": phrase("password of an account set anew"),
    "account:shut": phrase("account shut"),
    "backup:tried": phrase("copy of the clinic restored to try it"),
    "account:unlocked": phrase("wrong tries at an account forgiven"),
    "backup:made": phrase("copy of the clinic made"),
    "clinic:changed": phrase("settings of the clinic changed"),
    "clinic:restored": phrase("clinic restored from a copy"),
    "clinic:released": phrase("restored clinic released: messages leave again"),
    "clinic:set_up": phrase("clinic set up"),
    "clinic_event:brought_back": phrase("event was no error after all"),
    "clinic_event:taken_back": phrase("event marked as entered in error"),
    "clinic_finding:brought_back": phrase("findings of a visit were no error after all"),
    "clinic_finding:taken_back": phrase("findings of a visit marked as entered in error"),
    "component:put_in": phrase("component recorded as put in"),
    "component:struck": phrase("component struck out, entered by mistake"),
    "component:taken_out": phrase("component recorded as taken out"),
    "consent:ask_again": phrase("came of age: a consent is to be asked for again"),
    "consent:changed": phrase("consent withdrawn or corrected"),
    "consent:given": phrase("consent entered"),
    "consent:set_aside": phrase("consent set aside, entered by mistake"),
    "contact:brought_back": phrase("try to reach the patient brought back"),
    "contact:taken_back": phrase("try to reach the patient marked as entered in error"),
    "contact:tried": phrase("try to reach the patient written down"),
    "data_lock:downloaded": phrase("locked files taken out"),
    "data_lock:made": phrase("files locked"),
    "envelope:settled": phrase("held envelope settled"),
    "envelope:tried_again": phrase("held envelope tried again"),
    "envelopes:settled": phrase("held envelopes settled"),
    "envelopes:tried_again": phrase("held envelopes tried again"),
    "event:corrected": phrase("event corrected"),
    "event:entered": phrase("event entered"),
    "event:recorded_as": phrase("event named as an operation that is recorded"),
    "export:written": phrase("files taken out"),
    "finding:corrected": phrase("findings of a visit corrected"),
    "finding:entered": phrase("findings of a visit entered"),
    "flag:note_kept": phrase("note kept with what waits"),
    "flag:raised": phrase("what waits for a person raised"),
    "flag:reopened": phrase("what waited for a person opened again"),
    "flag:settled": phrase("what waited for a person settled"),
    "follow_up:ended": phrase("follow-up ended"),
    "follow_up:goes_on": phrase("follow-up goes on"),
    "holiday:added": phrase("holiday entered"),
    "holiday:removed": phrase("holiday removed"),
    "hospital_number:added": phrase("hospital number entered"),
    "hospital_number:corrected": phrase("hospital number corrected"),
    "hospital_number:removed": phrase("hospital number removed"),
    "key:made": phrase("sealing key made"),
    "known_status:brought_back": phrase("what a source says was no error after all"),
    "known_status:corrected": phrase("what a source says corrected"),
    "known_status:entered": phrase("what a source says entered"),
    "known_status:taken_back": phrase("what a source says marked as entered in error"),
    "ladder:in_force": phrase("reminder ladder put in force"),
    "ladder:installed": phrase("reminder ladder installed"),
    "life_table:installed": phrase("life table installed"),
    "life_table:removed": phrase("life table removed"),
    "link:replaced": phrase("link replaced by a new one"),
    "link:revived": phrase("link opened again"),
    "link:unlocked": phrase("link unlocked"),
    "lost:confirmed": phrase("patient confirmed as lost"),
    "lost:proposed": phrase("patient proposed as lost"),
    "lost:undone": phrase("lost patient found again"),
    "message:by_hand": phrase("next message sent by hand"),
    "message:returned": phrase("message came back undelivered"),
    "notice:ended": phrase("consent text taken out of force"),
    "notice:installed": phrase("version of the privacy notice or of a consent text put in force"),
    "notice:language-added": phrase("language added to the privacy notice or a consent text"),
    "operation:brought_back": phrase("operation was no error after all"),
    "operation:cancelled": phrase("operation cancelled"),
    "operation:checked_and_kept": phrase("operation asked about and kept as it is"),
    "finding:checked_and_kept": phrase("visit asked about and kept as it is"),
    "operation_log:checked_and_kept": phrase("line of the operation log asked about and kept as it is"),
    "event:checked_and_kept": phrase("event asked about and kept as it is"),
    "operation:corrected": phrase("operation corrected"),
    "operation:done": phrase("operation written down as done"),
    "operation:entered": phrase("operation entered"),
    "operation:moved": phrase("planned day of an operation moved"),
    "operation:side_corrected": phrase("operation moved to the other shoulder"),
    "operation:taken_back": phrase("operation marked as entered in error"),
    "operation_log:brought_back": phrase("line of the operation log was no error after all"),
    "operation_log:corrected": phrase("line of the operation log corrected"),
    "operation_log:enrolled": phrase("patient of the operation log enrolled"),
    "operation_log:entered": phrase("line of the operation log entered"),
    "operation_log:taken_back": phrase("line of the operation log marked as entered in error"),
    "patient:birth_date_corrected": phrase("birth date corrected"),
    "patient:brought_back": phrase("enrolment was no error after all"),
    "patient:capacity": phrase("who decides for a patient changed"),
    "patient:contact_changed": phrase("contact details changed"),
    "patient:details_corrected": phrase("name, sex, language or ways of contact corrected"),
    "patient:died": phrase("death of a patient entered"),
    "patient:died_taken_back": phrase("death of a patient taken back"),
    "patient:enrolled": phrase("patient enrolled"),
    "patient:file_taken": phrase("whole file of a patient taken out"),
    "patient:lost_taken_back": phrase("lost patient taken back"),
    "patient:merge_undone": phrase("two records made two again"),
    "patient:merged": phrase("two records made one"),
    "patient:page_taken_home": phrase("page for the patient to take home made"),
    "patient:taken_back": phrase("enrolment marked as entered in error"),
    "patient:transferred": phrase("move to another clinic entered"),
    "patient:transferred_taken_back": phrase("move to another clinic taken back"),
    "patient:withdrew": phrase("withdrawal entered"),
    "patient:withdrew_taken_back": phrase("withdrawal taken back"),
    "plan:default": phrase("follow-up plan for new follow-ups chosen"),
    "plan:installed": phrase("follow-up plan installed"),
    "recall:file": phrase("list of who carries a component taken out"),
    "response:answered_for": phrase("answers recorded as somebody else's"),
    "response:entered": phrase("form entered by staff"),
    "response:kept": phrase("answers kept where they are, on a ground"),
    "response:moved": phrase("answers moved to where they belong"),
    "response:own_again": phrase("answers recorded as the patient's own again"),
    "response:set_aside": phrase("answers set aside"),
    "response:taken_back": phrase("answers count again where they were"),
    "scores:rebuild_begun": phrase("rebuilding of scores begun"),
    "scores:rebuilt": phrase("scores rebuilt"),
    "second-factor:added": phrase("second step of signing in added"),
    "second-factor:codes-arrived": phrase("recovery codes arrived"),
    "second-factor:codes-made": phrase("recovery codes made"),
    "second-factor:removed": phrase("second step of signing in removed"),
    "second-factor:renamed": phrase("second step of signing in renamed"),
    "second-factor:reset": phrase("second step of signing in taken away for a new one"),
    "safety_net:changed": phrase("who is told of safety answers that wait changed"),
    "series:brought_back": phrase("withdrawn series of the figures brought back"),
    "series:corrected": phrase("name or financial interests of a series corrected"),
    "series:saved": phrase("series of the figures saved under a name"),
    "series:version_saved": phrase("version of a series saved"),
    "series:withdrawn": phrase("series of the figures withdrawn"),
    "sign-in:by-the-front-door": phrase("signed in by the front door of a demo"),
    "sign-in:done": phrase("signed in"),
    "sign-in:ended": phrase("signed out"),
    "sign-in:ended-elsewhere": phrase("signed out everywhere else"),
    "sign-in:password-right": phrase("password right, second step asked"),
    "sign-in:refused": phrase("signing in refused"),
    "sign-in:second-step-refused": phrase("second step of signing in refused"),
    "silence:drawn": phrase("random quarter of the silent drawn"),
    "text:installed": phrase("text of an instrument installed"),
    "texts:decided": phrase("use of descriptive texts decided"),
    "texts:decision-withdrawn": phrase("decision about descriptive texts withdrawn"),
    "timepoint:withdrawn": phrase("timepoint taken back"),
}


@dataclass(frozen=True)
class Kind:
    """What an audit page can be narrowed by; `subjects` are what stands before the colon of an action."""

    title: Phrase
    subjects: tuple[str, ...]


KINDS: dict[str, Kind] = {
    "signing-in": Kind(phrase("signing in and accounts"), ("account", "second-factor", "sign-in")),
    "patients": Kind(
        phrase("patients, consents and contact"), ("patient", "consent", "contact", "hospital_number", "link", "lost")
    ),
    "record": Kind(
        phrase("operations, visits and events"),
        (
            *("operation", "component", "finding", "clinic_finding", "event", "clinic_event"),
            *("known_status", "operation_log"),
        ),
    ),
    "answers": Kind(phrase("answers and scores"), ("response", "scores", "envelope", "envelopes")),
    "follow-up": Kind(phrase("follow-ups and messages"), ("follow_up", "timepoint", "message")),
    "waits": Kind(phrase("what waits for a person"), ("flag",)),
    "out": Kind(phrase("files taken out"), ("export", "data_lock", "recall")),
    "figures": Kind(phrase("series and lots"), ("series", "silence")),
    "clinic": Kind(
        phrase("settings, plans, texts, copies and keys"),
        (
            *("clinic", "holiday", "safety_net", "plan", "ladder", "text", "texts", "notice", "life_table", "key"),
            "backup",
        ),
    ),
}
THINGS: dict[str, Phrase] = {
    "account": phrase("account"),
    "account unknown": phrase("no account that is known"),
    "clinic": phrase("the clinic"),
    "clinic_event": phrase("event"),
    "clinic_finding": phrase("findings of a visit"),
    "clinic_notice": phrase("privacy notice or consent text"),
    "component": phrase("component"),
    "components": phrase("components"),
    "consent": phrase("consent"),
    "data_lock": phrase("data lock"),
    "envelope": phrase("envelope"),
    "event": phrase("event"),
    "export": phrase("files"),
    "finding": phrase("findings of a visit"),
    "flag": phrase("what waits for a person"),
    "follow-up": phrase("follow-up"),
    "holiday": phrase("holiday"),
    "known_status": phrase("what a source says"),
    "life table": phrase("life table"),
    "message": phrase("message"),
    "operation": phrase("operation"),
    "operation_log": phrase("line of the operation log"),
    "patient": phrase("patient"),
    "response": phrase("answers"),
    "safety_net": phrase("who is told of safety answers"),
    "series": phrase("series"),
    "silence_draw": phrase("draw of lots among the silent"),
    "text decision": phrase("decision about descriptive texts"),
    "timepoint": phrase("timepoint"),
}


def action_words(action: str) -> str:
    known = ACTIONS.get(action)
    return words.say(known) if known else plain(action.replace(":", " "))


def thing_words(thing: str) -> str:
    """A thing without its number, which tells a reader nothing: "operation"."""
    kind, _, number = thing.rpartition(" ")
    known = THINGS.get(kind if number.isdigit() else thing)
    return words.say(known) if known else plain(thing)


def plain(code: str) -> str:
    """A code as words; what is no code, such as an address or a sentence, stays as it is."""
    return code.replace("_", " ") if re.fullmatch(r"[\w \-]*", code) else code
