"""Whether the clinic's telephone numbers are numbers, and its hours none: a tap dials a number, after an answer that cannot wait."""

from server.clinic.settings import TELEPHONES, reached_by
from server.fields.clinic import SETTINGS
from server.fields.field import named
from server.fields.opening_hours import hours_problem
from server.installation.finding import Finding, Look
from server.words.phrase import phrase


def numbers_can_be_dialled(look: Look) -> Finding:
    """What was entered before words or a second number in them were refused stands until somebody changes it."""
    numbers = {name: str(text or "") for name, text in reached_by(look.clinic).items() if name in TELEPHONES}
    odd = [(name, text) for name, text in numbers.items() if text and TELEPHONES[name](text)]
    if odd:
        name, text = odd[0]
        field = named(SETTINGS, name).label
        what = phrase("“%(number)s” under %(field)s is not a telephone number.", number=text, field=field)
        return Finding(
            "numbers", what, phrase("Enter one number in the settings, in digits; words belong under Hours.")
        )
    odd_hours = [text for text in look.clinic.phone_hours.values() if text and hours_problem(text)]
    if odd_hours:
        what = phrase("“%(hours)s” under Hours does not say when the telephone is answered.", hours=odd_hours[0])
        return Finding("numbers", what, phrase("Enter days and hours in the settings, in words; patients read them."))
    return Finding("numbers", phrase("The clinic's telephone numbers can be dialled."))
