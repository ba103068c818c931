"""One language: its sentences from the catalogues; its dates, numbers and lists from Babel's tables (Unicode CLDR)."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton, format_time
from babel.lists import format_list
from babel.numbers import format_decimal

from server.words.catalogue import Domain, language_for, read_catalogue
from server.words.phrase import ByLanguage, LanguageName, Phrase, Value, phrase_in
from server.words.term import Term

# English with the day before the month, since patients and staff outside North America read it so.
REGION = {"en": "en-GB"}
SPELLED = (
    *(phrase_in("count", "no"), phrase_in("count", "one"), phrase_in("count", "two"), phrase_in("count", "three")),
    *(phrase_in("count", "four"), phrase_in("count", "five"), phrase_in("count", "six")),
    *(phrase_in("count", "seven"), phrase_in("count", "eight"), phrase_in("count", "nine")),
    *(phrase_in("count", "ten"), phrase_in("count", "eleven"), phrase_in("count", "twelve")),
    *(phrase_in("count", "thirteen"), phrase_in("count", "fourteen"), phrase_in("count", "fifteen")),
    *(phrase_in("count", "sixteen"), phrase_in("count", "seventeen"), phrase_in("count", "eighteen")),
    *(phrase_in("count", "nineteen"), phrase_in("count", "twenty")),
)


class Words:
    """What a reader of one language is told: `patient` for mail and letters, `staff` for the staff pages."""

    def __init__(self, domain: Domain, wanted: str) -> None:
        """A language without a catalogue gets English."""
        self.language = language_for(domain, wanted)
        self._catalogue = read_catalogue(domain, self.language)
        regional = wanted if wanted.startswith(f"{self.language}-") else REGION.get(self.language, self.language)
        self._locale = Locale.parse(regional, sep="-")

    def gettext(self, text: str) -> str:
        return self._catalogue.gettext(text)

    def ngettext(self, one: str, many: str, number: int) -> str:
        return self._catalogue.ngettext(one, many, number)

    def pgettext(self, context: str, text: str) -> str:
        return self._catalogue.pgettext(context, text)

    def npgettext(self, context: str, one: str, many: str, number: int) -> str:
        return self._catalogue.npgettext(context, one, many, number)

    def say(self, said: Phrase | str) -> str:
        """A sentence with its values, each in this language. A word of the tables is said too; any other text stays as it is."""
        if isinstance(said, Term):
            return self.pgettext(said.about, said) if said else ""
        if isinstance(said, str):
            return said
        values = {name: self._value(value) for name, value in said.values.items()}
        if said.plural is not None:
            found = self.ngettext(said.text, said.plural, said.number)
            return found % {"count": self.spelled(said.number), "number": self.count(said.number), **values}
        found = self.gettext(said.text) if said.context is None else self.pgettext(said.context, said.text)
        return found % values if values else found

    def _value(self, value: Value) -> str:
        if isinstance(value, Phrase | Term):
            return self.say(value)
        if isinstance(value, LanguageName):
            return self.language_name(value.tag)
        if isinstance(value, ByLanguage):
            return self._value(value.said.get(self.language, value.otherwise))
        if isinstance(value, tuple):
            return self.listed([self._value(each) for each in value])
        if isinstance(value, date):
            return self.day(value)
        if isinstance(value, int):
            return self.count(value)
        return value or ""

    def sentences(self, parts: Sequence[Phrase]) -> str:
        """One after the other, each with a capital and a full stop."""
        said = [self.say(part) for part in parts]
        ended = (part if part.endswith((".", "!", "?")) else f"{part}." for part in said)
        return " ".join(part[:1].upper() + part[1:] for part in ended)

    def plural(self, one: str, many: str, number: int) -> str:
        """So many of something as `%(count)s`, the count in words as far as the language spells it."""
        return self.ngettext(one, many, number) % {"count": self.spelled(number)}

    def spelled(self, number: int) -> str:
        """0 to 20 as a word ("no", "one", ...), where the language's words fit before any noun; more as digits."""
        return self.say(SPELLED[number]) if 0 <= number < len(SPELLED) else self.count(number)

    def count(self, number: int) -> str:
        """Digits, with the language's mark between thousands."""
        return format_decimal(number, locale=self._locale)

    def number(self, value: float) -> str:
        """A value with up to ten digits, as many as it has."""
        return format_decimal(float(f"{value:.10g}"), format="#,##0.##########", locale=self._locale)

    def day(self, on: date | None) -> str:
        """27 November 2026. A day that is not known is nothing."""
        return "" if on is None else format_date(on, "long", locale=self._locale)

    def weekday(self, number: int) -> str:
        """Monday for 1, by ISO 8601."""
        name: str = self._locale.days["stand-alone"]["wide"][number - 1]
        return name

    def day_of_any_year(self, on: date) -> str:
        """27 November."""
        return format_skeleton("MMMMd", on, locale=self._locale)

    def exact_day(self, on: date | None, precision: str | None) -> str:
        """As exactly as it is known: 27 November 2026, November 2026, or 2026."""
        if on is None or precision in (None, "day"):
            return self.day(on)
        return format_skeleton("y" if precision == "year" else "yMMMM", on, locale=self._locale)

    def short_day(self, on: date | None, precision: str | None = None) -> str:
        """As exactly as it is known: 27 Nov 2026, Nov 2026, or 2026; for tables and drawings."""
        if on is None or precision in (None, "day"):
            return "" if on is None else format_date(on, "medium", locale=self._locale)
        return format_skeleton("y" if precision == "year" else "yMMM", on, locale=self._locale)

    def weekday_and_day(self, on: date | None) -> str:
        """Friday 27 November 2026."""
        return "" if on is None else format_date(on, "full", locale=self._locale)

    def moment(self, at: datetime | None, zone: str) -> str:
        """Day and time of day at the clinic."""
        if at is None:
            return ""
        there = at.astimezone(ZoneInfo(zone))
        return f"{self.day(there.date())}, {format_time(there.time(), 'short', locale=self._locale)}"

    def language_name(self, code: str) -> str:
        """ "Spanish" for es; a code that nobody named stays as it is."""
        try:
            return Locale.parse(code, sep="-").get_display_name(self._locale) or code
        except (ValueError, UnknownLocaleError):
            return code

    def listed(self, parts: Sequence[str], *, style: Literal["standard", "or"] = "standard") -> str:
        """Joined as in speech: a; a and b; a, b and c."""
        return format_list(list(parts), style=style, locale=self._locale) if parts else ""
