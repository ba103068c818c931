"""The figure of implant survival in words: its two questions, their answers, and the rows of counts."""

from math import isclose

from server.outcomes.figures.survival import CountRow, Panel, SurvivalFigure
from server.outcomes.series.endpoints import REVISION
from server.outcomes.series.survival import Curve, Drawn, Standing, Survival, top_of_scale
from server.staff.page import words
from server.staff.series.survival_words import ENDPOINT_WORDS, happened, per_cent, years


def survival_figure(found: Survival, drawn: Drawn, title: str) -> SurvivalFigure:
    """Both panels over the same times and up to the same share."""
    standings = found.standings()
    return SurvivalFigure(
        title,
        (_nobody_died(found, drawn, standings), _as_it_was(found, drawn, standings)),
        tuple(at.time for at in standings),
        tuple(words.number(round(at.time, 1)) if at.time else "" for at in standings),
        drawn.end,
        drawn.full,
        top_of_scale(drawn),
        drawn.answered_at,
        words.gettext("Share of the implants"),
        words.pgettext("axis", "Year"),
    )


def _nobody_died(found: Survival, drawn: Drawn, standings: tuple[Standing, ...]) -> Panel:
    question = words.gettext("Were nobody to die: how many would have been %(happened)s by each year?")
    without = ENDPOINT_WORDS[found.endpoint.name].without
    share = drawn.nobody_died.at(drawn.answered_at).share
    rest = () if without is None else (words.say(without) % {"share": per_cent(1 - share)},)
    rows = (
        *_first_rows(found, standings),
        CountRow(words.gettext("died or left"), tuple(at.died + at.left for at in standings)),
    )
    return Panel(
        question % {"happened": happened(found.endpoint)},
        (*_answer(found, drawn, drawn.nobody_died), *rest),
        drawn.nobody_died.points,
        rows,
    )


def _as_it_was(found: Survival, drawn: Drawn, standings: tuple[Standing, ...]) -> Panel:
    question = words.gettext("As it was, with deaths: how many were %(happened)s before they died?")
    share = drawn.as_it_was.at(drawn.answered_at).share
    died = max(level for time, level in drawn.deaths if time <= drawn.answered_at)
    rest = words.gettext("%(died)s %% had died before (dashed line)") % {"died": per_cent(died)}
    if found.endpoint.name == REVISION:
        rest += words.gettext("; %(alive)s %% alive with it in place") % {"alive": per_cent(1 - share - died)}
    rows = (
        *_first_rows(found, standings),
        CountRow(words.gettext("died so far"), tuple(at.died for at in standings)),
        CountRow(words.gettext("left the watch"), tuple(at.left for at in standings)),
    )
    return Panel(
        question % {"happened": happened(found.endpoint)},
        (*_answer(found, drawn, drawn.as_it_was), rest),
        drawn.as_it_was.points,
        rows,
        beside=drawn.deaths,
        beside_words=words.pgettext("line", "died"),
    )


def _answer(found: Survival, drawn: Drawn, curve: Curve) -> tuple[str, ...]:
    """The share at the year of the answer, and its limits or why there are none."""
    at = curve.at(drawn.answered_at)
    said = words.gettext("%(share)s %% %(happened)s at %(years)s") % {
        "share": per_cent(at.share),
        "happened": happened(found.endpoint),
        "years": years(drawn.answered_at),
    }
    if drawn.start:
        said += words.gettext(", of those not yet at %(start)s") % {"start": years(drawn.start)}
    if at.lower is not None and at.upper is not None:
        limits = words.gettext("limits %(lower)s to %(upper)s %%") % {
            "lower": per_cent(at.lower),
            "upper": per_cent(at.upper),
        }
    elif not drawn.limits:
        limits = words.gettext("no limits: fewer than 20 people")
    elif not at.share:
        limits = words.gettext("no limits, since none had the event")
    elif isclose(at.share, 1):
        limits = words.gettext("no limits, since all had the event")
    else:
        limits = words.gettext("no limits can be formed")
    return said, limits


def _first_rows(found: Survival, standings: tuple[Standing, ...]) -> tuple[CountRow, ...]:
    rows = [
        CountRow(words.gettext("watched"), tuple(at.watched for at in standings)),
        CountRow(words.gettext("entered so far"), tuple(at.entered for at in standings)),
        CountRow(words.say(ENDPOINT_WORDS[found.endpoint.name].so_far), tuple(at.events for at in standings)),
    ]
    if found.endpoint.others_compete:
        others = tuple(at.other_revisions for at in standings)
        rows.append(CountRow(words.gettext("revised otherwise"), others))
    return tuple(rows)
