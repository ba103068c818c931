"""The secret in a patient's link: 16 random bytes as 28 base32 characters, the last two of them a check.

The check value is the number modulo 1021, the largest prime below 1024 = 32**2. A prime modulus catches every single wrong
character, and, because 32 has order 68 modulo 1021, every swap of two of the 26 others (the idea of ISO/IEC 7064 pure systems).
"""

import secrets

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
MODULUS = 1021
RAW_BYTES = 16
DATA_CHARACTERS = 26
LENGTH = DATA_CHARACTERS + 2
_LOOKALIKES = str.maketrans({"0": "O", "1": "I", "8": "B", " ": None, "-": None})


class TokenProblem(ValueError):
    """`reason` is `length`, `alphabet` or `check`."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


def _digits(value: int, count: int) -> str:
    return "".join(ALPHABET[(value >> (5 * place)) & 31] for place in reversed(range(count)))


def write_token(raw: bytes) -> str:
    """The 28 characters of 16 bytes."""
    if len(raw) != RAW_BYTES:
        raise ValueError("a token is 16 bytes")
    value = int.from_bytes(raw)
    return _digits(value << 2, DATA_CHARACTERS) + _digits(value % MODULUS, 2)


def new_token() -> str:
    return write_token(secrets.token_bytes(RAW_BYTES))


def read_token(text: str) -> bytes:
    """The 16 bytes of a token as typed or scanned; raises TokenProblem."""
    plain = text.upper().translate(_LOOKALIKES)
    if len(plain) != LENGTH:
        raise TokenProblem("length")
    value = 0
    for character in plain:
        digit = ALPHABET.find(character)
        if digit < 0:
            raise TokenProblem("alphabet")
        value = value * 32 + digit
    data, check = divmod(value, 1024)
    if data & 3 or (data >> 2) % MODULUS != check:
        raise TokenProblem("check")
    return (data >> 2).to_bytes(RAW_BYTES)


def grouped(token: str) -> str:
    """Groups of four, for letters and for reading aloud."""
    return "-".join(token[start : start + 4] for start in range(0, len(token), 4))
