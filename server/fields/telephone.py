"""What a telephone number can look like: that of the clinic, of a patient, and the short one for emergencies.

Pages and phones dial it by a tap, so that words in it would end in no call, and two numbers in one field in a wrong one. Opening hours
have a field of their own.
"""

import re

FEWEST_DIGITS = 3  # 112
MOST_DIGITS = 15  # ITU-T Recommendation E.164, on the length of numbers; the prefix 00 is not counted
# A plus, digits and what stands between them.
_NUMBER = re.compile(r"[ (]*\+?[0-9 ()./–-]+")
# At its end perhaps an extension, which is told and not dialled; tests/vectors/telephone.json has what phone and pages make of it.
_EXTENSION = re.compile(r"[,;]?\s*(?:ext(?:ensi[oó]n)?\.?:?|int\.?|x|#)\s*[0-9]{1,8}\Z", re.IGNORECASE)
_APART = re.compile(r" /|/ ")
# As German numbers are commonly written: 030 / 123456. No local number begins with 0, so that one that does is a second whole number.
_AREA_AND_NUMBER = re.compile(r"(?P<area>[ (]*[+0][0-9 ()-]*)/ *(?P<number>[1-9][0-9 .–-]*)")
AREA_DIGITS = range(2, 7)  # with or without the country: 030, +49 (0)30
FEWEST_DIGITS_AFTER_AREA = 4  # 061 / 112 are two short numbers
_EMERGENCY_NUMBER = re.compile(r"\+?[0-9 ]+")


def _digits(text: str) -> int:
    return sum(each.isdigit() for each in text)


def _can_be_dialled(number: str) -> bool:
    digits = re.sub(r"[^0-9]", "", number)
    return len(digits) >= FEWEST_DIGITS and len(digits.removeprefix("00")) <= MOST_DIGITS


def _is_two_numbers(text: str) -> bool:
    """Whether a slash stands apart, and not between an area and a number in it."""
    if not _APART.search(text):
        return False
    found = _AREA_AND_NUMBER.fullmatch(text)
    if found is None:
        return True
    return _digits(found["area"]) not in AREA_DIGITS or _digits(found["number"]) < FEWEST_DIGITS_AFTER_AREA


def is_telephone(text: str) -> bool:
    number = _EXTENSION.sub("", text.strip())
    return _can_be_dialled(number) and _NUMBER.fullmatch(number) is not None and not _is_two_numbers(number)


def telephone_problem(text: str) -> str | None:
    """How it is written instead; None where it is a number."""
    if is_telephone(text):
        return None
    return (
        f"“{text}” is not a telephone number. Write one number, in digits without words, such as +34 600 000 000, 112, or with an "
        "extension 555 0100 ext 12."
    )


def emergency_number_problem(text: str) -> str | None:
    """How it is written instead; None where it is a number. Whoever taps it has no time for a wrong one: no sign may stand for “or”."""
    number = text.strip()
    if _EMERGENCY_NUMBER.fullmatch(number) and _can_be_dialled(number):
        return None
    return (
        f"“{text}” is not a telephone number for emergencies. Write one number, in digits and blanks only, such as 112."
    )
