"""The words for codes of the database that staff read, by table. Each table is a context of the catalogues."""

from server.words.phrase import phrase, phrase_in

STATUS = {
    "upcoming": phrase_in("status", "to come"),
    "open": phrase_in("status", "open"),
    "overdue": phrase_in("status", "overdue"),
    "non_responder": phrase_in("status", "no answer"),
    "missed": phrase_in("status", "missed"),
    "never_asked": phrase_in("status", "never asked"),
    "answered": phrase_in("status", "answered"),
    "late": phrase_in("status", "answered late"),
    "early": phrase_in("status", "answered early"),
    "recalled": phrase_in("status", "recalled after surgery"),
    "not_expected": phrase_in("status", "not expected"),
}
# Why a timepoint stands as it does, where its status alone does not say it.
REASON = {
    "text_withheld": phrase_in("reason", "a text might not be sent"),
    "other_form": phrase_in("reason", "the form of the shoulder’s other operation is asked in its place"),
    "other_answer": phrase_in("reason", "by the form of the shoulder’s other operation"),
    "enrolled_later": phrase_in("reason", "enrolled later"),
    "declined": phrase_in("reason", "did not want to"),
    "too_ill": phrase_in("reason", "was too ill"),
    "language": phrase_in("reason", "no common language"),
    "no_device": phrase_in("reason", "had nothing to answer on"),
    "opened_not_finished": phrase_in("reason", "the link was opened, no answer came"),
    "lost": phrase_in("reason", "lost to questionnaires"),
    "asked_about_other_side": phrase_in(
        "reason", "it was asked about the other shoulder, before the side was put right"
    ),
    "patient_not_reached": phrase_in("reason", "no message, letter or call reached the patient"),
}
WINDOW = {
    "early": phrase_in("window", "before its window"),
    "in": phrase_in("window", "in its window"),
    "late": phrase_in("window", "after its window"),
    "off_schedule": phrase_in("window", "outside the plan"),
    "recalled": phrase_in("window", "recalled after surgery"),
}
MODE = {
    "own_phone": phrase_in("way of answering", "own phone"),
    "clinic_tablet": phrase_in("way of answering", "tablet at the clinic"),
    "telephone": phrase_in("way of answering", "telephone"),
    "paper": phrase_in("way of answering", "paper"),
    "clinic": phrase_in("way of answering", "visit at the clinic"),
    "imported": phrase_in("way of answering", "imported"),
}
ANSWERED_BY = {
    "patient": phrase_in("who answered", "the patient"),
    "patient_with_help": phrase_in("who answered", "the patient, with help"),
    "someone_else": phrase_in("who answered", "someone else"),
    "staff": phrase_in("who answered", "staff"),
    "unknown": phrase_in("who answered", "unknown"),
}
ROLE = {
    "nurse": phrase_in("role", "nurse"),
    "surgeon": phrase_in("role", "surgeon"),
    "data_manager": phrase_in("role", "data manager"),
}
ITEM_STATE = {
    "answered": phrase_in("item", "answered"),
    "declined": phrase_in("item", "preferred not to answer"),
    "skipped": phrase_in("item", "not asked, because of an earlier answer"),
    "not_reached": phrase_in("item", "not reached"),
    "not_applicable": phrase_in("item", "does not apply"),
}
# How far somebody withdrew, after "the patient"; no more messages is no withdrawal from contact.
WITHDRAWN = {
    "contact": phrase("asked for no more contact"),
    "records": phrase("asked that nothing more be taken from records"),
    "erasure": phrase("asked for erasure"),
}
FLAG = {
    "safety_answer": phrase_in("flag", "safety answer"),
    "contact_change": phrase_in("flag", "contact changed"),
    "operated_elsewhere": phrase_in("flag", "to check"),
    "event_reported": phrase_in("flag", "reports"),
    "lost_proposal": phrase_in("flag", "lost?"),
    "consent_again": phrase_in("flag", "of age"),
    "event_left_behind": phrase_in("flag", "event without its answers"),
    "clock_wrong": phrase_in("flag", "clock wrong"),
    "erased": phrase_in("flag", "erased"),
    "said_wrong_side": phrase_in("flag", "says: wrong side"),
    "said_wrong_date": phrase_in("flag", "says: wrong date"),
    "said_wrong_person": phrase_in("flag", "says: wrong person"),
    "said_died": phrase_in("flag", "says: has died"),
    "asked_to_stop": phrase_in("flag", "asks to stop"),
    "asked_for_call": phrase_in("flag", "asks for a call"),
}
CERTAINTY = {
    "reported": phrase_in("certainty", "reported"),
    "confirmed": phrase_in("certainty", "confirmed"),
    "adjudicated": phrase_in("certainty", "adjudicated"),
}
SEEN_BY = {
    "answer": phrase_in("source", "own answer"),
    "answer_for": phrase_in("source", "answered by somebody else"),
    "call": phrase_in("source", "spoken to"),
    "consent": phrase_in("source", "consent given"),
    "operation": phrase_in("source", "operation here"),
    "operation_elsewhere": phrase_in("source", "operation elsewhere"),
    "examination": phrase_in("source", "examination here"),
    "patient": phrase_in("source", "told by the patient"),
    "other_department": phrase_in("source", "another department"),
    "gp_letter": phrase_in("source", "letter of the family doctor"),
    "other_hospital": phrase_in("source", "letter of another hospital"),
    "register": phrase_in("source", "register of operations"),
    "death_register": phrase_in("source", "register of deaths"),
    "relative": phrase_in("source", "a relative's word"),
}
END = {
    "died": phrase_in("end", "died"),
    "withdrew": phrase_in("end", "withdrew"),
    "transferred": phrase_in("end", "moved to another clinic"),
    "cancelled": phrase_in("end", "surgery cancelled"),
    "capacity_lost": phrase_in("end", "cannot decide any more"),
    "no_follow_up": phrase_in("end", "no follow-up with such an operation"),
    "taken_back": phrase_in("end", "entered in error"),
}
ENVELOPE = {
    "received": phrase_in("envelope", "received"),
    "held": phrase_in("envelope", "held"),
    "recorded": phrase_in("envelope", "recorded"),
    "settled": phrase_in("envelope", "settled"),
}
# What became of a message.
MESSAGE = {
    "sent": phrase_in("message", "sent"),
    "returned": phrase_in("message", "came back undelivered"),
    "no_contact": phrase_in("message", "not sent: no address"),
    "no_consent": phrase_in("message", "not sent: no consent"),
    "messages_stopped": phrase_in("message", "not sent: no messages wanted"),
    "already_answered": phrase_in("message", "not sent: answered already"),
    "window_closed": phrase_in("message", "not sent: the window had closed"),
    "passed_over": phrase_in("message", "not sent: a later step was due as well"),
    "channel_failed": phrase_in("message", "not sent: it failed"),
    "ended": phrase_in("message", "not sent: the follow-up had ended"),
}
# What a text of the clinic is about, and to what a consent is given.
NOTICE = {
    "privacy": phrase("privacy notice"),
    "contact": phrase("being contacted"),
    "research": phrase("use for research"),
    "linkage": phrase("linkage with registers"),
    "unfinished": phrase("unfinished answers being sent"),
}
SIDE = {"left": phrase_in("side", "left"), "right": phrase_in("side", "right")}
SHOULDER = {"left": phrase("Left shoulder"), "right": phrase("Right shoulder")}
# The names of instruments, as their definitions have them, that are words and no proper names.
INSTRUMENT_TITLES = (
    phrase("ASES form, patient section"),
    phrase("Acceptable state question"),
    phrase("Back to work, sport and driving"),
    phrase("Constant-Murley score"),
    phrase("Global rating of change"),
    phrase("Pain, 0 to 10"),
    phrase("Preferred shoulder"),
    phrase("Satisfaction with the result"),
    phrase("Since last time"),
    phrase("The first weeks"),
    phrase("UCLA shoulder score"),
)
