"""A change that cannot be, in view of what is known."""

from server.fields.field import Errors


class Contradiction(ValueError):
    """The change contradicts what is known. The message is a plain sentence for the page."""

    @property
    def errors(self) -> Errors:
        """As a form tells it: about no input of its own."""
        return {"": [str(self)]}


def refuse_if(contradicts: bool, sentence: str) -> None:
    if contradicts:
        raise Contradiction(sentence)


def refuse_first(sentences: list[str]) -> None:
    for sentence in sentences:
        raise Contradiction(sentence)
