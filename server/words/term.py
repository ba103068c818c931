"""A word of the field tables: English, as code, files and the command line read it, and said in a reader's language on pages."""

from collections.abc import Mapping

CONTEXT = "field"  # of the catalogues


class Term(str):
    """An English text of a table. `Words.say` and templates say it in the reader's language; `about` tells the same English apart.

    What is put together from it, as in an f-string, is plain English again: say it first.
    """

    __slots__ = ("about",)
    about: str

    def __new__(cls, text: str, about: str = CONTEXT) -> "Term":
        made = super().__new__(cls, text)
        made.about = about
        return made


def term(text: str) -> Term:
    """As it is where it is one already."""
    return text if isinstance(text, Term) else Term(text)


def terms(words: Mapping[str, str], about: str = CONTEXT) -> dict[str, str]:
    """The words of codes. `about` where a language needs other words for the same English, such as for its gender."""
    return {code: text if isinstance(text, Term) else Term(text, about) for code, text in words.items()}
