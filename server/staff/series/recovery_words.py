"""Recovery in words: what it says, how to read it with care, and which sums do not hold."""

from collections.abc import Mapping, Sequence
from math import floor

from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.series.lasting_yes import LOOKS_IN_YEAR_1, LastingYes
from server.outcomes.series.recovery import Recovery, Window
from server.outcomes.series.returns import Returned
from server.outcomes.series.waiting_times import WaitingTimes
from server.staff.page import words
from server.staff.series.share_words import with_limits
from server.words.phrase import Phrase, phrase

WINDOWS: Mapping[str, tuple[Phrase, Phrase]] = {
    "week-6": (phrase("6 weeks"), phrase("6 wk")),
    "month-3": (phrase("3 months"), phrase("3 mo")),
    "month-6": (phrase("6 months"), phrase("6 mo")),
    "year-1": (phrase("1 year"), phrase("1 y")),
    "year-2": (phrase("2 years"), phrase("2 y")),
}
HEADINGS: Mapping[str, Phrase] = {
    "work": phrase("Back at work"),
    "sport": phrase("Back at sport"),
    "driving": phrase("Driving again"),
    "lasting": phrase("Yes that lasts"),
}
PLACES: Mapping[str, Phrase] = {
    **{code: full for code, (full, _short) in WINDOWS.items()},
    **HEADINGS,
}
SUMS: Mapping[str, Phrase] = {
    "meant": phrase("shoulders that the sentence means"),
    "states": phrase("all states together"),
    "asked": phrase("who was asked"),
    "planned": phrase("who was asked often enough"),
}


def question() -> str:
    return words.gettext("How long is recovery?")


def lead(recovery: Recovery) -> str:
    said = words.gettext(
        "Dots: of those alive at each window, how many call the shoulder acceptable, a revised shoulder counting as no, "
        "with %(level)s %% limits by patient."
    ) % {"level": 95}
    if not any(events(recovery)):
        return said
    return f"{said} " + words.gettext(
        "Steps: weeks as patients tell them. A pale box is a time between two looks: it happened in it, nobody knows where."
    )


def events(recovery: Recovery) -> list[int]:
    """How many waited, for each of what is waited for."""
    return [*(len(each.times.events) for each in recovery.returns), len(recovery.lasting.times.events)]


def says(recovery: Recovery) -> list[str]:
    """The windows in their order, then the quartiles of each wait with the interval in which they lie."""
    shown = [window for window in recovery.windows if window.standings.drawn and window.standings.acceptable]
    found = []
    if shown:
        told = words.listed([_window(window) for window in shown])
        found.append(words.gettext("Acceptable by their own answer: %(windows)s.") % {"windows": told})
    else:
        found.append(_nothing(recovery))
    found += [said for each in recovery.returns if (said := _returned(each))]
    if lasting := _lasting(recovery.lasting):
        found.append(lasting)
    return found


def _window(window: Window) -> str:
    said = words.gettext("%(window)s %(share)s of %(count)s")
    return said % {
        "window": words.say(WINDOWS[window.code][0]),
        "share": with_limits(window.standings.acceptable),
        "count": window.standings.basis,
    }


def _returned(each: Returned) -> str:
    if len(each.times.events) < SHOWN_FROM:
        return ""
    return words.gettext("%(heading)s, of %(count)s who did it before: %(quartiles)s.") % {
        "heading": words.say(HEADINGS[each.activity]),
        "count": len(each.times.events),
        "quartiles": quartiles(each.times),
    }


def _lasting(each: LastingYes) -> str:
    if len(each.times.events) < SHOWN_FROM:
        return ""
    return words.gettext("A first yes that lasts, of %(count)s asked often enough: %(quartiles)s.") % {
        "count": len(each.times.events),
        "quartiles": quartiles(each.times),
    }


def quartiles(times: WaitingTimes) -> str:
    """By which week a quarter, a half and three quarters of all had it: an interval where that is all that is known."""
    if not times.steps:
        return words.gettext("nobody yet")
    named = (
        (0.25, words.gettext("a quarter %(when)s")),
        (0.5, words.gettext("half %(when)s")),
        (0.75, words.gettext("three quarters %(when)s")),
    )
    return "; ".join(said % {"when": _when(times.quantile(share))} for share, said in named)


def _when(found: tuple[float, float] | None) -> str:
    if found is None:
        return words.gettext("not reached")
    left, right = (week_number(week) for week in found)
    if left == right:
        return words.gettext("by week %(week)s") % {"week": right}
    return words.gettext("between weeks %(left)s and %(right)s") % {"left": left, "right": right}


def week_number(week: float) -> int:
    return floor(week + 0.5)


def _nothing(recovery: Recovery) -> str:
    if not any(window.come for window in recovery.windows):
        return words.gettext("No window of the first two years has closed for anybody whom the sentence means.")
    if all(window.standings.counts["dead"] == window.come for window in recovery.windows):
        return words.gettext("Everybody whose window has closed had died before it.")
    return words.gettext("Fewer than %(shown)s unrevised answered at each window: no share is drawn.") % {
        "shown": SHOWN_FROM
    }


def care(recovery: Recovery) -> list[str]:
    """What the numbers leave open."""
    yes, told = recovery.before
    found = [
        words.gettext("Before surgery %(yes)s of %(told)s called it acceptable already. "
"That tells how people come to it and is no outcome.")
        % {"yes": yes, "told": told}
        if told
        else words.gettext("Nobody was asked before surgery whether the shoulder was acceptable then.")
    ]  # fmt: skip
    found += _not_of_all(recovery.windows)
    if any(each.times.events for each in recovery.returns):
        found.append(
            words.gettext(
                "Shares are of those who did it before. Who has not gone back yet is waited for until last heard of; "
                "who will not for another reason, or was revised or died before the next planned form, ends the wait without it. "
                "Of whoever was revised or died later nobody knows whether they had gone back by then."
            )
        )
    if recovery.fractures:
        found.append(
            words.ngettext(
                "%(count)s shoulder was operated on for an acute fracture: its wait began with the injury, "
                "and what was said before is left out.",
                "%(count)s shoulders were operated on for an acute fracture: their wait began with the injury, "
                "and what was said before is left out.",
                recovery.fractures,
            )
            % {"count": recovery.fractures}
        )
    otherwise = sum(each.told_otherwise for each in recovery.returns)
    if otherwise:
        found.append(
            words.ngettext(
                "%(count)s told week does not fit the person’s own earlier answer; only the time between the two is used.",
                "%(count)s told weeks do not fit the person’s own earlier answers; only the time between the two is used.",
                otherwise,
            )
            % {"count": otherwise}
        )
    return found + _of_lasting(recovery.lasting) + _unread(recovery)


def _not_of_all(windows: Sequence[Window]) -> list[str]:
    """Which windows fewer people have by their plans than the others."""
    planned = {window.code: window.come + window.to_come for window in windows}
    fewer = [words.say(WINDOWS[code][0]) for code, count in planned.items() if count < max(planned.values())]
    if not fewer:
        return []
    said = words.gettext("The windows hold different people: not every plan of these shoulders asks at %(windows)s.")
    return [said % {"windows": words.listed(fewer)}]


def _of_lasting(lasting: LastingYes) -> list[str]:
    if not lasting.planned:
        return [
            words.gettext("No plan of these shoulders asks %(looks)s times in the first year, so no time to a yes that lasts is told.")
            % {"looks": LOOKS_IN_YEAR_1}
        ]  # fmt: skip
    found = [
        words.gettext(
            "A yes lasts when the next answer is yes too; a single last yes is not counted. "
            "Apart: %(before)s said yes before surgery already, "
            "%(one)s said one yes and nothing before it, %(silent)s gave no answer."
        )
        % {"before": lasting.yes_before, "one": lasting.one_yes, "silent": lasting.unanswered}
    ]
    if lasting.no_baseline:
        found.append(
            words.ngettext(
                "%(count)s of all who waited did not answer before surgery and may have had nothing to wait for.",
                "%(count)s of all who waited did not answer before surgery and may have had nothing to wait for.",
                lasting.no_baseline,
            )
            % {"count": lasting.no_baseline}
        )
    return found


def _unread(recovery: Recovery) -> list[str]:
    if not recovery.unread:
        return []
    said = words.ngettext(
        "The answers of %(count)s form do not open and are counted as not answered. Tell the data manager.",
        "The answers of %(count)s forms do not open and are counted as not answered. Tell the data manager.",
        recovery.unread,
    )
    return [said % {"count": recovery.unread}]


def failed_sums(recovery: Recovery) -> tuple[str, ...]:
    """In words, which sums do not hold."""
    return tuple(
        words.gettext("At “%(place)s” there should be %(should)s by “%(sum)s”, and %(now)s were counted.")
        % {"place": words.say(PLACES[place]), "should": should, "sum": words.say(SUMS[name]), "now": now}
        for place, name, should, now in recovery.failed_sums()
    )
