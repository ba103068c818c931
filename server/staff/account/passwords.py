"""Passwords under argon2id: which ones may be used, and hashing one at a time, never inside a write transaction."""

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from itertools import combinations
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError
from zxcvbn import zxcvbn

from server.words.phrase import Phrase, phrase

SHORTEST = 15  # NIST SP 800-63B-4: at least 15 characters where the password is the only factor
LONGEST = 200  # argon2 takes any length; a limit keeps a request small
FEWEST_DIFFERENT = 6
EASIEST = 10**8  # guesses: fewer, and lists of leaked passwords, words and names lead there
ESTIMATED = 72  # characters that the estimate looks at; longer ones would take it long
SHORTEST_OWN = 3  # parts of one's own name, as short as "Ana"

# RFC 9106, second recommended option, with one lane in place of four: a sign-in then keeps one processor busy, not all of them,
# while phones are served. A guesser has as much work per guess as before.
_hasher = PasswordHasher(time_cost=3, memory_cost=64 * 1024, parallelism=1)
_turn = BoundedSemaphore(1)
# One that hashes and one that waits for it: more would take the server's threads from the phones.
_places = BoundedSemaphore(2)


class Busy(Exception):
    """Others are signing in at this moment. Nothing was looked at; a second try in a moment is likely to be served."""


@contextmanager
def hashing_turn() -> Iterator[None]:
    """One hash at a time, and one place in the queue. Raises Busy when both are taken."""
    if not _places.acquire(blocking=False):
        raise Busy
    try:
        with _turn:
            yield
    finally:
        _places.release()


def hash_password(password: str) -> str:
    """The argon2id hash in its usual text form, parameters and salt included. Raises Busy."""
    with hashing_turn():
        return _hasher.hash(password)


def password_matches(password: str, password_hash: str | None) -> bool:
    """`password_hash` None is an unknown account: the same work is done, and the answer is no. Raises Busy."""
    with hashing_turn():
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


def password_problem(password: str, *, own: Iterable[str] = ()) -> Phrase | None:
    """Why this password cannot be used, in plain words; None when it can. No rules of composition: a sentence is fine.

    `own`: what others know of this person: e-mail address, name, clinic.
    """
    if len(password) < SHORTEST:
        return phrase(
            "Use at least %(shortest)s characters. Several words in a row are easy to remember.", shortest=SHORTEST
        )
    if len(password) > LONGEST:
        return phrase("Use at most %(longest)s characters.", longest=LONGEST)
    if len(set(password)) < FEWEST_DIFFERENT:
        return phrase("This repeats the same few characters. Use several different words.")
    if _guesses(password, own) < EASIEST:
        return phrase(
            "This would be guessed soon: it is a common password, or little more than your name, your e-mail address or "
            "the clinic's name. Use several words that have nothing to do with each other."
        )
    return None


def _guesses(password: str, own: Iterable[str]) -> float:
    """How many guesses a list-based attack needs. NIST SP 800-63B-4, 3.1.1.2, asks to refuse what is common, expected or leaked;
    words with spaces or dashes between them are looked up without them as well."""
    known = [part for text in own for part in _parts(text)]
    return min(
        float(zxcvbn(text[:ESTIMATED], user_inputs=known)["guesses"])
        for text in (password, re.sub(r"[\W_]+", "", password))
        if text
    )


def _parts(text: str) -> list[str]:
    """A name's words, and those that stand beside each other as one."""
    words = [each for each in re.split(r"[\W_]+", text.casefold()) if each]
    runs = ["".join(words[start:end]) for start, end in combinations(range(len(words) + 1), 2)]
    return [each for each in (text.casefold(), *runs) if len(each) >= SHORTEST_OWN]
