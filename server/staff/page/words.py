"""How staff pages say things, in the language of the request: sentences, numbers, days, codes of the database."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import cast

from flask import g, has_app_context

from server.fields.operation_words import IMPLANT_TYPES, OPERATION_KINDS
from server.fields.person import ATTEMPT_CHANNELS, ATTEMPT_RESULTS, CONSENT_KINDS, SEXES, WAYS
from server.words import labels, times
from server.words.language import Words
from server.words.phrase import Phrase
from server.words.timepoints import timepoint_words

ENGLISH = Words("staff", "en")

IMPLANT = IMPLANT_TYPES
KIND = OPERATION_KINDS
CHANNEL = ATTEMPT_CHANNELS
WAY = WAYS
RESULT = ATTEMPT_RESULTS
SEX = SEXES
CONSENT = CONSENT_KINDS


def spoken() -> Words:
    """The language of whoever is signed in; English outside of a request."""
    return cast(Words, g.words) if has_app_context() and "words" in g else ENGLISH


def gettext(text: str) -> str:
    return spoken().gettext(text)


def ngettext(one: str, many: str, number: int) -> str:
    return spoken().ngettext(one, many, number)


def pgettext(context: str, text: str) -> str:
    return spoken().pgettext(context, text)


def npgettext(context: str, one: str, many: str, number: int) -> str:
    return spoken().npgettext(context, one, many, number)


def plural(one: str, many: str, number: int) -> str:
    """So many of something as `%(count)s`, the count in words where there are few."""
    return spoken().plural(one, many, number)


def say(said: Phrase | str) -> str:
    return spoken().say(said)


def say_all(phrases: Iterable[Phrase | str]) -> list[str]:
    return [say(each) for each in phrases]


def yes_or_no(answer: bool) -> str:
    return gettext("yes") if answer else pgettext("answer", "no")


def plain(code: str | None) -> str:
    """A code without words of its own: underscores become spaces; nothing recorded is said."""
    return gettext("not recorded") if code is None else code.replace("_", " ")


def count_in_words(number: int) -> str:
    """0 to 20 as a word, more as digits."""
    return spoken().spelled(number)


def counted(number: int, one: str, many: str | None = None) -> str:
    return f"{count_in_words(number)} {one if number == 1 else many or one + 's'}"


def sentence(said: Phrase | str) -> str:
    """The first letter large, the rest as it is."""
    text = say(said)
    return text[:1].upper() + text[1:]


def day(on: date | None) -> str:
    return spoken().day(on)


def weekday(number: int) -> str:
    """Monday for 1, by ISO 8601."""
    return spoken().weekday(number)


def day_of_any_year(on: date) -> str:
    """28 March: what returns every year."""
    return spoken().day_of_any_year(on)


def exact_day(on: date | None, precision: str | None) -> str:
    """As exactly as it is known: 28 March 2024, March 2024, or 2024."""
    return spoken().exact_day(on, precision)


def quoted(said: Phrase | str) -> str:
    """A value as a history keeps it or as somebody typed it: a day is told in words, and nothing as nothing."""
    text = say(said)
    if not text:
        return gettext("nothing")
    try:
        return f"“{day(date.fromisoformat(text))}”"
    except ValueError:
        return f"“{text}”"


def short_day(on: date | None, precision: str | None = None) -> str:
    return spoken().short_day(on, precision)


def moment(at: datetime | None, zone: str) -> str:
    """Day and time at the clinic."""
    return spoken().moment(at, zone)


def at_and_by(moment: str, by_id: int | None, staff: Mapping[int, str]) -> str:
    """When something was installed or chosen, and who did it."""
    if by_id is None:
        return gettext("%(moment)s, on the command line") % {"moment": moment}
    person = staff.get(by_id, say(labels.ANSWERED_BY["staff"]))
    return gettext("%(moment)s, by %(person)s") % {"moment": moment, "person": person}


def ago(at: datetime, now: datetime) -> str:
    return say(times.ago(at, now))


def age(born: date, on: date) -> int:
    return on.year - born.year - ((on.month, on.day) < (born.month, born.day))


def number(value: float | None) -> str:
    return gettext("none") if value is None else spoken().number(value)


def timepoint(code: str) -> str:
    return say(timepoint_words(code))


def one_of(parts: Sequence[Phrase | str]) -> str:
    """Joined as in speech: a, b or c."""
    return spoken().listed(say_all(parts), style="or")


def listed(parts: Sequence[Phrase | str]) -> str:
    return spoken().listed(say_all(parts))


def language(code: str) -> str:
    """ "Spanish" for es and "Spanish (es-MX)" for a region of it; a code without a name stays as it is."""
    first = code.split("-")[0]
    name = spoken().language_name(first)
    return name if code in (first, name) else f"{name} ({code})"


def own_name(code: str) -> str:
    """A language as its own speakers call it: español."""
    return Words("staff", code).language_name(code)


def languages(codes: tuple[str, ...]) -> list[tuple[str, str]]:
    """A clinic's languages with their names, for a choice."""
    return [(code, sentence(language(code))) for code in codes]


def one_of_languages(codes: tuple[str, ...]) -> str:
    return one_of([language(code) for code in codes])
