"""Two shoulders of one person as the page says them: what the figure is drawn from, what it says, and what to read with care."""

from collections.abc import Iterator, Mapping

from server.outcomes.figures.fade import FULL_FROM, SHOWN_FROM
from server.outcomes.figures.preference import Column, Line, PreferenceFigure, Ruler, Tick
from server.outcomes.series.preference import NO_DIFFERENCE, Pair, Preference
from server.staff.page import words
from server.staff.series.groups_words import number, with_limits
from server.staff.series.part import people_words
from server.staff.series.sentence_words import code_words
from server.words.phrase import Phrase, phrase

BEST = 100  # of the own rating
CHANCE = 0.05
_ANSWERED: Mapping[str, Phrase] = {
    NO_DIFFERENCE: phrase("see no difference"),
    "unanswered": phrase("were asked and left it open"),
}


def names_of(pair: Pair) -> tuple[str, str]:
    first, second = (code_words("implant_type", code) for code in pair.types)
    return first, second


def pair_words(pair: Pair) -> str:
    first, second = names_of(pair)
    return words.gettext("%(first)s and %(second)s") % {"first": first, "second": second}


def failed_sums(found: Preference) -> list[str]:
    said = {
        "both": words.gettext(
            "People with one type on both sides, with a type that is not told and with two types should be %(should)s, and are %(now)s."
        ),
        "pair": words.gettext(
            "Those who prefer one, see no difference or did not answer should be %(should)s people, and are %(now)s."
        ),
    }
    return [said[name] % {"should": should, "now": now} for name, should, now in found.failed_sums()]


_TICKS: Mapping[str, Tick] = {
    "first": "prefers",
    NO_DIFFERENCE: "no_difference",
    "second": "prefers",
    "unanswered": "silent",
}


def figure_of(pair: Pair, title: str) -> PreferenceFigure:
    """A column for each answer; the one of those who left it open only where there are any."""
    names = names_of(pair)
    prefer = words.gettext("prefer the one with %(type)s")
    columns = [
        ("first", prefer % {"type": names[0]}),
        (NO_DIFFERENCE, ""),
        ("second", prefer % {"type": names[1]}),
        ("unanswered", ""),
    ]
    return PreferenceFigure(
        title,
        tuple(
            Column(
                pair.count(answer), said or words.say(_ANSWERED[answer]), tuple(_lines(pair, answer)), _TICKS[answer]
            )
            for answer, said in columns
            if answer != "unanswered" or pair.count(answer)
        ),
        names,
        words.gettext("Own rating, 0 to 100"),
        BEST,
        words.gettext("left shoulder"),
        words.gettext("right shoulder"),
        words.gettext("lower with %(type)s") % {"type": names[1]},
        words.gettext("One tick is one person, in the order above"),
        _ruler(pair),
    )


def _lines(pair: Pair, answer: str) -> Iterator[Line]:
    for each in pair.of(answer):
        if each.ratings is not None:
            yield Line(*each.ratings, each.first.row.side, each.second.row.side)


def _ruler(pair: Pair) -> Ruler | None:
    share, first, second = pair.share, *names_of(pair)
    if share is None:
        return None
    ends = words.gettext("all with %(type)s")
    return Ruler(
        share.estimate,
        share.lower,
        share.upper,
        share_words(pair),
        (ends % {"type": first}, words.gettext("half"), ends % {"type": second}),
        pair.with_preference >= FULL_FROM,
    )


def share_words(pair: Pair) -> str:
    """The share with its limits and the exact p beside the counts; empty where they are too few."""
    share, p = pair.share, pair.p
    if share is None or p is None:
        return ""
    return words.gettext(
        "Of the %(n)s with a preference, %(k)s the one with %(type)s: %(share)s %% (%(lower)s to %(upper)s), exact p %(p)s"
    ) % {
        "n": pair.with_preference,
        "k": pair.count("second"),
        "type": names_of(pair)[1],
        "share": round(share.estimate * 100),
        "lower": round(share.lower * 100),
        "upper": round(share.upper * 100),
        "p": p_words(p),
    }


def p_words(p: float) -> str:
    return f"< {words.number(0.001)}" if p < 0.001 else f"= {words.number(round(p, 3 if p < 0.1 else 2))}"


def says(pair: Pair) -> list[str]:
    """Who prefers what, whether that could well be chance, and how far the ratings differ."""
    first, second = pair.count("first"), pair.count("second")
    names, found = names_of(pair), []
    if len(pair.people) < 2:
        found.append(
            words.gettext(
                "Only one person has these two types; what one person prefers says nothing of the types, and is not drawn."
            )
        )
    elif not pair.with_preference:
        found.append(words.gettext("Nobody with these two types has told a preference yet."))
    elif first == second:
        found.append(words.gettext("As many prefer the one type as the other: %(count)s each.") % {"count": first})
    else:
        more, fewer, name = (second, first, names[1]) if second > first else (first, second, names[0])
        said = words.gettext("More prefer the side with %(type)s: %(more)s against %(fewer)s.")
        found.append(said % {"type": name, "more": more, "fewer": fewer})
    if len(pair.people) >= 2 and pair.with_preference:
        found[-1] += f" {_chance(pair)}"
        found += _ratings(pair)
    return found


def _chance(pair: Pair) -> str:
    if pair.p is None:
        few = words.gettext(
            "Of fewer than %(least)s with a preference no share is given, and no test: too few to tell."
        )
        return few % {"least": SHOWN_FROM}
    if pair.p >= CHANCE:
        return words.gettext("That could well be chance.")
    return words.gettext("Were both equally liked, so uneven a split would be rare.")


def _ratings(pair: Pair) -> Iterator[str]:
    if pair.ratings is None:
        if pair.rated:
            yield words.gettext("%(people)s rated both shoulders; under %(least)s no mean difference is given.") % {
                "people": people_words(len(pair.rated)), "least": SHOWN_FROM,
            }  # fmt: skip
        return
    change, limits = pair.ratings
    yield words.gettext(
        "Own rating with %(second)s less that with %(first)s, within the person: %(difference)s points; %(people)s rated both."
    ) % {
        "difference": with_limits(change.mean_change, limits.mean_change_lower, limits.mean_change_upper),
        "first": names_of(pair)[0],
        "second": names_of(pair)[1],
        "people": people_words(change.n),
    }


def care(found: Preference, pair: Pair) -> list[str]:
    """What confounds it, and who is not among the people drawn."""
    said = []
    later, of = pair.prefer_the_later
    if of:
        said.append(
            words.ngettext(
                "%(later)s of %(of)s prefers the shoulder that was operated on later: newer and better cannot be told apart.",
                "%(later)s of %(of)s prefer the shoulder that was operated on later: newer and better cannot be told apart.",
                later,
            )
            % {"later": later, "of": of}
        )
    if pair.years_since is not None:
        said.append(
            words.gettext(
                "Years from operation to answer, in the median: %(first)s %(first_years)s, %(second)s %(second_years)s."
            )
            % {
                "first_years": number(pair.years_since[0]),
                "second_years": number(pair.years_since[1]),
                "first": names_of(pair)[0],
                "second": names_of(pair)[1],
            }
        )  # fmt: skip
    revised, unasked, unread = (pair.count(place) for place in ("revised", "unasked", "erased"))
    different = sum(len(each.people) for each in found.pairs)
    said.append(
        words.gettext("Of %(both)s with both shoulders operated on here, %(types)s.")
        % {"both": people_words(found.both), "types": _types(found, different)}
    )
    apart = [
        words.ngettext(
            "%(count)s had one of them revised before answering", "%(count)s had one of them revised before they answered", revised
        ) % {"count": revised} if revised else "",
        words.gettext("%(count)s sent no form that asked and counts here") % {"count": unasked} if unasked else "",
        words.gettext("of %(count)s no answer can be read") % {"count": unread} if unread else "",
    ]  # fmt: skip
    if any(apart):
        told = words.listed(list(filter(None, apart)))
        said.append(words.gettext("Of the %(pair)s here, %(apart)s.") % {"pair": len(pair.people), "apart": told})
    said.append(words.gettext("Nobody was randomised to an implant; why a side got its type is not in these numbers."))
    return said


def nobody(found: Preference) -> str:
    """Why there is no pair of types."""
    if not found.both:
        return words.gettext("Nobody whom the sentence means has both shoulders operated on here.")
    return words.gettext("Of %(both)s with both shoulders operated on here nobody carries two types: %(types)s.") % {
        "both": people_words(found.both),
        "types": _types(found, 0),
    }


def _types(found: Preference, different: int) -> str:
    """How many carry what; nothing of nobody."""
    same = words.ngettext("%(count)s has one type on both sides", "%(count)s have one type on both sides", found.same)
    two = words.ngettext("%(count)s carries two types", "%(count)s carry two types", different)
    untold = words.gettext("of %(count)s a type is not told")
    counts = ((two, different), (same, found.same), (untold, found.untold))
    return words.listed([said % {"count": count} for said, count in counts if count])


def counts(pair: Pair) -> str:
    """What stands before the n of the foot."""
    answered = pair.count("first", "second", NO_DIFFERENCE)
    limits = "" if pair.share is None else " " + words.gettext("Limits of Clopper and Pearson.")
    told = words.gettext(
        "%(pair)s. Preference told by %(answered)s of %(asked)s asked, of %(people)s with these types."
    )
    return (
        told
        % {
            "pair": pair_words(pair),
            "answered": answered,
            "asked": answered + pair.count("unanswered"),
            "people": people_words(len(pair.people)),
        }
        + limits
    )
