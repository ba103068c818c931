"""What the course says, and with what care it is to be read."""

from collections.abc import Iterator, Sequence

from server.outcomes.figures.fade import FULL_FROM, SHOWN_FROM
from server.outcomes.series.course import LEAST, Change, Said, fell_silent
from server.outcomes.series.gains import Gains, gains_in
from server.staff.page import words
from server.staff.page.threshold_text import show_threshold
from server.staff.series.asked import Asked
from server.staff.series.course_figure import number_words, value_words
from server.staff.series.course_measures import FUNCTION, Tracked
from server.staff.series.strip_words import later_words

CEILING = 0.15  # of those observed: from there on a scale is said to have a ceiling (Terwee and others, J Clin Epidemiol 2007;60:34-42)


def says(panels: Sequence[Tracked]) -> Iterator[str]:
    """What changed from before surgery, by how much it matters, for each score; or why no change is told."""
    for each in panels:
        change = each.course.told
        if change is None:
            continue
        yield _changed(each, change)
        for gains in gains_in(change, each.definition, each.scale)[:1]:
            yield _gained(each, change, gains)
    yield from _too_few(panels)
    without = [each.title for each in panels if each.course.told is None]
    if without and not all_fractures(panels):
        yield words.gettext(
            "%(scores)s: no change from before surgery is told, since fewer than %(least)s answered both "
            "before it and in one of the years after it."
        ) % {"scores": words.listed(without), "least": LEAST}


def _too_few(panels: Sequence[Tracked]) -> Iterator[str]:
    """The years that readers ask for and that have too few answers; the scores with the same counts together."""
    found: dict[str, list[str]] = {}
    for each in panels:
        years = [
            words.ngettext("year %(year)s: %(count)s answer", "year %(year)s: %(count)s answers", count)
            % {"year": year, "count": count}
            for year, count in each.course.too_few.items()
        ]
        if years:
            found.setdefault(words.listed(years), []).append(each.title)
    for counts, scores in found.items():
        yield words.gettext("%(scores)s, %(counts)s, too few for a mean to be told: it takes %(least)s.") % {
            "scores": words.listed(scores), "counts": counts, "least": LEAST,
        }  # fmt: skip


def limits_words(each: Tracked, lower: float | None, upper: float | None) -> str:
    if lower is None or upper is None:
        return words.gettext("no limits can be formed")
    return words.gettext("%(lower)s to %(upper)s") % {
        "lower": value_words(each, lower),
        "upper": value_words(each, upper),
    }


def size_words(value: float | None, lower: float | None, upper: float | None) -> str:
    """An effect size or a response mean, with its limits."""
    if value is None:
        return words.gettext("none can be formed")
    said = number_words(value, 2)
    if lower is None or upper is None:
        return said
    return words.gettext("%(value)s (%(lower)s to %(upper)s)") % {
        "value": said,
        "lower": number_words(lower, 2),
        "upper": number_words(upper, 2),
    }


def all_fractures(panels: Sequence[Tracked]) -> bool:
    return bool(panels) and all(each.course.fractures == each.course.shoulders for each in panels)


def care(asked: Asked, panels: Sequence[Tracked], said: Said) -> Iterator[str]:
    """Where it is thin and where it ends, what a scale cannot show, who fell silent, and what stands apart."""
    yield from _ends(panels)
    if later := later_words(asked.strip):
        yield later
    yield from _ceilings(panels)
    yield from _silence(asked, panels, said)
    yield from _apart(panels)
    if any(each.course.told for each in panels):
        yield words.gettext(
            "The change of one group is not the effect of its operation: people are operated on when they "
            "are at their worst, and some of "
            "what follows is the return to their usual state."
        )


def _changed(each: Tracked, change: Change) -> str:
    paired, limits = change.paired, change.limits
    return words.gettext(
        "%(score)s, before surgery and at year %(year)s, in the %(n)s with both answers: from %(before)s to "
        "%(after)s, a change of %(change)s "
        "(%(limits)s). Effect size %(effect_size)s, response mean %(srm)s."
    ) % {
        "score": each.title,
        "year": change.year,
        "n": paired.n,
        "before": value_words(each, paired.mean_before),
        "after": value_words(each, paired.mean_after),
        "change": value_words(each, paired.mean_change),
        "limits": limits_words(each, limits.mean_change_lower, limits.mean_change_upper),
        "effect_size": size_words(paired.effect_size, limits.effect_size_lower, limits.effect_size_upper),
        "srm": size_words(paired.srm, limits.srm_lower, limits.srm_upper),
    }


def gained(panels: Sequence[Tracked]) -> Iterator[str]:
    """By every threshold that is used for somebody: with its source, the range of what is published, and who is not judged by it."""
    for each in panels:
        change = each.course.told
        if change is not None:
            for gains in gains_in(change, each.definition, each.scale):
                yield _gained_with_source(each, gains, _gained(each, change, gains))


def _gained(each: Tracked, change: Change, gains: Gains) -> str:
    """By the threshold that is used for most of them; of fewer than ten people only for how many it is used."""
    shown = show_threshold(each.definition, gains.threshold)
    if gains.people < SHOWN_FROM:
        return words.gettext(
            "%(score)s, year %(year)s: for %(n)s the smallest change that matters is %(value)s (%(whom)s); fewer than ten people, so that "
            "how many gained it is not told."
        ) % {
            "score": each.title, "year": change.year, "n": gains.n, "value": shown.value, "whom": shown.in_short,
        }  # fmt: skip
    return words.gettext(
        "%(score)s, year %(year)s: %(reached)s of %(n)s gained %(value)s or more, the smallest change that matters (%(whom)s)."
    ) % {
        "score": each.title,
        "year": change.year,
        "reached": gains.reached,
        "n": gains.n,
        "value": shown.value,
        "whom": shown.in_short,
    }


def _gained_with_source(each: Tracked, gains: Gains, said: str) -> str:
    shown = show_threshold(each.definition, gains.threshold)
    room = words.gettext("%(count)s stood too near the best score before to gain as much.") % {"count": gains.no_room}
    elsewhere = words.ngettext(
        "For %(count)s it was not found in people with such implants, who is not called improved by it.",
        "For %(count)s it was not found in people with such implants, so nobody of them is called improved by it.",
        gains.found_elsewhere,
    ) % {"count": gains.found_elsewhere}
    told = (
        said,
        f"{gains.threshold.citation}.",
        shown.published,
        room if gains.no_room and gains.people >= SHOWN_FROM else "",
        elsewhere if gains.found_elsewhere else "",
    )
    return " ".join(filter(None, told))


def _ends(panels: Sequence[Tracked]) -> Iterator[str]:
    """From when on each score is thin, those of one year together; and why no later year is drawn."""
    thin: dict[int, list[str]] = {}
    for each in panels:
        first = next((year for year, observed in each.course.shown.items() if observed.n < FULL_FROM), None)
        if first is not None:
            thin.setdefault(first, []).append(each.title)
    for year, scores in thin.items():
        yield words.gettext("%(scores)s: thin from year %(year)s on, where fewer than %(full)s answered.") % {
            "scores": words.listed(scores), "year": year, "full": FULL_FROM,
        }  # fmt: skip
    after: dict[int, list[str]] = {}
    for each in panels:
        shown = each.course.shown
        later = [year for year in each.course.years if shown and year > max(shown)]
        if later:
            after.setdefault(min(later), []).append(f"{each.title} {each.course.years[min(later)].n}")
    for year, counts in after.items():
        yield words.gettext(
            "Year %(year)s and later are not drawn, since fewer than %(least)s answered: in year %(year)s %(counts)s."
        ) % {"year": year, "least": LEAST, "counts": words.listed(counts)}


def _ceilings(panels: Sequence[Tracked]) -> Iterator[str]:
    """In the year whose change is told, or the first that is shown; the scores of one year together."""
    found: dict[int, list[str]] = {}
    for each in panels:
        shown, told = each.course.shown, each.course.told
        if shown:
            year = told.year if told and told.year in shown else min(shown)
            observed = shown[year]
            if observed.at_best >= CEILING * observed.n:
                counts = {"score": each.title, "count": observed.at_best, "n": observed.n}
                found.setdefault(year, []).append(words.gettext("%(score)s %(count)s of %(n)s") % counts)
    for year, scores in found.items():
        yield words.gettext(
            "The best score there is, at year %(year)s: %(scores)s. What is better than that, the scale cannot show."
        ) % {"year": year, "scores": words.listed(scores)}


def _silence(asked: Asked, panels: Sequence[Tracked], said: Said) -> Iterator[str]:
    known = [year for year in asked.strip.shown if year.of_due.of]
    if known:
        first, last = known[0], known[-1]
        said_of_due = (
            words.gettext(
                "Of those due, %(first)s of %(of_first)s answered as the sentence wants at year %(first_year)s and %(last)s of "
                "%(of_last)s at year %(last_year)s."
            )
            if asked.sentence.picks_answers
            else words.gettext(
                "Of those due, %(first)s of %(of_first)s answered at year %(first_year)s and %(last)s of "
                "%(of_last)s at year %(last_year)s."
            )
        )
        yield said_of_due % {
            "first": first.of_due.answered, "of_first": first.of_due.of, "first_year": first.year,
            "last": last.of_due.answered, "of_last": last.of_due.of, "last_year": last.year,
        }  # fmt: skip
    if asked.sentence.picks_answers:
        return  # who is silent among those without such an answer is not known here
    for each in panels:
        found = fell_silent(said, asked.strip, each.course.measure) if each.name == FUNCTION else None
        if found is not None:
            yield words.gettext(
                "%(silent)s who were silent at year %(year)s had stood at %(mean)s in %(score)s the year "
                "before; %(answering)s who went on answering "
                "at %(other)s."
            ) % {
                "silent": found.silent[0], "year": found.year, "mean": value_words(each, found.silent[1]), "score": each.title.lower(),
                "answering": found.answering[0], "other": value_words(each, found.answering[1]),
            }  # fmt: skip


def _apart(panels: Sequence[Tracked]) -> Iterator[str]:
    """Fractures, what was recalled, answers without the score, other versions, two kinds of text."""
    fractures = max((each.course.fractures for each in panels), default=0)
    if all_fractures(panels):
        yield words.gettext(
            "All were operated on for an acute fracture. What was said before surgery measures the broken "
            "arm, so there is the course after it "
            "alone: no change, and no threshold of change."
        )
    elif fractures:
        yield words.ngettext(
            "%(count)s shoulder was operated on for an acute fracture: it is in the course after surgery, "
            "and in no change from before it.",
            "%(count)s shoulders were operated on for an acute fracture: they are in the course after "
            "surgery, and in no change from before it.",
            fractures,
        ) % {"count": fractures}
    for each in panels:
        yield from _apart_in(each)


def _apart_in(each: Tracked) -> Iterator[str]:
    course = each.course
    if course.recalled is not None and not course.recalled.is_told:
        yield words.gettext(
            "%(score)s: %(count)s recalled after surgery how it had been before. What is recalled is in no change and not drawn."
        ) % {"score": each.title, "count": course.recalled.n}
    elif course.recalled is not None:
        yield words.gettext(
            "%(score)s: %(count)s recalled after surgery how it had been before, %(mean)s on average. What "
            "is recalled is in no change and not drawn."
        ) % {"score": each.title, "count": course.recalled.n, "mean": value_words(each, course.recalled.limits.mean)}
    unscored = sum(course.unscored.values())
    if unscored:
        yield words.ngettext(
            "%(count)s answer has no score of %(score)s and is in no mean of it.",
            "%(count)s answers have no score of %(score)s and are in no mean of it.",
            unscored,
        ) % {"count": unscored, "score": each.title.lower()}
    for key, count in each.other_versions.items():
        yield words.ngettext(
            "%(count)s answer is to another version, %(version)s. Versions are never pooled: it is not in the figure.",
            "%(count)s answers are to another version, %(version)s. Versions are never pooled: they are not "
            "in the figure.",
            count,
        ) % {"count": count, "version": key.partition("/")[0]}
    if len(course.texts) > 1:
        yield words.gettext(
            "%(score)s: two ways of asking in one mean, in descriptive text (answers: %(descriptive)s) and in the owners’ words "
            "(%(licensed)s)."
        ) % {"score": each.title, "descriptive": course.texts["descriptive"], "licensed": course.texts["licensed"]}
