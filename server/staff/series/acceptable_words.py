"""The acceptable state in words: the figure, what it says, how to read it with care."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from scoring.printed_decimals import half_up
from scoring.reachable import first_reachable
from server.outcomes.figures.acceptable_layout import AcceptableFigure, ShareAt, ShareLine
from server.outcomes.figures.fade import FULL_FROM, SHOWN_FROM
from server.outcomes.figures.strip_layout import CountRow
from server.outcomes.series.acceptable import AcceptableSeries, LevelShare, Standings
from server.outcomes.series.acceptable_levels import Level
from server.outcomes.series.sentence import Sentence
from server.staff.page import words
from server.staff.page.threshold_text import show_threshold
from server.staff.series.share_words import percent, with_limits
from server.staff.series.strip_words import nobody_meant, strip_figure
from server.words.phrase import Phrase, phrase

STATES: Mapping[str, Phrase] = {
    "yes": phrase("said yes"),
    "no": phrase("said no"),
    "revised": phrase("revised, counts as no"),
    "unanswered": phrase("silent or never asked"),
    "not_known_alive": phrase("not known alive"),
    "dead": phrase("dead before"),
}
_OR_OTHERWISE = phrase("silent, never asked, or answered otherwise than the sentence wants")
_WITHOUT_ANSWER = phrase(
    "The dead of each year are out of it, not missing. "
    "Of the %(silent)s silent or never asked and the %(unknown)s not known alive at year %(year)s nobody knows."
)
_WITHOUT_SUCH_ANSWER = phrase(
    "The dead of each year are out of it, not missing. Without an answer here at year %(year)s: %(silent)s silent, never asked, or "
    "answered otherwise than the sentence wants, and %(unknown)s not known alive."
)
SUMS: Mapping[str, Phrase] = {
    "come": phrase("whose year has come"),
    "states": phrase("all states together"),
    "dead": phrase("dead before"),
    "revised": phrase("revised, known alive or not"),
}
TOLD_AT = 5  # the year that is told in words, where it is drawn


@dataclass(frozen=True)
class DrawnLevel:
    """The score whose published level is drawn beside the answer: its share in each year, and the levels that are used."""

    key: str
    shares: tuple[LevelShare, ...]
    levels: tuple[Level, ...]


def question() -> str:
    return words.gettext("Of those alive at each year, how many call the shoulder acceptable?")


def lead(level: DrawnLevel | None) -> str:
    said = words.gettext(
        "Line: the patient’s own yes or no, a revised shoulder counting as no, with 95 %% limits by patient. "
        "Thin under %(full)s, none under %(shown)s."
    ) % {"full": FULL_FROM, "shown": SHOWN_FROM}
    if level is None:
        return said
    return f"{said} " + words.gettext("Dashed: %(level)s, a published level and no answer.") % {
        "level": _level_words(level.levels)
    }


def acceptable_figure(series: AcceptableSeries, level: DrawnLevel | None, sentence: Sentence) -> AcceptableFigure:
    """Of the years that the strip shows."""
    years = series.years[: len(series.strip.shown)]
    own = [
        ShareAt(int(at.at), share.estimate, at.basis, share.lower, share.upper)
        for at in years
        if (share := at.acceptable) is not None
    ]
    lines = [ShareLine(tuple(own), ())]
    if level is not None:
        reached = [
            ShareAt(int(at.at), share.share, min(share.n, sum(at.implants)))
            for at, share in zip(years, level.shares, strict=False)
            if share.share is not None
        ]
        lines.append(ShareLine(tuple(reached), (), by_level=True))
    last = years[-1].at if years else 0
    strip = strip_figure(series.strip, sentence, _rows(series, years, level, sentence))
    return AcceptableFigure(
        title=question(),
        heading=words.gettext("Acceptable"),
        lead=words.gettext("share of those alive that year, in percent, with %(level)s %% limits") % {"level": 95},
        axis_title=words.gettext("Years after surgery"),
        lines=tuple(replace(each, end=_end(each, last)) for each in lines if each.shown),
        strip=replace(
            strip,
            lead=_strip_key(sentence),
        ),
        description=" ".join(says(series, level)),
    )


def _strip_key(sentence: Sentence) -> str:
    """What the bars mean; where the sentence wants some answers, whoever gave others is no silent one."""
    if sentence.picks_answers:
        return words.gettext(
            "full: answered so; dotted: silent, or otherwise; empty: never asked or declined; hatched: revised; pale: dead"
        )
    return words.gettext("full: answered; dotted: silent; empty: never asked or declined; hatched: revised; pale: dead")


def _end(line: ShareLine, last: object) -> tuple[str, ...]:
    """What the line says at its end, with the year where it ends before the axis does."""
    at, _weight = line.shown[-1]
    share = percent(at.share)
    if at.year != last:
        share = words.gettext("%(share)s in year %(year)s") % {"share": share, "year": at.year}
    if line.by_level:
        return share, words.gettext("by the level")
    return share, words.gettext("own answer")


def state_words(state: str, sentence: Sentence) -> str:
    return words.say(_OR_OTHERWISE if state == "unanswered" and sentence.picks_answers else STATES[state])


def _row_words(state: str, years: Sequence[Standings], sentence: Sentence) -> str:
    """The strip above has all the revised in its bars, so the row that holds some of them says so."""
    revised = max((at.revised_not_known_alive for at in years), default=0)
    if state == "not_known_alive" and revised:
        return words.gettext("not known alive (up to %(count)s of them revised before)") % {"count": revised}
    return state_words(state, sentence)


def _rows(
    series: AcceptableSeries, years: Sequence[Standings], level: DrawnLevel | None, sentence: Sentence
) -> list[CountRow]:
    rows = [
        CountRow(_row_words(state, years, sentence), {int(at.at): str(at.counts[state]) for at in years})
        for state in STATES
    ]
    come = {year.year: str(year.come) for year in series.strip.shown}
    rows.append(CountRow(words.gettext("whose year has come"), come, strong=True, ruled=True))
    if level is not None:
        reached = {int(at.at): str(share.k) for at, share in zip(years, level.shares, strict=False)}
        scored = {int(at.at): str(share.n) for at, share in zip(years, level.shares, strict=False)}
        rows += [
            CountRow(words.gettext("level reached"), reached),
            CountRow(words.gettext("of so many scores"), scored),
        ]
    return rows


def told_year(series: AcceptableSeries) -> Standings | None:
    """The year that is told in words: the fifth, or the last one before it that is drawn."""
    drawn = [at for at in series.years if at.drawn and at.acceptable is not None]
    return next((at for at in reversed(drawn) if int(at.at) <= TOLD_AT), drawn[0] if drawn else None)


def says(series: AcceptableSeries, level: DrawnLevel | None) -> list[str]:
    """Both denominators as counts, then the plain answers, then the level, each in a sentence of its own."""
    at = told_year(series)
    if at is None or at.acceptable is None:
        return [_nothing(series)]
    unrevised, revised = at.implants
    found = [
        words.gettext(
            "At year %(year)s it is %(share)s: of %(known)s alive whose implant status is known %(unrevised)s are unrevised, "
            "times %(yes)s yes of %(told)s unrevised who answered."
        )
        % {
            "year": at.at,
            "share": with_limits(at.acceptable),
            "known": unrevised + revised,
            "unrevised": unrevised,
            "yes": at.answers[0],
            "told": sum(at.answers),
        },
        words.gettext("By the answers alone, whatever was revised: %(yes)s of %(told)s, %(share)s.")
        % {"yes": at.own.k, "told": at.own.n, "share": with_limits(at.own.limits)},
    ]
    share = None if level is None else level.shares[int(at.at) - 1]
    if level is not None and share is not None and share.n >= SHOWN_FROM:
        found.append(
            words.ngettext(
                "By the level it would be %(share)s: %(reached)s of %(scored)s unrevised with a score reaches it.",
                "By the level it would be %(share)s: %(reached)s of %(scored)s unrevised with a score reach it.",
                share.k,
            )
            % {
                "share": with_limits(at.level_limits(series.levels, level.key)),
                "reached": share.k,
                "scored": share.n,
            }
        )
    return found


def _nothing(series: AcceptableSeries) -> str:
    if not series.strip.meant:
        return nobody_meant()
    if not series.years:
        return words.gettext("No year after surgery has come for anybody whom the sentence means.")
    if all(at.counts["dead"] == sum(at.counts.values()) for at in series.years):
        return words.gettext("Everybody whose year has come had died before it.")
    most = max(sum(at.answers) for at in series.years)
    if most < SHOWN_FROM:
        return words.gettext(
            "At most %(most)s said yes or no of an unrevised shoulder in any year. "
            "Under %(shown)s no share is drawn: one person more or less would move it too far."
        ) % {"most": most, "shown": SHOWN_FROM}
    most = max(sum(at.implants) for at in series.years)
    if 0 < most < SHOWN_FROM:
        return words.gettext(
            "Of at most %(most)s alive is it known in any year whether the implant is unrevised. Under %(shown)s no share is drawn."
        ) % {"most": most, "shown": SHOWN_FROM}
    return words.gettext(
        "Of nobody alive is it known whether the implant is unrevised, so no share is formed. The answers are counted below."
    )


def care(series: AcceptableSeries, sentence: Sentence) -> list[str]:
    """What a reader who wants to find fault would ask."""
    found = [
        words.say(_WITHOUT_SUCH_ANSWER if sentence.picks_answers else _WITHOUT_ANSWER)
        % {"silent": at.counts["unanswered"], "unknown": at.counts["not_known_alive"], "year": at.at}
        for at in [told_year(series)]
        if at is not None
    ]  # fmt: skip
    found += _said_operated(told_year(series))
    found += _thin(series)
    if len(series.eras) > 1:
        last = max(series.years, key=lambda at: int(at.at))
        latest = max((stand.row.surgery_on.year for stand in last.stands), default=0)
        found.append(
            words.gettext("Only operations up to %(latest)s have reached year %(year)s: by years of operation below.")
            % {"latest": latest, "year": last.at}
        )
    versions = series.versions()
    if len(versions) > 1:
        counted = words.listed([f"{version} {count}" for version, count in sorted(versions.items())])
        found.append(
            words.gettext(
                "The question was asked in more than one version (answers: %(versions)s). They are counted together, "
                "since each asks for a yes or no to the same question; scores of different versions never are."
            )
            % {"versions": counted}
        )
    return found


def _said_operated(at: Standings | None) -> list[str]:
    if at is None or not at.said_operated:
        return []
    said = words.ngettext(
        "%(count)s answer at year %(year)s is in neither share: the shoulder is said to have been operated on again, "
        "and no such operation is recorded.",
        "%(count)s answers at year %(year)s are in neither share: the shoulders are said to have been operated on again, "
        "and no such operations are recorded.",
        at.said_operated,
    )
    return [said % {"count": at.said_operated, "year": at.at}]


def _thin(series: AcceptableSeries) -> list[str]:
    """From which year the line is thin, and which years have too few."""
    found = []
    thin = next((at for at in series.years if SHOWN_FROM <= at.basis < FULL_FROM), None)
    if thin is not None:
        found.append(
            words.gettext(
                "Thin where the share rests on fewer than %(full)s unrevised who answered, from year %(year)s."
            )
            % {"full": FULL_FROM, "year": thin.at}
        )
    few = [str(at.at) for at in series.years[: len(series.strip.shown)] if not at.drawn]
    if few and told_year(series) is not None:
        found.append(
            words.ngettext(
                "Not drawn, with fewer than %(shown)s of them: year %(years)s.",
                "Not drawn, with fewer than %(shown)s of them: years %(years)s.",
                len(few),
            )
            % {"shown": SHOWN_FROM, "years": words.listed(few)}
        )
    return found


def sources(level: DrawnLevel | None) -> list[str]:
    """Each level that is used, with the people it was found in."""
    if level is None:
        return []
    found = []
    for each in level.levels:
        shown = show_threshold(each.definition, each.threshold)
        said = words.gettext("%(title)s, level %(sentence)s") % {
            "title": each.definition.title,
            "sentence": shown.sentence,
        }
        if each.elsewhere:
            said += " " + words.ngettext(
                "Found in people with other implants than %(elsewhere)s of these %(shoulders)s shoulders has.",
                "Found in people with other implants than %(elsewhere)s of these %(shoulders)s shoulders have.",
                each.elsewhere,
            ) % {"elsewhere": each.elsewhere, "shoulders": each.shoulders}
        found.append(said)
    return found


def counted(level: DrawnLevel | None) -> str:
    """Before the n of the foot, which goes to paper too: where the level is from, and who is counted."""
    found = []
    for each in level.levels if level is not None else ():
        cited = {"value": words.number(each.threshold.value), "citation": each.threshold.citation}
        if each.elsewhere:
            found.append(words.gettext("Level %(value)s, found with other implants: %(citation)s.") % cited)
        else:
            found.append(words.gettext("Level %(value)s: %(citation)s.") % cited)
    return " ".join([*found, words.gettext("Said yes or no, or revised:")])


def _level_words(levels: Sequence[Level]) -> str:
    said = []
    for each in levels:
        scale = each.definition.by_scale[each.threshold.scale]
        value = words.number(float(half_up(first_reachable(each.definition, each.threshold), 2)))
        form = (
            words.gettext("%(title)s at %(value)s or above")
            if scale.better == "higher"
            else words.gettext("%(title)s at %(value)s or below")
        )
        said.append(form % {"title": scale.title, "value": value})
    return words.listed(said)


def failed_sums(series: AcceptableSeries) -> tuple[str, ...]:
    """In words, which sums do not hold."""
    return tuple(
        words.gettext("In year %(year)s there should be %(should)s shoulders by “%(sum)s”, and %(now)s were counted.")
        % {"year": year, "should": should, "sum": words.say(SUMS[name]), "now": now}
        for year, name, should, now in series.failed_sums()
    )
