"""What a telephone number can look like: that of the clinic, of a patient, and the short one for emergencies.

Pages and phones dial it by a tap, so that words in it would end in no call. Opening hours have a field of their own.
"""

import re

FEWEST_DIGITS = 3  # 112
# A plus, digits and what stands between them; at its end perhaps an extension, which is told and not dialled.
_NUMBER = re.compile(r"\s*\+?[0-9 ()+./-]+(?:(?:ext\.?|x)\s*[0-9]{1,8})?\s*", re.IGNORECASE)
_EXTENSION = re.compile(r"[ex].*", re.IGNORECASE | re.DOTALL)


def is_telephone(text: str) -> bool:
    digits = re.sub(r"[^0-9]", "", _EXTENSION.sub("", text))
    return len(digits) >= FEWEST_DIGITS and _NUMBER.fullmatch(text) is not None


def telephone_problem(text: str) -> str | None:
    """How it is written instead; None where it is a number."""
    if is_telephone(text):
        return None
    return (
        f"“{text}” is not a telephone number. Write digits without words, such as +34 600 000 000, 112, or with an extension "
        "555 0100 ext 12."
    )
