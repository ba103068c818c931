"""How staff pages say things: numbers, days, codes of the database. The words are those of the design's glossary."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from server.fields.operation import IMPLANT_TYPES, OPERATION_KINDS
from server.fields.person import ATTEMPT_CHANNELS, ATTEMPT_RESULTS, CONSENT_KINDS, SEXES
from server.words.language import Words

SMALL = (
    *(
        "no",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
        "thirteen",
    ),
    *("fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty"),
)
MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)

STATUS = {
    "upcoming": "to come",
    "open": "open",
    "overdue": "overdue",
    "non_responder": "no answer",
    "missed": "missed",
    "withheld": "could not be asked",
    "answered": "answered",
    "late": "answered late",
    "early": "answered early",
    "not_expected": "not expected",
}
WINDOW = {
    "early": "before its window",
    "in": "in its window",
    "late": "after its window",
    "off_schedule": "outside the plan",
    "recalled": "recalled after surgery",
}
MODE = {
    "own_phone": "own phone",
    "clinic_tablet": "tablet at the clinic",
    "telephone": "telephone",
    "paper": "paper",
    "imported": "imported",
}
ANSWERED_BY = {
    "patient": "the patient",
    "patient_with_help": "the patient, with help",
    "someone_else": "someone else",
    "staff": "staff",
    "unknown": "unknown",
}
ROLE = {"nurse": "nurse", "surgeon": "surgeon", "data_manager": "data manager"}
IMPLANT = IMPLANT_TYPES
KIND = OPERATION_KINDS
CHANNEL = ATTEMPT_CHANNELS
RESULT = ATTEMPT_RESULTS
SEX = SEXES
ITEM_STATE = {
    "answered": "answered",
    "declined": "preferred not to answer",
    "skipped": "not asked, because of an earlier answer",
    "not_reached": "not reached",
    "not_applicable": "does not apply",
}
FLAG = {
    "safety_answer": "safety answer",
    "contact_change": "contact changed",
    "operated_elsewhere": "to check",
    "lost_proposal": "lost?",
    "clock_wrong": "clock wrong",
    "erased": "erased",
}
LANGUAGE = {
    "en": "English",
    "es": "Spanish",
    "ar": "Arabic",
    "de": "German",
    "fa": "Persian",
    "fr": "French",
    "he": "Hebrew",
    "it": "Italian",
    "nl": "Dutch",
    "pl": "Polish",
    "pt": "Portuguese",
    "ro": "Romanian",
    "tr": "Turkish",
    "ur": "Urdu",
}
CONSENT = CONSENT_KINDS
END = {
    "died": "died",
    "withdrew": "withdrew",
    "transferred": "moved to another clinic",
    "cancelled": "surgery cancelled",
    "revised": "revised",
}


def plain(code: str | None) -> str:
    """A code without words of its own: underscores become spaces; nothing recorded is said."""
    return "not recorded" if code is None else code.replace("_", " ")


def count_in_words(number: int) -> str:
    """0 to 20 as a word ("no", "one", …), more as digits."""
    return SMALL[number] if 0 <= number < len(SMALL) else f"{number:,}"


def counted(number: int, one: str, many: str | None = None) -> str:
    return f"{count_in_words(number)} {one if number == 1 else many or one + 's'}"


def sentence(text: str) -> str:
    """The first letter large, the rest as it is."""
    return text[:1].upper() + text[1:]


def day(on: date | None) -> str:
    return "" if on is None else f"{on.day} {MONTHS[on.month - 1]} {on.year}"


def short_day(on: date | None) -> str:
    return "" if on is None else f"{on.day} {MONTHS[on.month - 1][:3]} {on.year}"


def moment(at: datetime | None, zone: str) -> str:
    """Day and time at the clinic."""
    if at is None:
        return ""
    there = at.astimezone(ZoneInfo(zone))
    return f"{day(there.date())}, {there:%H:%M}"


def ago(at: datetime, now: datetime) -> str:
    passed = now - at
    if passed < timedelta(hours=1):
        return "less than an hour ago"
    if passed < timedelta(days=2):
        return f"{counted(int(passed.total_seconds() // 3600), 'hour')} ago"
    return f"{counted(passed.days, 'day')} ago"


def age(born: date, on: date) -> int:
    return on.year - born.year - ((on.month, on.day) < (born.month, born.day))


def number(value: float | None) -> str:
    return "none" if value is None else f"{value:.10g}"


def timepoint(code: str) -> str:
    """The words of a code: "baseline" → "before surgery", "week-6" → "6 weeks", "year-7" → "year 7"."""
    head, _, tail = code.partition("-")
    if code == "baseline":
        return "before surgery"
    if head == "week":
        return f"{tail} weeks"
    return f"{head} {tail}".strip()


def listed(parts: list[str]) -> str:
    """Joined as in speech: "a", "a and b", "a, b and c"."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""


def language(code: str) -> str:
    """ "Spanish" for es and "Spanish (es-MX)" for a region of it; a code without a name stays as it is."""
    first = code.split("-")[0]
    name = LANGUAGE.get(first, code)
    return name if code in (first, name) else f"{name} ({code})"


def languages(codes: tuple[str, ...]) -> list[tuple[str, str]]:
    """A clinic's languages with their names, for a choice."""
    return [(code, LANGUAGE.get(code, code)) for code in codes]


ENGLISH = Words("staff", "en")
gettext, ngettext = ENGLISH.gettext, ENGLISH.ngettext
pgettext, npgettext = ENGLISH.pgettext, ENGLISH.npgettext
