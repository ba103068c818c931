"""The words of the sentence as a page says them: what stands in it, what a word is called, and how each choice reads."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.fields.operation_words import CUFF_STATES, DIAGNOSES, IMPLANT_TYPES, PROCEDURE_WORDS
from server.outcomes.series.sentence import FIRST_SHOULDER, NOT_RECORDED, SPANS, Sentence
from server.staff.page import words
from server.words import labels
from server.words.phrase import Phrase, phrase, phrase_in

_NONE = phrase("not recorded")
_SEX = {
    "female": phrase("women"),
    "male": phrase("men"),
    "other": phrase("people of another sex"),
    "unknown": phrase("people of unknown sex"),
}
_ARM = {
    "yes": phrase("the dominant arm"),
    "no": phrase("the arm that is not dominant"),
    "unknown": phrase("an arm of which it is unknown"),
    NOT_RECORDED: phrase("an arm of which it is not recorded"),
}
_GLENOID: Mapping[str, Phrase | str] = {
    **{grade: grade.upper() for grade in ("a1", "a2", "b1", "b2", "b3", "c", "c1", "c2", "d")},
    "other": phrase("another type of glenoid"),
    "unknown": phrase("of unknown type"),
}
_CERTAINTY = {**labels.CERTAINTY, NOT_RECORDED: phrase("of which it is not recorded how sure it is")}
_TEXT = {
    "licensed": phrase("the owner’s words"),
    "descriptive": phrase("descriptive text"),
}


@dataclass(frozen=True)
class Word:
    """`title` heads the choices, `everybody` stands in the sentence while nothing is chosen; `codes`: in which order, with which words.

    A code without words of its own is said as it is.
    """

    title: Phrase
    everybody: Phrase
    codes: Mapping[str, Phrase | str]


WORDS: Mapping[str, Word] = {
    "procedure": Word(phrase("Procedure"), phrase("any procedure"), PROCEDURE_WORDS),
    "implant_type": Word(phrase("Implant type"), phrase("any implant"), IMPLANT_TYPES),
    "model": Word(phrase("Model, by what the labels say"), phrase("any model"), {}),
    "diagnosis": Word(phrase("Diagnosis"), phrase("any diagnosis"), DIAGNOSES),
    "cuff": Word(phrase("The cuff at operation, by its worst tendon"), phrase("in any state"), CUFF_STATES),
    "glenoid": Word(phrase("Glenoid type"), phrase("of any type"), _GLENOID),
    "side": Word(phrase("Side"), phrase("left or right"), labels.SIDE),
    "dominant": Word(phrase("Dominant arm"), phrase("dominant or not"), _ARM),
    "surgeon": Word(phrase("Surgeon"), phrase("every surgeon"), {}),
    "sex": Word(phrase("Sex"), phrase("women, men and others"), _SEX),
    "certainty": Word(phrase("How sure it is that it was done"), phrase("confirmed or not"), _CERTAINTY),
    "years": Word(phrase("Year of operation"), phrase("in any year"), {}),
    "age": Word(phrase("Age at operation, by the year of birth"), phrase("any age"), {}),
    FIRST_SHOULDER: Word(phrase("Shoulders of one person"), phrase("one or both shoulders"), {}),
    "mode": Word(phrase("Way of answering"), phrase("any way"), labels.MODE),
    "text": Word(phrase("Kind of text"), phrase("any kind of text"), _TEXT),
}


def said(sentence: Sentence, word: str) -> str:
    """What stands in the sentence at a word."""
    if not sentence.says(word):
        return words.say(WORDS[word].everybody)
    if word in SPANS:
        return _span(sentence, word)
    if word == FIRST_SHOULDER:
        return words.gettext("the first shoulder alone")
    return words.one_of([code_words(word, code) for code in sentence.chosen(word)])


def code_words(word: str, code: str) -> str:
    """How one choice of a word reads."""
    known = WORDS[word].codes.get(code)
    if known is not None:
        return words.say(known)
    return words.say(_NONE) if code == NOT_RECORDED else code


def in_order(word: str, codes: set[str]) -> list[str]:
    """The codes as the record's own list has them, then others by their text, and what is not recorded last."""
    listed = list(WORDS[word].codes)
    return sorted(
        codes, key=lambda code: (code == NOT_RECORDED, listed.index(code) if code in listed else len(listed), code)
    )


def _span(sentence: Sentence, word: str) -> str:
    """Years as digits alone, without a mark between thousands."""
    span = sentence.span(word)
    first, last = str(span.first), str(span.last)
    if word == "years":
        both = phrase_in("years", "from %(first)s to %(last)s", first=first, last=last)
        on, until = (
            phrase_in("years", "from %(first)s on", first=first),
            phrase_in("years", "up to %(last)s", last=last),
        )
    else:
        both = phrase_in("age", "%(first)s to %(last)s", first=first, last=last)
        on, until = phrase_in("age", "%(first)s and over", first=first), phrase_in("age", "up to %(last)s", last=last)
    return words.say(on if span.last is None else until if span.first is None else both)
