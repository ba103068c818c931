"""Why a value is missing: one word for each reason, the same in every file.

The cell of the value is empty, and the word stands in a column beside it: a mean of the column is then a mean of values. Item reasons
follow server/sync/PROTOCOL.md section 4.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Missing:
    word: str
    meaning: str


ANSWERED_FOR = Missing(
    "answered_for", "somebody else answered for the patient: events stand, pain, state and scores do not"
)
# Of one item of a form that was answered.
ITEM = (
    Missing("skipped", "not asked, because an earlier answer made it needless"),
    Missing("declined", "asked, and the person chose not to answer"),
    Missing("not_applicable", "the person chose “does not apply”"),
    Missing("not_given", "left blank where no reason could be given, such as on paper"),
    Missing("not_reached", "the form was finished before this item"),
    ANSWERED_FOR,
)
# Of a score.
SCORE = (
    Missing("not_scored", "the scale's own rule for missing items gives no value"),
    Missing("not_asked", "the form of this timepoint does not hold this scale"),
    ANSWERED_FOR,
)
# Of a whole form.
FORM = (
    Missing("missed", "the window closed without an answer, though somebody was asked"),
    Missing("open", "the window is open and there is no answer yet"),
    Missing("overdue", "past its due day, no answer yet, window open"),
    Missing("non_responder", "the reminders were sent to their end, no answer, window open"),
    Missing(
        "not_sent",
        "no message arrived (no address, no consent, none wanted, sending failed, or it came back), window open",
    ),
    Missing(
        "text_withheld", "never asked, or not yet: a text of the form might not be sent; never the patient's silence"
    ),
    Missing("enrolled_later", "never asked: the window had closed before the follow-up began"),
    Missing(
        "asked_about_other_side",
        "never asked: the form went out or was answered about the other shoulder, and the side of the operation was put right since",
    ),
    Missing(
        "patient_not_reached",
        "never asked: no message, letter or call reached the patient, and the form was never fetched",
    ),
    Missing(
        "other_form",
        "never asked, or not yet: the form of the shoulder's other operation was sent, within 90 days",
    ),
    Missing("died", "no longer expected: the patient died"),
    Missing("withdrew", "no longer expected: the patient withdrew"),
    Missing("transferred", "no longer expected: followed elsewhere"),
    Missing("cancelled", "no longer expected: surgery was cancelled"),
    Missing("capacity_lost", "no longer expected: the patient cannot decide any more, and questionnaires stop"),
    Missing("no_follow_up", "not expected: with such an operation no follow-up begins, as a correction showed"),
    Missing("erased", "answered; the patient's key was deleted on request and the answers with it"),
    Missing("unreadable", "answered; what is stored does not open under the patient's key"),
)
UPCOMING = Missing("upcoming", "the window has not opened yet")
# Of a timepoint in a row of wide.csv.
IN_WIDE = (
    UPCOMING,
    Missing("not_planned", "no such timepoint is planned for this operation, or it lies too far ahead"),
    Missing("recalled", "the answer was given after surgery about the time before; it stands in the columns rec_…"),
)
EVERY = tuple(dict.fromkeys((*ITEM, *SCORE, *FORM, *IN_WIDE)))
