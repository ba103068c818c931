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
# As German numbers are commonly written: 030 / 123456. What could be two numbers is refused, since a tap would dial them as one.
_AREA_AND_NUMBER = re.compile(r"(?:0[0-9]{2,5}|\(0[0-9]{2,5}\)) */ *(?P<number>[1-9][0-9 ]*)")
# Fewer are a second short number, as in 061 / 112; nine are a whole one in Spain and elsewhere, as in 061 / 900 161 161.
DIGITS_AFTER_AREA = range(4, 9)
_EMERGENCY_NUMBER = re.compile(r"\+?[0-9 ]+")


def _can_be_dialled(number: str) -> bool:
    digits = re.sub(r"[^0-9]", "", number)
    return len(digits) >= FEWEST_DIGITS and len(digits.removeprefix("00")) <= MOST_DIGITS


def _is_two_numbers(text: str) -> bool:
    """Whether a slash stands apart, and not between an area and a number in it."""
    if not _APART.search(text):
        return False
    found = _AREA_AND_NUMBER.fullmatch(text)
    return found is None or sum(each.isdigit() for each in found["number"]) not in DIGITS_AFTER_AREA


def _without_extension(text: str) -> str:
    return _EXTENSION.sub("", text.strip())


def is_telephone(text: str) -> bool:
    number = _without_extension(text)
    return _can_be_dialled(number) and _NUMBER.fullmatch(number) is not None and not _is_two_numbers(number)


def telephone_problem(text: str) -> str | None:
    """How it is written instead; None where it is a number."""
    if is_telephone(text):
        return None
    number = _without_extension(text)
    if _NUMBER.fullmatch(number) and _is_two_numbers(number):
        return f"“{text}” may be two numbers. Write one number; if it is one, leave out the slash, such as 030 123456."
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
