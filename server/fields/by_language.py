"""A short text that the clinic wrote in several languages."""

from collections.abc import Mapping


def in_language(texts: Mapping[str, str], language: str, languages: str) -> str:
    """The words in a language; those of the clinic's first one where there are none. `languages` is the clinic's own list."""
    first = languages.split(",")[0]
    return texts.get(language) or texts.get(first) or next(iter(texts.values()), "")
