"""When the clinic's telephone is answered: free words, which patients read in brackets after the number.

Almost anything can be right there, from “8-12, 14-18” to “day and night”, so only what was meant for another field is refused.
"""

import re

from server.fields.telephone import is_telephone

_NO_TIME_IS_SO_LONG = re.compile(r"[0-9]{3}")
# But 0800-1600 is, and no number is written as one time and a later one.
_TIME = r"\b(?:[01][0-9]|2[0-4])[0-5][0-9]\b"
_FROM_TO = re.compile(f"(?P<opens>{_TIME}) *[–-] *(?P<closes>{_TIME})")


def _without_hours(text: str) -> str:
    return _FROM_TO.sub(lambda found: "" if found["opens"] < found["closes"] else found[0], text)


def hours_problem(text: str) -> str | None:
    """How they are written instead; None where the words may be hours."""
    is_number = is_telephone(text) and _NO_TIME_IS_SO_LONG.search(_without_hours(text)) is not None
    if is_number or not any(each.isalnum() for each in text):
        return f"“{text}” does not say when the telephone is answered. Write days and hours in words, such as Monday to Friday, 8 to 16."
    return None
