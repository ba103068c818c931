"""The silence strip as the page says it, and both response rates as every figure's foot says them."""

from collections.abc import Callable, Mapping, Sequence

from server.outcomes.figures.strip_layout import IN_BARS, CountRow, Place, StripFigure, StripYear
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import Rate, Strip, YearPlaces
from server.staff.page import words
from server.words.phrase import Phrase, phrase

PLACES: Mapping[Place, Phrase] = {
    "answered": phrase("answered"),
    "silent": phrase("silent"),
    "never_asked": phrase("never asked or declined"),
    "revised": phrase("revised before"),
    "dead": phrase("dead before"),
}
SILENT_OR_OTHERWISE = phrase("silent, or answered otherwise than the sentence wants")


def strip_figure(strip: Strip, sentence: Sentence, rows: Sequence[CountRow] | None = None) -> StripFigure:
    """The bars of the years that a figure shows. `rows`: its own counts below the bars; else those of the strip and both rates."""
    years = strip.shown
    return StripFigure(
        title=words.gettext("Silence strip"),
        lead=words.gettext("all whose year has come, as they stand"),
        meant=strip.meant,
        years=tuple(
            StripYear(year.year, {place: year.count(place) for place in IN_BARS}, year.count("to_come"))
            for year in years
        ),
        rows=tuple(rows if rows is not None else (*place_rows(years, sentence), *come_rows(strip), *rate_rows(years))),
    )


def count_row(label: str, years: Sequence[YearPlaces], count: Callable[[YearPlaces], int]) -> CountRow:
    return CountRow(label, {year.year: str(count(year)) for year in years})


def place_rows(years: Sequence[YearPlaces], sentence: Sentence) -> list[CountRow]:
    """One for each place of the bars, with its key."""
    found = []
    for place in IN_BARS:
        counts = {year.year: str(year.count(place)) for year in years}
        found.append(CountRow(_place_words(place, years, sentence), counts, mark=place))
    return found


def _place_words(place: Place, years: Sequence[YearPlaces], sentence: Sentence) -> str:
    unasked = max((year.died_unasked for year in years), default=0)
    if place == "dead" and unasked:
        return words.gettext("dead before (up to %(count)s never asked)") % {"count": unasked}
    otherwise = place == "silent" and sentence.picks_answers
    return words.say(SILENT_OR_OTHERWISE if otherwise else PLACES[place])


def come_rows(strip: Strip) -> list[CountRow]:
    """Those whose year has come, below a line, and those for whom it is to come: together they are all that are meant."""
    come = {year.year: str(year.come) for year in strip.shown}
    to_come = words.gettext("to come, of %(count)s") % {"count": strip.meant}
    return [
        CountRow(words.gettext("whose year has come"), come, strong=True, ruled=True),
        count_row(to_come, strip.shown, lambda year: year.count("to_come")),
    ]


def rate_rows(years: Sequence[YearPlaces]) -> list[CountRow]:
    """Both response rates of each year in percent; their counts stand in the rows above."""
    return [
        CountRow(words.gettext("answered of those due, %"), {year.year: _percent(year.of_due) for year in years}),
        CountRow(words.gettext("answered of all, %"), {year.year: _percent(year.of_all) for year in years}),
    ]


def rates_words(strip: Strip, sentence: Sentence) -> str:
    """Both response rates over all years, as counts, for the foot of a figure."""
    due, of_all = strip.of_due, strip.of_all
    if not of_all.of:
        return words.gettext("No form of a whole year was due yet.")
    said = (
        words.gettext(
            "Forms answered as the sentence wants: %(answered)s of %(due)s due (%(of_due)s), %(answered)s of %(all)s with the dead and the"
            " revised (%(of_all)s)."
        )
        if sentence.picks_answers
        else words.gettext(
            "Forms: %(answered)s of %(due)s due (%(of_due)s), %(answered)s of %(all)s with the dead and the revised (%(of_all)s)."
        )
    )
    return said % {
        "answered": due.answered,
        "due": due.of,
        "of_due": _percent(due, sign=" %"),
        "all": of_all.of,
        "of_all": _percent(of_all, sign=" %"),
    }


def later_words(strip: Strip) -> str:
    """What lies behind the end of the axis; nothing where no answer does."""
    count = strip.answered_later
    if not count:
        return ""
    return words.ngettext(
        "The axis ends with year %(year)s, since later ones have come for fewer than ten: %(count)s "
        "answer of a later year lies behind its end.",
        "The axis ends with year %(year)s, since later ones have come for fewer than ten: %(count)s "
        "answers of later years lie behind its end.",
        count,
    ) % {"year": strip.shown[-1].year, "count": count}


def nobody_meant() -> str:
    """Instead of what a figure of nobody would say of years and answers."""
    return words.gettext("The sentence means nobody, so there is nothing to show: choose fewer or other words.")


def failed_strip_sums(strip: Strip) -> tuple[str, ...]:
    """In words, which years of the strip do not hold every shoulder once."""
    return tuple(
        words.gettext("In year %(year)s there should be %(meant)s shoulders, and %(now)s were counted.")
        % {"year": year, "meant": meant, "now": now}
        for year, meant, now in strip.failed_sums()
    )


def _percent(rate: Rate, sign: str = "") -> str:
    """Half a percent is rounded up; a dash where nobody is counted."""
    return f"{(200 * rate.answered + rate.of) // (2 * rate.of)}{sign}" if rate.of else "–"
