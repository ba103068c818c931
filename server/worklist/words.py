"""The sentences of the worklist: what waits, why, and for how long. Words only; nothing here decides."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from scoring.library import Library, UnknownInstrument
from server.words.timepoints import timepoint_words

ACTIONS = {
    "safety_answer": "Call",
    "held": "Look",
    "locked_link": "Unlock",
    "operated_elsewhere": "Confirm",
    "contact_change": "Update",
    "surgery_passed": "Confirm",
    "baseline_missing": "Send now",
    "non_responder": "Call",
    "overdue": "Remind",
    "withheld": "Look",
    "due": "Look",
}
HELD = {
    "unknown_key": "it was sealed for a key that this clinic never had",
    "needs_key": "a key it needs is not in the key folder; the data manager can bring it back",
    "not_opened": "it does not open: cut off or altered on the way",
    "wrong_answer_key": "it was sealed with another link or birth date than this patient's",
    "not_json": "what lies inside is not a form",
    "unknown_form": "it answers a form that does not belong to this link",
    "answers_not_valid": "at least one answer is not among those the form offers",
    "plan_unusable": "the plan of its follow-up cannot be used now; the data manager can bring it back",
    "same_id_other_content": "two forms came under one number with different content",
    "erased": "the patient's answers were erased; this form came later",
    "fault": "the server met an error of its own while reading it",
}
CHANNELS = {"email": "e-mail", "sms": "text messages", "letter": "letters", "telephone": "telephone"}
CHANNEL_NEEDS = {
    "email": "e-mail address",
    "sms": "telephone number",
    "letter": "postal address",
    "telephone": "telephone number",
}
_UNSENT = {
    "no_contact": "there is no address to send to",
    "no_consent": "there is no consent to contact",
    "channel_failed": "sending failed",
}
_SMALL = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def counted(number: int, one: str, many: str | None = None) -> str:
    """ "one message", "four messages", "12 messages"."""
    word = _SMALL[number] if number < len(_SMALL) else str(number)
    return f"{word} {one if number == 1 else many or one + 's'}"


def day(on: date) -> str:
    return f"{on.day} {on:%B %Y}"


def days_ago(on: date, today: date) -> str:
    days = (today - on).days
    return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago" if 1 < days < 60 else f"on {day(on)}")


def ago(at: datetime, now: datetime) -> str:
    """For what may matter within the day: hours, then days."""
    hours = int((now - at).total_seconds() // 3600)
    if hours < 1:
        return "within the last hour"
    return f"{counted(hours, 'hour')} ago" if hours < 48 else f"{counted(hours // 24, 'day')} ago"


def days_left(days: int | None) -> str:
    if days is None:
        return "No closing day yet."
    return "Today is the last day." if days == 0 else f"{days} {'day' if days == 1 else 'days'} left."


def title(side: str | None, code: str | None) -> str:
    shoulder = f"{side.capitalize()} shoulder" if side else ""
    return ", ".join(word for word in (shoulder, timepoint_words(code) if code else "") if word)


def age(born: date, today: date) -> int:
    return today.year - born.year - ((today.month, today.day) < (born.month, born.day))


def topics(items: list[str], library: Library) -> str:
    """What the items ask, by their definitions; an item nobody knows any more stays a number."""
    return "; ".join(dict.fromkeys(topic(item, library) for item in items))


def topic(name: str, library: Library) -> str:
    """What one item asks; where only some of several answers warn, which ones."""
    spec, _, number = name.partition("/")
    try:
        item = library.instrument(spec).by_item[number]
    except (UnknownInstrument, KeyError):
        return name
    if not item.warning or len(item.numbers) == len(("yes", "no")):
        return item.topic
    options = library.texts(spec).get("en", {}).get("items", {}).get(number, {}).get("options", {})
    warned = " or ".join(str(options.get(str(code), code)) for code in item.numbers if code in item.warning)
    return f"{item.topic}: “{warned}”"


def messages(outcomes: Mapping[str, int]) -> str:
    """What became of the messages about one timepoint."""
    if outcomes.get("sent"):
        return f"{counted(outcomes['sent'], 'message')} sent, no answer"
    for outcome, why in _UNSENT.items():
        if outcomes.get(outcome):
            return f"no message could be sent: {why}"
    return "no message sent yet"


def texts(ids: Sequence[str]) -> str:
    """One text by its id, several by their number: the page Texts names them."""
    return ids[0] if len(ids) == 1 else f"{counted(len(ids), 'text')} of it"


def kept_back(ids: Sequence[str], *, over: bool = False) -> str:
    """Why: texts may not be sent, or, where an id is no more than instrument and language, there is none."""
    missing, stopped = [each for each in ids if each.count("/") == 1], [each for each in ids if each.count("/") > 1]
    said = [f"{texts(stopped)} {'might' if over else 'may'} not be sent"] if stopped else []
    if missing:
        what = missing[0].split("/")[0] if len(missing) == 1 else counted(len(missing), "instrument")
        said.append(f"there {'was' if over else 'is'} no text of {what} in a language of this clinic")
    return " and ".join(said)


def calls(count: int, last_on: date | None, today: date) -> str:
    if not count or last_on is None:
        return ""
    when = days_ago(last_on, today)
    return (
        f"ContactTried to reach once, {when}."
        if count == 1
        else f"ContactTried to reach {counted(count, 'time')}, last {when}."
    )


def sentences(*parts: str) -> str:
    """Joined, each with a capital and a full stop; empty ones left out."""
    ended = (part if part.endswith((".", "!", "?")) else f"{part}." for part in parts if part)
    return " ".join(part[:1].upper() + part[1:] for part in ended)
