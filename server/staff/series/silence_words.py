"""What is said of silence: the estimates, whom they are of, what they suppose, and by how much the silent would have to be worse."""

from collections.abc import Iterator, Mapping

from server.outcomes.arithmetic.double_sampling import FEWEST, PRIMARY_FROM
from server.outcomes.arithmetic.proportion import Interval
from server.outcomes.arithmetic.tipping import Tip
from server.outcomes.arithmetic.weighted import FEWEST_SILENT, SMALLEST_EFFECTIVE_N, NotWeighted, Weighted
from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.figures.silence_layout import Estimate, SilenceFigure
from server.outcomes.figures.strip_layout import StripFigure
from server.outcomes.series.silence import HALF, LIMITS, Compared, Side, Silence
from server.outcomes.series.silence_known import KNOWN_BEFORE
from server.outcomes.series.silence_sampled import Lots, Sampled
from server.staff.page import words
from server.words.phrase import Phrase, phrase

KNOWN: Mapping[str, Phrase] = {
    "answered_before": phrase("answered the form before"),
    "acceptable_before": phrase("found it acceptable when last asked before"),
    "age": phrase("age at surgery, mean"),
    "female": phrase("women"),
    "surgery_year": phrase("year of surgery, mean"),
}
PREDICTORS: Mapping[str, Phrase] = {
    "answered_before": phrase("whether the form before was answered"),
    "acceptable_before": phrase("the last answer to this question"),
    "age": phrase("age at surgery"),
    "female": phrase("sex"),
    "surgery_year": phrase("year of surgery"),
}
SUMS: Mapping[str, Phrase] = {
    "answered": phrase("Those who answered should be %(should)s shoulders, and are %(now)s."),
    "known": phrase("What was known before should be told of %(should)s shoulders, and is of %(now)s."),
    "lots": phrase("Answered, lots cast and no lot should be %(should)s shoulders, and are %(now)s."),
}
_MEANS = ("age", "surgery_year")
_NOT_WEIGHTED: Mapping[str, Phrase] = {
    "silent": phrase("There is none: %(count)s silent, and it takes %(least)s."),
    "effective_n": phrase("There is none: the weights leave an effective n of %(count)s, and it takes %(least)s."),
    "predictors": phrase("There is none: fewer than ten answered."),
}
_LEAST = {"silent": FEWEST_SILENT, "effective_n": SMALLEST_EFFECTIVE_N, "predictors": 10}
# By the line that the share would have to fall below, and whether the silent could do it.
_TIPS: Mapping[tuple[str, bool], Phrase] = {
    (LIMITS, True): phrase(
        "For the share of the %(of)s asked to fall below %(line)s, the lower limit of those who answered, no more than %(share)s of the"
        " %(silent)s silent might find it acceptable, %(by)s points fewer than of those who answered."
    ),
    (LIMITS, False): phrase(
        "Even if none of the %(silent)s silent found it acceptable, the share of the %(of)s asked would not fall below %(line)s, the"
        " lower limit of those who answered."
    ),
    (HALF, True): phrase(
        "For fewer than half of the %(of)s asked to find it acceptable, no more than %(share)s of the %(silent)s silent might, %(by)s"
        " points fewer than of those who answered."
    ),
    (HALF, False): phrase(
        "Even if none of the %(silent)s silent found it acceptable, more than half of the %(of)s asked would."
    ),
}
# The same of all who were due, where there were some whom nobody asked.
_TIPS_OF_DUE: Mapping[tuple[str, bool], Phrase] = {
    (LIMITS, True): phrase(
        "With the %(never)s never asked or not taking part counted as silent too, of the %(of)s due the share falls below %(line)s once"
        " fewer than %(share)s of these %(silent)s find it acceptable, %(by)s points below those who answered."
    ),
    (LIMITS, False): phrase(
        "With the %(never)s never asked or not taking part counted as silent too, the share of the %(of)s due would not fall below"
        " %(line)s even if none of these %(silent)s found it acceptable."
    ),
    (HALF, True): phrase(
        "With the %(never)s never asked or not taking part counted as silent too, fewer than half of the %(of)s due find it acceptable"
        " once fewer than %(share)s of these %(silent)s do, %(by)s points below those who answered."
    ),
    (HALF, False): phrase(
        "With the %(never)s never asked or not taking part counted as silent too, more than half of the %(of)s due would find it"
        " acceptable even if none of these %(silent)s did."
    ),
}


def title() -> str:
    return words.gettext("What could the silent change?")


def answers_counted() -> str:
    """Where the sentence wants some answers alone."""
    return words.gettext("Every answer counts here, in whatever way and words it came.")


def percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def limits(found: Interval) -> str:
    return words.gettext("%(share)s (%(lower)s to %(upper)s)") % {
        "share": percent(found.estimate),
        "lower": f"{100 * found.lower:.0f}",
        "upper": f"{100 * found.upper:.0f}",
    }


def figure_of(found: Silence | None, strip: StripFigure) -> SilenceFigure:
    """`found`: None where there is no year to tell of; then only the strip is drawn."""
    heading = ""
    if found is not None:
        heading = words.gettext("Find their state acceptable at year %(year)s, limits 95 %%") % {"year": found.year}
    estimates = tuple(_estimates(found)) if found is not None else ()
    return SilenceFigure(
        title=title(),
        description=" ".join(f"{each.name}: {each.said}." for each in estimates),
        heading=heading,
        estimates=estimates,
        missing=tuple(_missing(found)) if found is not None else (),
        strip=strip,
        years=words.gettext("Years after surgery"),
    )


def _estimates(found: Silence) -> Iterator[Estimate]:
    sampled = found.sampled
    primary = sampled is not None and sampled.is_primary
    if found.complete is not None:
        name = words.gettext("those who answered, as they are (%(count)s)") % {"count": len(found.told)}
        yield _estimate(name, found.complete, len(found.told), not primary)
    if isinstance(found.weighted, Weighted):
        name = words.gettext("weighted for the %(silent)s silent by what was known before")
        yield _estimate(name % {"silent": len(found.silent)}, found.weighted.result, len(found.told), False)
    counts = None if sampled is None else sampled.found
    result = None if counts is None else counts.result
    if sampled is not None and counts is not None and result is not None:
        if sampled.since and sampled.complete is not None:
            name = words.gettext("those who answered since lots are cast (%(count)s)") % {"count": len(sampled.told)}
            yield _estimate(name, sampled.complete, len(sampled.told), False)
        name = words.gettext("%(answered)s who answered, and %(reached)s drawn by lot for %(cast)s silent") % {
            "answered": counts.answered, "reached": counts.drawn_answered, "cast": counts.cast,
        }  # fmt: skip
        yield _estimate(name, result, counts.answered + counts.drawn_answered, primary)


def _estimate(name: str, found: Interval, n: int, primary: bool) -> Estimate:
    said = limits(found) if n >= SHOWN_FROM else words.gettext("fewer than ten answers: not shown")
    return Estimate(name, said, found.estimate, found.lower, found.upper, n, primary)


def _missing(found: Silence) -> Iterator[tuple[str, str]]:
    if isinstance(found.weighted, NotWeighted):
        yield words.gettext("Weighted for silence"), _not_weighted(found.weighted)
    if found.sampled is None or found.sampled.found.result is None:
        yield words.gettext("With the random quarter"), _not_sampled(found)


def _not_weighted(why: NotWeighted) -> str:
    return words.say(_NOT_WEIGHTED[why.reason]) % {"count": why.count, "least": _LEAST[why.reason]}


def _not_sampled(found: Silence) -> str:
    if found.sampled is None:
        if not found.lots.cast:
            return words.gettext("There is none: no lot was cast about this year.")
        return words.gettext("There is none: lots cast for %(cast)s, %(drawn)s drawn, windows still open: %(open)s.") % {
            "cast": found.lots.cast, "drawn": found.lots.drawn, "open": found.lots.open,
        }  # fmt: skip
    counts = {"answered": found.sampled.found.drawn_answered, "drawn": found.sampled.found.drawn, "least": FEWEST}
    return words.gettext("There is none: %(answered)s of %(drawn)s drawn answered, and it takes %(least)s.") % counts


def says(found: Silence) -> Iterator[str]:
    """What the figure says, in plain words."""
    counts = {"year": found.year, "answered": found.places.count("answered"), "silent": len(found.silent)}
    if found.complete is None or len(found.told) < SHOWN_FROM:
        yield (
            words.gettext(
                "Year %(year)s, in shoulders: %(answered)s answered, %(silent)s silent. Fewer than ten answers make no"
                " share."
            )
            % counts
        )
        return
    yield words.gettext(
        "Year %(year)s, in shoulders: %(answered)s answered, %(silent)s silent. If the silent are like those who answered,"
        " %(share)s of the %(of)s asked find their state acceptable."
    ) % {**counts, "share": percent(found.complete.estimate), "of": len(found.rows)}
    if isinstance(found.weighted, Weighted):
        yield _weighted(found.weighted)
    if found.sampled is not None:
        yield _lots(found.sampled)
        if found.lots.open:
            yield words.gettext(
                "Lots of this year whose window is still open, and which do not count yet: %(open)s."
            ) % {"open": found.lots.open}
    yield from _tips(found)


def lots_still_open(lots: Mapping[str, Lots]) -> list[str]:
    """By the code of the timepoint."""
    return [
        words.gettext("%(timepoint)s (cast for %(cast)s, %(drawn)s drawn)")
        % {"timepoint": words.timepoint(code), "cast": each.cast, "drawn": each.drawn}
        for code, each in lots.items()
    ]


def _weighted(found: Weighted) -> str:
    used = [words.say(PREDICTORS[name]) for name in KNOWN_BEFORE[: found.predictors]]
    return words.gettext(
        "Weighted by what was known before the window (%(known)s), those who answered count as an effective n of %(n)s. Weights run from"
        " %(smallest)s to %(largest)s times the mean; cut to that, the first and the last percentile: %(cut)s."
        " Limits by bootstrap of all of it, by patient."
    ) % {
        "known": ", ".join(used),
        "n": f"{found.effective_n:.0f}",
        "smallest": words.number(round(found.smallest, 1)),
        "largest": words.number(round(found.largest, 1)),
        "cut": found.cut,
    }


def _lots(sampled: Sampled) -> str:
    found = sampled.found
    said = words.gettext(
        "By lot, before anybody called: %(drawn)s of %(cast)s silent shoulders drawn, %(answered)s of them with an answer."
    ) % {"drawn": found.drawn, "cast": found.cast, "answered": found.drawn_answered}
    if found.of_silent is not None:
        silent = words.gettext("By them %(share)s of the silent find it acceptable.") % {
            "share": percent(found.of_silent)
        }
        said = f"{said} {silent}"
    if sampled.without_lot:
        said += " " + words.gettext("No lot was cast for %(count)s more of the silent, of whom nothing is said.") % {
            "count": sampled.without_lot
        }
    return f"{said} {_standing(sampled)}"


def _standing(sampled: Sampled) -> str:
    """Whether it is the one to go by, and if not why."""
    found = sampled.found
    if sampled.is_primary:
        return words.gettext(
            "This is the result to go by: it does not suppose that the silent are like those who answer."
        )
    if found.result is None:
        return words.gettext("That is too few for a result.")
    if found.answered_well:
        return words.gettext("It stands beside the others: too many silent had no lot.")
    return words.gettext(
        "It stands beside the others: to go by it, %(least)s of the drawn and three of four have to answer."
    ) % {"least": PRIMARY_FROM}


def _tips(found: Silence) -> Iterator[str]:
    silent, never = len(found.silent), found.never_asked
    yield from _tips_of(found, found.tips, _TIPS, silent)
    yield from _tips_of(found, found.tips_of_due, _TIPS_OF_DUE, silent + never)


def _tips_of(
    found: Silence, tips: Mapping[str, Tip | None], said: Mapping[tuple[str, bool], Phrase], silent: int
) -> Iterator[str]:
    """`silent`: how many count as silent. Of two lines that they could not bring it below, the higher says it all."""
    if found.complete is None:
        return
    lines = {LIMITS: found.complete.lower, HALF: 0.5}
    out_of_reach = max((lines[name] for name, tip in tips.items() if tip is not None and not tip.possible), default=0.0)
    for name, tip in tips.items():
        if tip is None or (not tip.possible and lines[name] < out_of_reach):
            continue
        yield words.say(said[name, tip.possible]) % {
            "line": percent(found.complete.lower),
            "share": percent(tip.silent),
            "by": f"{100 * tip.worse_by:.0f}",
            "silent": silent,
            "never": found.never_asked,
            "of": len(found.told) + silent,
        }


def care(found: Silence) -> Iterator[str]:
    yield words.gettext(
        "The shares are of those who were asked. Whoever takes no part, was never asked, has died or was revised stands in none of them:"
        " the strip counts them."
    )
    if isinstance(found.weighted, Weighted):
        yield words.gettext(
            "That the silent are like those who answered of whom the same was known is supposed; it cannot be seen."
        )
    if found.unscored:
        yield words.gettext("Answered, but not this question, and in none of the shares: %(count)s.") % {
            "count": len(found.unscored)
        }


def nothing_to_tell(years_came: bool) -> str:
    if not years_came:
        return words.gettext("No year after surgery has come yet for anybody whom the sentence means.")
    return words.gettext("In no year are there both answers and silence, so there is nothing to compare.")


def compared_rows(found: Silence) -> list[tuple[str, str, str]]:
    """Of each thing known before: its words, and how it stands among those who answered and among the silent."""
    return [(words.say(KNOWN[each.name]), *_sides(each)) for each in found.compared]


def _sides(each: Compared) -> tuple[str, str]:
    return _side(each.name, each.answered), _side(each.name, each.silent)


def _side(name: str, side: Side) -> str:
    if side.mean is None:
        return "–"
    if name in _MEANS:
        return words.gettext("%(mean)s (n = %(n)s)") % {"mean": f"{side.mean:.0f}", "n": side.n}
    return words.gettext("%(count)s of %(n)s (%(share)s)") % {
        "count": f"{side.total:.0f}", "n": side.n, "share": percent(side.mean),
    }  # fmt: skip
