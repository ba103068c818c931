"""When the clinic's telephone is answered: free words, which patients read in brackets after the number.

Almost anything can be right there, from “8-12, 14-18” to “day and night”, so only what was meant for another field is refused.
"""

import re

from server.fields.telephone import is_telephone

_NO_TIME_IS_SO_LONG = re.compile(r"[0-9]{3}")


def hours_problem(text: str) -> str | None:
    """How they are written instead; None where the words may be hours."""
    is_number = is_telephone(text) and _NO_TIME_IS_SO_LONG.search(text) is not None
    if is_number or not any(each.isalnum() for each in text):
        return f"“{text}” does not say when the telephone is answered. Write days and hours in words, such as Monday to Friday, 8 to 16."
    return None
