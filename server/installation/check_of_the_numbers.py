"""Whether the clinic's telephone numbers are numbers: phones dial them by a tap, after an answer that cannot wait."""

from server.clinic.settings import TELEPHONES, numbers_of
from server.fields.clinic import SETTINGS
from server.fields.field import named
from server.installation.finding import Finding, Look
from server.words.phrase import phrase


def numbers_can_be_dialled(look: Look) -> Finding:
    """Numbers that were entered before words or a second number in them were refused stand until somebody changes them."""
    odd = [(name, str(text)) for name, text in numbers_of(look.clinic).items() if text and TELEPHONES[name](str(text))]
    if not odd:
        return Finding("numbers", phrase("The clinic's telephone numbers can be dialled."))
    name, text = odd[0]
    field = named(SETTINGS, name).label
    what = phrase("“%(number)s” under %(field)s is not a telephone number.", number=text, field=field)
    return Finding("numbers", what, phrase("Enter one number in the settings, in digits; words belong under Hours."))
