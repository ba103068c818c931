"""A day as a refusal or a doubt says it: in English, as all that is refused is said so far."""

from datetime import date

from server.words.language import Words

_ENGLISH = Words("staff", "en")


def day_words(on: date | None, precision: str | None = None) -> str:
    """As exactly as it is known: 28 March 2024, March 2024, or 2024."""
    return _ENGLISH.exact_day(on, precision)
