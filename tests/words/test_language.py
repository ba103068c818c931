"""What one language is told: sentences with their values, days, numbers, lists."""

from datetime import UTC, date, datetime

from server.fields.person import NOTICE_KINDS
from server.words.labels import NOTICE
from server.words.language import Words
from server.words.phrase import LanguageName, Phrase, phrase

ENGLISH, SPANISH = Words("staff", "en"), Words("staff", "es")
DAY = date(2026, 11, 27)


def test_days_moments_numbers_and_lists_are_those_of_the_language() -> None:
    at = datetime(2026, 11, 27, 13, 5, tzinfo=UTC)
    assert (ENGLISH.day(DAY), SPANISH.day(DAY)) == ("27 November 2026", "27 de noviembre de 2026")
    assert (ENGLISH.short_day(DAY), SPANISH.short_day(DAY)) == ("27 Nov 2026", "27 nov 2026")
    assert SPANISH.weekday_and_day(DAY) == "viernes, 27 de noviembre de 2026"
    assert ENGLISH.moment(at, "Europe/Madrid") == "27 November 2026, 14:05"
    assert (ENGLISH.count(1234567), SPANISH.count(1234567)) == ("1,234,567", "1.234.567")
    assert (ENGLISH.listed(["a", "b", "c"]), SPANISH.listed(["a", "b", "c"])) == ("a, b and c", "a, b y c")
    assert (ENGLISH.day(None), ENGLISH.listed([])) == ("", "")


def test_a_day_is_told_as_exactly_as_it_is_known() -> None:
    assert [ENGLISH.exact_day(DAY, known) for known in ("day", "month", "year")] == [
        "27 November 2026",
        "November 2026",
        "2026",
    ]
    assert [SPANISH.exact_day(DAY, known) for known in ("month", "year")] == ["noviembre de 2026", "2026"]
    assert (ENGLISH.exact_day(DAY, None), ENGLISH.exact_day(None, "month")) == ("27 November 2026", "")


def test_small_counts_are_words_and_large_ones_digits() -> None:
    assert [ENGLISH.spelled(number) for number in (0, 1, 20, 21, 1000)] == ["no", "one", "twenty", "21", "1,000"]
    assert ENGLISH.plural("%(count)s thing", "%(count)s things", 1) == "one thing"
    assert ENGLISH.plural("%(count)s thing", "%(count)s things", 12) == "twelve things"


def test_a_phrase_says_its_values_in_the_language_of_the_whole() -> None:
    inner = phrase("due on %(day)s", day=DAY)
    assert ENGLISH.say(phrase("%(name)s: %(why)s", name="100%", why=inner)) == "100%: due on 27 November 2026"
    assert SPANISH.say(Phrase("%(number)s", {"number": 12345})) == "12.345"


def test_a_region_speaks_the_language_it_is_one_of_and_a_language_without_a_catalogue_english() -> None:
    assert Words("patient", "es-MX").gettext("Enter your date of birth.").startswith("Ponga")
    assert Words("patient", "xx").language == "en"
    assert Words("patient", "xx").day(DAY) == "27 November 2026"


def test_several_languages_inside_a_sentence_are_named_and_listed_as_its_reader_calls_them() -> None:
    said = phrase(
        "There is no privacy notice in %(languages)s, so phones show none.",
        languages=(
            LanguageName("de"),
            LanguageName("es-MX"),
            LanguageName("xx"),
        ),
    )
    assert ENGLISH.say(said).startswith("There is no privacy notice in German, Spanish (Mexico) and xx,")
    assert " en alemán, español (México) y xx," in SPANISH.say(said)


def test_every_kind_of_notice_has_its_words() -> None:
    assert {kind: said.text for kind, said in NOTICE.items()} == NOTICE_KINDS
