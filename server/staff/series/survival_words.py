"""What is said of implant survival: endpoints, how watches ended, who is not watched, and the other readings of the record."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.fields.operation_words import REASONS
from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.series.deaths import FRACTURES
from server.outcomes.series.endpoints import (
    ALREADY_REVERSE,
    EXCHANGE,
    NO_IMPLANT,
    OF_REASON,
    REOPERATION,
    REVISION,
    TO_REVERSE,
    Endpoint,
)
from server.outcomes.series.survival import Survival
from server.outcomes.series.watch import DIED_BEFORE, NOTHING_KNOWN, REVISED_BEFORE
from server.staff.page import words
from server.words.phrase import Phrase, phrase, phrase_in


@dataclass(frozen=True)
class EndpointWords:
    """`name` is the choice, `happened` goes into a question, `so_far` heads the counts; `without`: the share that has not come to it."""

    name: Phrase
    happened: Phrase
    so_far: Phrase
    without: Phrase | None = None


ENDPOINT_WORDS: Mapping[str, EndpointWords] = {
    REVISION: EndpointWords(
        phrase("any revision"),
        phrase_in("implants", "revised"),
        phrase("revised so far"),
        phrase("%(share)s %% still in place"),
    ),
    EXCHANGE: EndpointWords(
        phrase("component exchanged or removed"),
        phrase_in("implants", "revised with a component exchanged or removed"),
        phrase("exchanged so far"),
    ),
    TO_REVERSE: EndpointWords(
        phrase("conversion to a reverse"), phrase_in("implants", "converted to a reverse"), phrase("converted so far")
    ),
    REOPERATION: EndpointWords(
        phrase("any re-operation"),
        phrase_in("implants", "operated on again"),
        phrase("operated on again"),
        phrase("%(share)s %% not operated on again"),
    ),
    OF_REASON: EndpointWords(
        phrase("revision for one primary reason"),
        phrase_in("implants", "revised for %(reason)s"),
        phrase("revised for it"),
    ),
}
# In the order in which the sum is said; `event` by the endpoint.
ENDED: Mapping[str, Phrase] = {
    "other_revision": phrase("revised otherwise"),
    "died": phrase("died with the implant in place"),
    "in_place": phrase("known to be in place within the last two years"),
    "known_earlier": phrase("last known earlier"),
    "said_operated": phrase("said to be operated on again, with no such operation recorded"),
}
APART: Mapping[str, Phrase] = {
    REVISED_BEFORE: phrase("revised before the watch began"),
    DIED_BEFORE: phrase("dead before the watch began"),
    NOTHING_KNOWN: phrase("of which nothing is known since the watch began"),
    NO_IMPLANT: phrase("without an implant"),
    ALREADY_REVERSE: phrase("a reverse already"),
}
READINGS: Mapping[str, Phrase] = {
    "confirmed": phrase("only what is confirmed: what the patient alone said ends the watch"),
    "first_shoulder": phrase("only the first shoulder of each person"),
    "known_to_the_end": phrase("whoever is not heard of is taken to be in place to the as-of date"),
    "planned_looks": phrase("what came to light after the last answered form ends with that form"),
    "shortest": phrase("days not known exactly: the shortest time they allow"),
    "longest": phrase("days not known exactly: the longest time they allow"),
    "said_counts": phrase("a re-operation of which only a source tells counts as one"),
}


def endpoint_name(endpoint: Endpoint) -> str:
    """As a choice and under a figure."""
    name = words.say(ENDPOINT_WORDS[endpoint.name].name)
    return f"{name} ({words.say(REASONS[endpoint.reason])})" if endpoint.name == OF_REASON else name


def happened(endpoint: Endpoint) -> str:
    said = words.say(ENDPOINT_WORDS[endpoint.name].happened)
    return said % {"reason": words.say(REASONS[endpoint.reason])} if endpoint.name == OF_REASON else said


def per_cent(share: float) -> str:
    return words.number(round(share * 100, 1))


def years(time: float) -> str:
    """A time in years, at most one digit after the point."""
    value = round(time, 1)
    if value == 1:
        return words.gettext("1 year")
    return words.gettext("%(number)s years") % {"number": words.number(value)}


def ends(found: Survival) -> str:
    """How each watch ended, as a sum; of nobody watched there is none."""
    if not found.watched:
        return ""
    parts = [(found.ended("event"), happened(found.endpoint))]
    parts += [(found.ended(end), words.say(said)) for end, said in ENDED.items()]
    terms = [f"{words.spoken().count(count)} {said}" for count, said in parts if count or said == parts[0][1]]
    return words.gettext("%(watched)s watched = %(terms)s.") % {
        "watched": words.spoken().count(len(found.watched)),
        "terms": " + ".join(terms),
    }


def apart(found: Survival) -> str:
    """Who is not watched and why; empty where everybody is."""
    parts = [(found.set_apart(reason), words.say(said)) for reason, said in APART.items()]
    terms = [f"{words.spoken().count(count)} {said}" for count, said in parts if count]
    if not terms:
        return ""
    said = words.gettext("Not watched: %(terms)s.") % {"terms": "; ".join(terms)}
    if not found.set_apart(NOTHING_KNOWN):
        return said
    return f"{said} " + words.gettext(
        "Nothing is known where the implant’s state was last told by the day from which a later operation would have become known: an"
        " answer before that day tells nothing of the time after it."
    )


def fractures(found: Survival) -> str:
    """That acute fractures are among the others, where both are watched."""
    broken = sum(each.followed.row.diagnosis in FRACTURES for each in found.watched)
    if not 0 < broken < len(found.watched):
        return ""
    return words.ngettext(
        "%(count)s of them was operated on for an acute fracture and is counted with the others: choose the diagnosis in the sentence to"
        " ask apart.",
        "%(count)s of them were operated on for an acute fracture and are counted with the others: choose the diagnosis in the sentence to"
        " ask apart.",
        broken,
    ) % {"count": words.spoken().count(broken)}


def rate(found: Survival) -> str:
    """Events per 100 component-years; of none, the most that there may have been. Of fewer than ten watched the counts alone."""
    events, time = found.ended("event"), found.component_years
    shown = round(time) if time >= SHOWN_FROM else round(time, 1)
    counts = {"events": events, "years": words.number(shown), "happened": happened(found.endpoint)}
    if not time:
        return ""
    if len(found.watched) < SHOWN_FROM:
        return (
            words.ngettext(
                "%(events)s %(happened)s in %(years)s component-year; fewer than ten are watched, so no rate is given.",
                "%(events)s %(happened)s in %(years)s component-years; fewer than ten are watched, so no rate is given.",
                1 if shown == 1 else 2,
            )
            % counts
        )
    if not events:
        most = words.number(round(100 * found.event_limits().upper / time, 2))
        return words.gettext(
            "None %(happened)s in %(years)s component-years: at most %(most)s per 100 (exact Poisson limit)."
        ) % {**counts, "most": most}
    per_100 = words.number(round(100 * events / time, 2))
    return words.gettext("%(rate)s %(happened)s per 100 component-years (%(events)s in %(years)s).") % {
        **counts,
        "rate": per_100,
    }


def follow_up(found: Survival) -> str:
    """Its median and how many are watched past 2, 5 and 10 years; nothing of nobody."""
    if not found.watched:
        return ""
    median, past = found.follow_up, [found.standing(year).watched for year in (2, 5, 10)]
    counts = words.listed([words.spoken().count(count) for count in past])
    if median is None or len(found.watched) < SHOWN_FROM:
        return words.gettext("Watched past 2, 5 and 10 years: %(counts)s; too few for a median of follow-up.") % {
            "counts": counts
        }
    return words.gettext(
        "Follow-up: median %(median)s, by the reverse Kaplan-Meier; watched past 2, 5 and 10 years: %(counts)s."
    ) % {"median": years(median), "counts": counts}


def watched_from(found: Survival, searched: str) -> str:
    """Who entered late; `searched`: the years of surgery that the clinic searched, as the setting says them."""
    late = sum(each.entry > 0 for each in found.watched)
    if not found.watched:
        said = words.gettext("Nobody is watched.")
    elif late:
        said = words.gettext(
            "%(late)s of %(watched)s entered late: operated before their follow-up began, and watched from then on."
            " Their first years are not counted as survived."
        ) % {"late": words.spoken().count(late), "watched": words.spoken().count(len(found.watched))}
    else:
        said = words.gettext("All are watched from surgery on.")
    if searched:
        return f"{said} " + words.gettext("Every operation of these years was searched for later ones: %(years)s.") % {
            "years": searched
        }
    return said


def curve_reads(found: Survival) -> str:
    """From when to when there is a curve, and what it is a share of."""
    drawn = found.drawn
    if drawn is None:
        return words.gettext(
            "There were never ten implants watched at one time, so no curve is drawn: one more or less would move it too far."
        )
    said = words.gettext("Lines are thin where fewer than forty are watched, and end at ten: here at %(end)s.") % {
        "end": years(drawn.end)
    }
    if drawn.start:
        return f"{said} " + words.gettext(
            "They begin at %(start)s, the first time with ten watched, and are shares of those not yet revised then."
        ) % {"start": years(drawn.start)}
    return said


def failed_sum(name: str, time: float, expected: int, found: int) -> str:
    said = {
        "followed": phrase("The watched and the not watched are %(found)s shoulders, and there are %(expected)s."),
        "ends": phrase("The ends of the watch are %(found)s, and %(expected)s are watched."),
        "watched": phrase("At %(time)s the entered less those who ended are %(found)s, and %(expected)s are watched."),
    }[name]
    return words.say(said) % {"found": found, "expected": expected, "time": years(time)}
