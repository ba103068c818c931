"""Whether values can be: the one check for pages, the command line, imports and the demo. Every error at once, as plain sentences."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from server.fields.day_words import day_words
from server.fields.field import OTHER, Errors, Field, Kind, Sentence, Tense, Value, named
from server.schedule.dates import anniversary
from server.words.language import Words
from server.words.phrase import phrase

# No shoulder replacement in use today is older; an earlier year is a slip of the pen.
EARLIEST = date(1950, 1, 1)
AHEAD_DAYS = 5 * 366  # further ahead is a wrong year
OLDEST_YEARS = 115
LONG_LIST = 10
ENGLISH = Words("staff", "en")


class EntryRefused(ValueError):
    """What was entered cannot be kept. `errors`: field name to plain sentences, all at once."""

    def __init__(self, errors: Errors) -> None:
        super().__init__("; ".join(f"{field}: {' '.join(in_english(found))}" for field, found in errors.items()))
        self.errors = errors


def in_english(sentences: Iterable[Sentence]) -> list[str]:
    """As the command line and the log say them."""
    return [ENGLISH.say(each) for each in sentences]


class CheckedEntry(Mapping[str, Value]):
    """Values that a field table has checked, by field name. Only `checked` makes one."""

    def __init__(self, values: Mapping[str, Value]) -> None:
        self._values = dict(values)

    def __getitem__(self, name: str) -> Value:
        return self._values[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def day(self, name: str) -> date | None:
        value = self[name]
        return value if isinstance(value, date) else None

    def text(self, name: str) -> str | None:
        value = self[name]
        return value if isinstance(value, str) else None


@dataclass(frozen=True)
class Calendar:
    """What days are checked against: the clinic's day, and the patient's birth date where it is known."""

    today: date
    born: date | None = None


def checked(
    fields: Iterable[Field], values: Mapping[str, Value], calendar: Calendar, together: Iterable[tuple[str, str]] = ()
) -> CheckedEntry:
    """The entry with a value for every field of the table. Raises EntryRefused with every error, of single fields and `together`.

    `together`: what is wrong with fields in view of each other or of the patient, each as a field's name and a sentence.
    """
    fields = list(fields)
    errors = check_values(fields, values, calendar)
    for name, sentence in together:
        errors.setdefault(name, []).append(sentence)
    if errors:
        raise EntryRefused(errors)
    return CheckedEntry(complete(fields, values))


def complete(fields: Iterable[Field], values: Mapping[str, Value]) -> dict[str, Value]:
    """Every column of the table, None where nothing was entered. A name that no field has is a fault of the program."""
    fields = list(fields)
    names = [name for field in fields for name in (field.name, field.precision) if name]
    unknown = set(values) - set(names)
    if unknown:
        raise ValueError(f"no field of this table: {', '.join(sorted(unknown))}")
    found: dict[str, Value] = {name: values.get(name) for name in names}
    for field in fields:
        if field.precision and found[field.name] is not None and found[field.precision] is None:
            found[field.precision] = "day"
    return found


def check_values(
    fields: Iterable[Field], values: Mapping[str, Value], calendar: Calendar, *, prefix: str = ""
) -> Errors:
    """What is wrong, by field name with the prefix; empty when all is well."""
    fields = list(fields)
    found = complete(fields, values)
    errors: Errors = {f"{prefix}{field.name}": [*problems_of(field, found[field.name], calendar)] for field in fields}
    for field in (each for each in fields if each.kind == Kind.DAY):
        errors[f"{prefix}{field.name}"] += _day_problems(field, fields, found, calendar)
    for field in (each for each in fields if each.beside):
        errors[f"{prefix}{field.name}"] += _beside_problems(field, fields, found)
    return {name: sentences for name, sentences in errors.items() if sentences}


def _beside_problems(field: Field, fields: list[Field], found: Mapping[str, Value]) -> list[Sentence]:
    """`other` always has its text, and no other word has one."""
    choice = named(fields, field.beside)
    chosen, text = found[choice.name], found[field.name]
    says_other = OTHER in chosen if isinstance(chosen, tuple) else chosen == OTHER
    if says_other and not text:
        return [phrase("“%(other)s” needs a word of what it is.", other=choice.words[OTHER])]
    if text and not says_other:
        return [
            phrase(
                "This goes with “%(other)s”. Choose that under “%(field)s”, or leave this empty.",
                other=choice.words[OTHER],
                field=choice.label,
            )
        ]
    return []


def _day_problems(field: Field, fields: list[Field], found: Mapping[str, Value], calendar: Calendar) -> list[str]:
    """A day in the future is pointed to the planned one only where there is one."""
    on = found[field.name]
    if not isinstance(on, date):
        return []
    planned = any(each.tense == Tense.AHEAD for each in fields)
    return check_day(
        on, field.tense, calendar, said=day_words(on, str(found.get(field.precision) or "day")), planned=planned
    )


def problems_of(field: Field, value: Value, calendar: Calendar) -> list[str]:
    """What is wrong with one value; TypeError for one that no reader makes of this kind of field."""
    if value is None or value in ("", (), {}):
        return [missing_sentence(field)] if field.required else []
    if not isinstance(value, _TYPES[field.kind]) or (isinstance(value, bool) and field.kind != Kind.YES_NO):
        raise TypeError(f"{field.name} is a {field.kind}, which is never {value!r}")
    return _CHECKS[field.kind](field, value, calendar)


def missing_sentence(field: Field) -> str:
    if field.kind == Kind.CHOICE:
        return _choose(field)
    return f"Enter the {field.label[0].lower()}{field.label[1:]}."


def _choose(field: Field) -> str:
    """Long lists are not read out, nor those that could not be told apart by their commas."""
    if len(field.words) > LONG_LIST or any("," in word for word in field.words.values()):
        return f"Choose one of the list under {field.label.lower()}."
    return f"Choose one of: {listed(field.words.values())}."


def check_day(on: date, tense: Tense, calendar: Calendar, *, said: str = "", planned: bool = False) -> list[str]:
    """What speaks against a day on which something was done to the patient, or on which it is planned.

    `said`: the day as exactly as it was typed, in words; `planned`: what is to come can be entered beside it.
    """
    if tense == Tense.PAST:
        return _done_on(on, calendar, said or day_words(on), planned=planned)
    if tense == Tense.AHEAD:
        return _planned_on(on, calendar.today)
    return _born_on(on, calendar.today) if tense == Tense.BIRTH else []


def listed(words: Iterable[str]) -> str:
    return ", ".join(words)


def _done_on(on: date, calendar: Calendar, said: str, *, planned: bool) -> list[str]:
    if on > calendar.today:
        instead = "Enter a day in the future as the planned day." if planned else "Check the day."
        return [f"{said} is after today ({day_words(calendar.today)}). {instead}"]
    if calendar.born is not None and on < calendar.born:
        return [f"{said} is before the birth date ({day_words(calendar.born)}). Check the year of both."]
    if on < EARLIEST:
        return [f"{said} is before {EARLIEST.year}. Check the year."]
    return []


def _planned_on(on: date, today: date) -> list[str]:
    if on < today:
        return [
            f"{day_words(on)} has passed. If the operation was done, enter it as the day of surgery; otherwise enter the new day."
        ]
    if on > today + timedelta(days=AHEAD_DAYS):
        return [f"{day_words(on)} is more than five years ahead. Check the year."]
    return []


def _born_on(born: date, today: date) -> list[str]:
    if born > today:
        return [f"{day_words(born)} is after today ({day_words(today)}). Check the year."]
    if born < anniversary(today, -OLDEST_YEARS):
        return [f"{born} is more than {OLDEST_YEARS} years ago. Check the year."]
    return []


def _word(field: Field, value: Value, _calendar: Calendar) -> list[str]:
    return [] if value in field.words else [_choose(field)]


def _several(field: Field, value: Value, _calendar: Calendar) -> list[str]:
    chosen = value if isinstance(value, tuple) else ()
    known = all(word in field.words for word in chosen) and len(set(chosen)) == len(chosen)
    return [] if known else [f"Choose of: {listed(field.words.values())}; each once."]


def _text(field: Field, value: Value, _calendar: Calendar) -> list[str]:
    return text_problems(str(value), field.longest)


def text_problems(text: str, longest: int | None) -> list[str]:
    """What is wrong with a typed text: too long, or signs that no printer has. Lines may be several."""
    found = []
    if longest is not None and len(text) > longest:
        found.append(f"This is longer than {longest} characters; shorten it.")
    if not all(sign == "\n" or sign.isprintable() for sign in text):
        found.append("This holds a sign that cannot be printed.")
    return found


def _list(field: Field, value: Value, calendar: Calendar) -> list[str]:
    return _text(field, "\n".join(value) if isinstance(value, tuple) else "", calendar)


def _by_language(field: Field, value: Value, _calendar: Calendar) -> list[str]:
    texts = value if isinstance(value, Mapping) else {}
    return [f"{code}: {sentence}" for code, text in texts.items() for sentence in text_problems(text, field.longest)]


def _number(field: Field, value: Value, _calendar: Calendar) -> list[str]:
    if field.least is None or field.most is None or not isinstance(value, int | float):
        return []
    if field.least <= value <= field.most:
        return []
    unit = f" {field.unit}" if field.unit else ""
    return [f"{field.label} lies between {field.least:g} and {field.most:g}{unit}."]


def _nothing_more(_field: Field, _value: Value, _calendar: Calendar) -> list[str]:
    return []


_TYPES: dict[Kind, type | tuple[type, ...]] = {
    Kind.CHOICE: str,
    Kind.CODED: str,
    Kind.TEXT: str,
    Kind.LINES: str,
    Kind.SEVERAL: tuple,
    Kind.LIST: tuple,
    Kind.BY_LANGUAGE: Mapping,
    Kind.NUMBER: (int, float),
    Kind.WHOLE: int,
    Kind.YES_NO: bool,
    Kind.DAY: date,
}
_CHECKS: dict[Kind, Callable[[Field, Value, Calendar], list[str]]] = {
    Kind.CHOICE: _word,
    Kind.SEVERAL: _several,
    Kind.CODED: _text,
    Kind.TEXT: _text,
    Kind.LINES: _text,
    Kind.LIST: _list,
    Kind.BY_LANGUAGE: _by_language,
    Kind.NUMBER: _number,
    Kind.WHOLE: _number,
    Kind.YES_NO: _nothing_more,
    Kind.DAY: _nothing_more,  # checked with its precision
}
