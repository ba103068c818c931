"""Lots for a share of people, so that anybody with the seed can cast them again, in any language and on any machine.

Everybody's lot is the SHA-256 of `SEED NUMBER` (of the text in UTF-8, as hexadecimal digits); those with the smallest lots are drawn.
Where the share of all is no whole number, a lot of its own, of `SEED rounding`, says whether it is rounded up, so that each person's
chance is the share itself however few they are: of three people a quarter is one person three times in four, and nobody the fourth time.
"""

from collections.abc import Collection
from hashlib import sha256

QUARTER = 0.25
_ROUNDING = "rounding"


def lot(seed: str, number: str) -> str:
    return sha256(f"{seed} {number}".encode()).hexdigest()


def drawn(seed: str, numbers: Collection[str], share: float = QUARTER) -> set[str]:
    """Which of these study numbers are drawn; each has the chance `share`."""
    whole, part = divmod(len(numbers) * share, 1)
    count = int(whole) + (int(lot(seed, _ROUNDING), 16) < part * 2**256)
    return set(sorted(numbers, key=lambda number: lot(seed, number))[:count])
