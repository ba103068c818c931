"""A telephone number that can be tapped."""

import re

# The first run of signs that a number is written with: what stands after it, such as an extension in words, is not dialled. The phone
# has the same rule (`dial` in pwa/src/screens/clinic_numbers.tsx); tests/vectors/telephone.json holds the two together.
_NUMBER = re.compile(r"\+?[0-9][0-9 ()./–-]{2,}")
# The "(0)" after a country is for callers at home.
_AT_HOME = re.compile(r"^(\+[^(]*)\(0\)")


def dialled(phone: str) -> str:
    """The address of a `tel:` link (RFC 3966); empty where the text holds no number."""
    found = _NUMBER.search(phone)
    if found is None:
        return ""
    from_anywhere = _AT_HOME.sub(r"\1", found.group())
    return "tel:" + re.sub("[^+0-9]", "", from_anywhere)
