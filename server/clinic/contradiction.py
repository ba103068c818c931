"""A change that cannot be, in view of what is known."""


class Contradiction(ValueError):
    """The change contradicts what is known. The message is a plain sentence for the page."""


def refuse_if(contradicts: bool, sentence: str) -> None:
    if contradicts:
        raise Contradiction(sentence)


def refuse_first(sentences: list[str]) -> None:
    for sentence in sentences:
        raise Contradiction(sentence)
