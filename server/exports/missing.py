"""Why a value is missing: one code and one word for each reason, the same in every file.

Item reasons follow server/sync/PROTOCOL.md section 4; the numbers -77, -88 and -99 are what statisticians here already use. No item and no
scale can take a value below 0, and a test holds every instrument to that.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Missing:
    code: int
    word: str
    meaning: str


# Of one item of a form that was answered.
ITEM = (
    Missing(-66, "skipped", "not asked, because an earlier answer made it needless"),
    Missing(-77, "declined", "asked, and the person chose not to answer"),
    Missing(-88, "not_applicable", "the person chose “does not apply”"),
    Missing(-98, "not_given", "left blank where no reason could be given, such as on paper"),
    Missing(-99, "not_reached", "the form was finished before this item"),
)
# Of a score.
SCORE = (
    Missing(-44, "not_scored", "the scale's own rule for missing items gives no value"),
    Missing(-45, "not_asked", "the form of this timepoint does not hold this scale"),
)
# Of a whole form.
FORM = (
    Missing(-11, "missed", "the window closed without an answer, though somebody was asked"),
    Missing(-12, "open", "the window is open and there is no answer yet"),
    Missing(-13, "overdue", "past its due day, no answer yet, window open"),
    Missing(-14, "non_responder", "the reminders were sent to their end, no answer, window open"),
    Missing(
        -15, "not_sent", "no message could be sent (no address, no consent to contact, or sending failed), window open"
    ),
    Missing(
        -16,
        "text_withheld",
        "never asked, or not yet: a text of the form might not be sent; never the patient's silence",
    ),
    Missing(-17, "enrolled_later", "never asked: the window had closed before the follow-up began"),
    Missing(
        -18,
        "patient_not_reached",
        "never asked: no message, letter or call reached the patient, and the form was never fetched",
    ),
    Missing(
        -19,
        "other_form",
        "never asked, or not yet: the form of the shoulder's other operation was sent, within 90 days",
    ),
    Missing(-21, "died", "no longer expected: the patient died"),
    Missing(-22, "withdrew", "no longer expected: the patient withdrew"),
    Missing(-23, "transferred", "no longer expected: followed elsewhere"),
    Missing(-24, "cancelled", "no longer expected: surgery was cancelled"),
    Missing(-55, "erased", "answered; the patient's key was deleted on request and the answers with it"),
    Missing(-56, "unreadable", "answered; what is stored does not open under the patient's key"),
)
BY_WORD = {each.word: each for each in (*ITEM, *SCORE, *FORM)}


def code(word: str | None) -> int | None:
    """The number of a reason; None for none. KeyError for a word that no table has."""
    return None if word is None else BY_WORD[word].code
