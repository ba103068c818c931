"""Passwords under argon2id. Each hash takes 64 MiB, so only a few are computed at a time; never inside a write transaction."""

from functools import cache
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError

from server.words.phrase import Phrase, phrase

MOST_AT_ONCE = 2  # 128 MiB; more would only share the same processors
SHORTEST = 15  # NIST SP 800-63B-4: at least 15 characters where the password is the only factor
LONGEST = 200  # argon2 takes any length; a limit keeps a request small
FEWEST_DIFFERENT = 6

_hasher = PasswordHasher()  # RFC 9106, second recommended option: 3 passes, 64 MiB, 4 lanes
_turn = BoundedSemaphore(MOST_AT_ONCE)


def hash_password(password: str) -> str:
    """The argon2id hash in its usual text form, parameters and salt included."""
    with _turn:
        return _hasher.hash(password)


def password_matches(password: str, password_hash: str | None) -> bool:
    """`password_hash` None is an unknown account: the same work is done, and the answer is no."""
    with _turn:
        try:
            return (
                _hasher.verify(password_hash or nobodys_hash(), password[: LONGEST + 1]) and password_hash is not None
            )
        except (VerifyMismatchError, InvalidHashError):
            return False


@cache
def nobodys_hash() -> str:
    """A hash that belongs to nobody, for equal work; made once, at start."""
    return _hasher.hash("nobody's")


def password_problem(password: str, *, email: str = "") -> Phrase | None:
    """Why this password cannot be used, in plain words; None when it can. No rules of composition: a sentence is fine."""
    if len(password) < SHORTEST:
        return phrase(
            "Use at least %(shortest)s characters. Several words in a row are easy to remember.", shortest=SHORTEST
        )
    if len(password) > LONGEST:
        return phrase("Use at most %(longest)s characters.", longest=LONGEST)
    if len(set(password)) < FEWEST_DIFFERENT:
        return phrase("This repeats the same few characters. Use several different words.")
    if email and password.casefold().strip() == email.casefold().strip():
        return phrase("This is your e-mail address. Use something that nobody else knows.")
    return None
