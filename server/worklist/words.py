"""The sentences of the worklist: what waits, why, and for how long. Words only; nothing here decides."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import reduce

from scoring.library import Library
from server.queries.chosen import Chosen, item_of
from server.schedule.after_contact import MESSAGE, RESTING
from server.words import labels
from server.words.languages import direction_of
from server.words.phrase import ByLanguage, LanguageName, Phrase, counted_phrase, phrase, phrase_in
from server.words.timepoints import timepoint_words
from server.worklist.contact_history import Calls

ACTIONS = {
    "safety_answer": phrase_in("action", "Call"),
    "said_died": phrase_in("action", "Look"),
    "asked_for_call": phrase_in("action", "Called"),
    "asked_to_stop": phrase_in("action", "Look"),
    "said_wrong_person": phrase_in("action", "Look"),
    "said_wrong_side": phrase_in("action", "Look"),
    "said_wrong_date": phrase_in("action", "Look"),
    "held": phrase_in("action", "Look"),
    "locked_link": phrase_in("action", "Unlock"),
    "operated_elsewhere": phrase_in("action", "Confirm"),
    "event_reported": phrase_in("action", "Look"),
    "contact_change": phrase_in("action", "Update"),
    "lost_proposal": phrase_in("action", "Look"),
    "consent_again": phrase_in("action", "Ask"),
    "event_left_behind": phrase_in("action", "Look"),
    "surgery_passed": phrase_in("action", "Confirm"),
    "baseline_missing": phrase_in("action", "Send now"),
    "non_responder": phrase_in("action", "Called"),
    "overdue": phrase_in("action", "Remind"),
    "withheld": phrase_in("action", "Look"),
    "later": phrase_in("action", "Look"),
    "due": phrase_in("action", "Look"),
}
_CALLS, _SENDS = ("safety_answer", "asked_for_call", "operated_elsewhere"), ("baseline_missing", "overdue")
HELD = {
    "unknown_key": phrase("it was sealed for a key that this clinic never had"),
    "needs_key": phrase("a key it needs is not in the key folder; the data manager can bring it back"),
    "not_opened": phrase("it does not open: cut off or altered on the way"),
    "wrong_answer_key": phrase("it was sealed with another link or birth date than this patient's"),
    "not_json": phrase("what lies inside is not a form"),
    "unknown_form": phrase("it answers a form that does not belong to this link"),
    "answers_not_valid": phrase("at least one answer is not among those the form offers"),
    "plan_unusable": phrase("the plan of its follow-up cannot be used now; the data manager can bring it back"),
    "text_not_sent": phrase("it names words, or a language, that this clinic did not send"),
    "replaced_link": phrase("it came by a link that had been replaced before"),
    "same_id_other_content": phrase("two forms came under one number with different content"),
    "erased": phrase("the patient's answers were erased; this form came later"),
    "fault": phrase("the server met an error of its own while reading it"),
}
CHANNELS = {
    "email": phrase("e-mail"),
    "sms": phrase("text messages, by hand"),
    "letter": phrase("letters"),
    "telephone": phrase("telephone"),
}
CHANNELS_WITHOUT_ADDRESS = {
    "email": phrase("e-mail, but no e-mail address"),
    "sms": phrase("text messages, but no telephone number"),
    "letter": phrase("letters, but no postal address"),
    "telephone": phrase("telephone, but no telephone number"),
}
TRIED = {
    "reached": phrase_in("result", "reached"),
    "no_answer": phrase_in("result", "no answer"),
    "wrong_number": phrase_in("result", "wrong number"),
    "left_message": phrase_in("result", "left a message"),
    "promised": phrase_in("result", "promised to answer"),
    "declined": phrase_in("result", "does not want to"),
    "too_ill": phrase_in("result", "too ill now"),
    "language": phrase_in("result", "no common language"),
    "no_device": phrase_in("result", "has nothing to answer on"),
    "other": phrase_in("result", "other"),
}
_FIRST_STRONG_ISOLATE, _POP_ISOLATE = "\u2068", "\u2069"
_UNSENT = {
    "no_contact": phrase("no message could be sent: there is no address to send to"),
    "no_consent": phrase("no message could be sent: there is no consent to contact"),
    "messages_stopped": phrase("no message was sent: the patient asked for none then"),
    "channel_failed": phrase("no message could be sent: sending failed"),
    "returned": phrase("the message came back undelivered"),
}


def action(kind: str, *, no_messages: bool, no_contact: bool, no_consent: bool = False) -> Phrase:
    """The word of a row's button: it offers no call and no message to who asked for none, and asks for a consent that is missing."""
    if no_contact and kind in _CALLS:
        return phrase_in("action", "Look")
    if no_consent and kind in _SENDS:
        return phrase_in("action", "Ask")
    return phrase_in("action", "Called") if no_messages and kind in _SENDS else ACTIONS[kind]


def days_ago(on: date, today: date) -> Phrase:
    days = (today - on).days
    if days in (0, 1):
        return phrase("yesterday") if days else phrase("today")
    return (
        counted_phrase("%(number)s day ago", "%(number)s days ago", days)
        if 1 < days < 60
        else phrase("on %(day)s", day=on)
    )


def days_left(closes_on: date | None, today: date) -> Phrase:
    """Until when an answer is taken, which is later than the day by which it is asked for."""
    if closes_on is None:
        return phrase("No closing day yet.")
    days = (closes_on - today).days
    if days <= 0:
        return phrase("Today is the last day.")
    return counted_phrase(
        "Closes on %(day)s, %(number)s day left.", "Closes on %(day)s, %(number)s days left.", days, day=closes_on
    )


def title(side: str | None, code: str | None) -> Phrase | str:
    """The shoulder, and the timepoint if there is one; empty where neither is known."""
    if side is None:
        return timepoint_words(code) if code else ""
    shoulder = labels.SHOULDER[side]
    return (
        phrase("%(shoulder)s, %(timepoint)s", shoulder=shoulder, timepoint=timepoint_words(code)) if code else shoulder
    )


def age(born: date, today: date) -> int:
    return today.year - born.year - ((today.month, today.day) < (born.month, born.day))


def topics(asked: Sequence[tuple[str, Chosen | None]], library: Library) -> Phrase | str:
    """What the items ask, by their definitions, and what was chosen of each; an item nobody knows any more stays a number."""
    said: list[Phrase | str] = []
    for item, chosen in asked:
        one = topic(item, chosen, library)
        if one not in said:
            said.append(one)
    return reduce(lambda some, one: phrase("%(some)s; %(one)s", some=some, one=one), said) if said else ""


def topic(name: str, chosen: Chosen | None, library: Library) -> Phrase | str:
    """What one item asks; where the answer is more than yes or no, the option that was chosen, in the words that were read.

    To who reads another language it is also said in that one, if the item has words in it.
    """
    item = item_of(name, library)
    if item is None:
        return name
    if chosen is None or not chosen.option:
        return item.topic
    quoted = f"“{isolated(chosen)}”"
    if not chosen.translated:
        return f"{item.topic}: {quoted}"
    both = {
        tag: phrase("%(quoted)s (%(translated)s)", quoted=quoted, translated=said)
        for tag, said in translated(chosen).items()
    }
    return phrase("%(topic)s: %(answer)s", topic=item.topic, answer=ByLanguage(both, quoted))


def translated(chosen: Chosen) -> dict[str, Phrase]:
    """By the language of who reads it now: the chosen option as the text of that language has it, which the patient did not read."""
    return {
        tag: phrase("in %(language)s: “%(option)s”", language=LanguageName(tag), option=option)
        for tag, option in chosen.translated.items()
    }


def isolated(chosen: Chosen) -> str:
    """The option, kept from turning the sentence around it where it is written from right to left."""
    if direction_of(chosen.language) == "rtl":
        return f"{_FIRST_STRONG_ISOLATE}{chosen.option}{_POP_ISOLATE}"
    return chosen.option


def unread(asked: Iterable[Chosen | None]) -> Phrase | None:
    """Why an option is not named; the first reason of several."""
    return next((chosen.unread for chosen in asked if chosen is not None and chosen.unread is not None), None)


def emergency(asked: Iterable[Chosen | None]) -> Phrase | None:
    """That one of the answers is for the emergency number."""
    if not any(chosen is not None and chosen.emergency for chosen in asked):
        return None
    return phrase("After this answer the form says to call the emergency number at once.")


def messages(
    outcomes: Mapping[str, int], stopped_on: date | None = None, *, consents: bool = True, by_itself: bool = True
) -> Phrase:
    """What became of the messages about one timepoint. `stopped_on`: since when the patient wants none.

    `by_itself`: whether any way to the patient is one that the program takes.
    """
    if stopped_on is not None:
        return phrase("no message goes: the patient asked for none on %(day)s", day=stopped_on)
    if not consents:
        return phrase("no message goes: there is no consent to contact")
    if outcomes.get("sent"):
        return counted_phrase(
            "%(count)s message sent, no answer", "%(count)s messages sent, no answer", outcomes["sent"]
        )
    if not by_itself:
        return phrase("no message goes by itself: reach them by hand")
    unsent = next((said for outcome, said in _UNSENT.items() if outcomes.get(outcome)), None)
    return unsent or phrase("no message sent yet")


def texts(ids: Sequence[str]) -> Phrase | str:
    """One text by its id, several by their number: the page Texts names them."""
    return ids[0] if len(ids) == 1 else counted_phrase("%(count)s text of it", "%(count)s texts of it", len(ids))


def kept_back(ids: Sequence[str], *, over: bool = False) -> Phrase:
    """Why: texts may not be sent, or, where an id is no more than instrument and language, there is none."""
    missing, stopped = [each for each in ids if each.count("/") == 1], [each for each in ids if each.count("/") > 1]
    said = []
    if stopped:
        said.append(
            phrase("%(texts)s might not be sent", texts=texts(stopped))
            if over
            else phrase("%(texts)s may not be sent", texts=texts(stopped))
        )
    if missing:
        what = _instruments(missing)
        said.append(
            phrase("there was no text of %(instruments)s in a language of this clinic", instruments=what)
            if over
            else phrase("there is no text of %(instruments)s in a language of this clinic", instruments=what)
        )
    return said[0] if len(said) == 1 else phrase("%(one)s and %(other)s", one=said[0], other=said[1])


def _instruments(ids: Sequence[str]) -> Phrase | str:
    if len(ids) == 1:
        return ids[0].split("/")[0]
    return counted_phrase("%(count)s instrument", "%(count)s instruments", len(ids))


def calls(tried: Calls, today: date) -> Phrase | None:
    """How often, when last, and what came of it."""
    if tried.last_on is None:
        return None
    when, result = days_ago(tried.last_on, today), TRIED[tried.result]
    if tried.count == 1:
        return phrase("Tried to reach once, %(when)s: %(result)s.", when=when, result=result)
    return counted_phrase(
        "Tried to reach %(count)s time, last %(when)s: %(result)s.",
        "Tried to reach %(count)s times, last %(when)s: %(result)s.",
        tried.count,
        when=when,
        result=result,
    )


def rest(last_try: str, again_on: date | None) -> Phrase:
    """Until when a row asks for nothing, and what goes on meanwhile."""
    if again_on is None:
        return phrase("Not wanted: no reminder about it goes any more. It can still be answered.")
    if last_try in RESTING:
        return phrase("Back on %(day)s unless an answer comes; reminders rest until then.", day=again_on)
    if last_try == MESSAGE:
        return phrase("A message was sent by hand. Back on %(day)s unless an answer comes.", day=again_on)
    return phrase("Back on %(day)s unless an answer comes.", day=again_on)
