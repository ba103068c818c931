"""The picture of one shoulder on the page to take home: the drawing of the patient's page with the words of the patient's own questions."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from scoring.definition import Definition, Item
from scoring.library import Document, Library
from server.queries.spacers import spacer_times
from server.staff.patient.course import CourseChart, Line, OperationMark, Panel, SpacerMark, StateMark
from server.staff.patient.patient_record import Side, Step
from server.staff.patient.score_series import STATE, TrackedInstrument, day_of, line_of
from server.words.language import Words

PANELS_A_PICTURE = 3  # as many as fit on a page together with what is said before them
NO_SIDES = {"left": "", "right": ""}


def is_recalled(step: Step) -> bool:
    """Told after surgery about the time before it."""
    return step.timepoint.window_state == "recalled"


def pictures_of(
    side: Side, tracked: Sequence[TrackedInstrument], library: Library, language: Words, *, zone: str, today: date
) -> list[CourseChart]:
    """Several where more scales are followed than a page holds; none where there is no number."""
    remembered = replace(side, steps=tuple(step for step in side.steps if not is_recalled(step)))
    drawn = [_panel(remembered, each, library, language, zone) for each in tracked]
    panels = [panel for panel in drawn if panel.lines]
    states = tuple(_states(remembered, language, zone))
    return [
        CourseChart(
            title="",
            panels=tuple(panels[first : first + PANELS_A_PICTURE]),
            operations=tuple(_operations(side, language)),
            words=states if first == 0 else (),
            words_title=title_of(library, STATE[0], language),
            today=today,
            sides=NO_SIDES,
            language=language,
            spacers=tuple(_spacers(side, today)),
        )
        for first in range(0, len(panels), PANELS_A_PICTURE)
    ]


def title_of(library: Library, spec: str, language: Words) -> str:
    """As the form itself is headed on the patient's phone."""
    return str(_text(library, spec, language)["title"])


def tracked_title(each: TrackedInstrument, library: Library, language: Words) -> str:
    title = title_of(library, each.definition.spec, language)
    if not each.one_of_several:
        return title
    return language.gettext("%(title)s, form %(version)s") % {"title": title, "version": each.definition.version}


def number_of(language: Words, text: str) -> str:
    """A score as pages print it, with the decimal mark of the language."""
    return language.number(float(text))


def _text(library: Library, spec: str, language: Words) -> Document:
    texts: Mapping[str, Document] = library.texts(spec)
    return texts.get(language.language) or texts["en"]


def _panel(side: Side, each: TrackedInstrument, library: Library, language: Words, zone: str) -> Panel:
    low, high = each.scale.range
    line = line_of(side, each, zone)
    points = tuple(replace(one, text=number_of(language, one.text), said="", href="") for one in line.points)
    lines = (Line(line.side, points, line.unanswered_on),) if points else ()
    return Panel(tracked_title(each, library, language), _note(each, library, language), low, high, lines)


def _note(each: TrackedInstrument, library: Library, language: Words) -> str:
    """What the ends of the scale mean: in the words that stood at them where it is one question, else which is the better one."""
    low, high = (language.number(end) for end in each.scale.range)
    item = _only_item(each.definition)
    if item is not None:
        asked = _text(library, each.definition.spec, language)["items"].get(item.item, {})
        if asked.get("low") and asked.get("high"):
            return f"{low}: {asked['low']}. {high}: {asked['high']}."
    if each.scale.better == "higher":
        return language.gettext("From %(low)s to %(high)s. Higher is better.") % {"low": low, "high": high}
    return language.gettext("From %(low)s to %(high)s. Lower is better.") % {"low": low, "high": high}


def _only_item(definition: Definition) -> Item | None:
    return definition.items[0] if len(definition.items) == 1 else None


def _operations(side: Side, language: Words) -> list[OperationMark]:
    found = []
    for each in side.operations:
        on = each.surgery_on or each.surgery_planned_on
        if on is None or each.cancelled_on is not None:
            continue
        if each.surgery_on is None:
            said = language.gettext("planned operation, %(day)s") % {"day": language.short_day(on)}
        else:
            said = language.gettext("operation, %(day)s") % {"day": language.short_day(on, each.surgery_precision)}
        found.append(OperationMark(side.side, on, said, planned=each.surgery_on is None))
    return found


def _states(side: Side, language: Words, zone: str) -> list[StateMark]:
    found = []
    for step in side.steps:
        value = step.value(*STATE)
        if step.response is not None and value is not None:
            on, yes = day_of(step.response.finished_at, zone), value == 1
            found.append(StateMark(side.side, on, yes, yes_or_no(language, yes=yes), ""))
    return found


def yes_or_no(language: Words, *, yes: bool) -> str:
    return language.gettext("yes") if yes else language.pgettext("answer", "no")


def _spacers(side: Side, today: date) -> list[SpacerMark]:
    return [SpacerMark(side.side, each.since, each.until or today, "") for each in spacer_times(side.operations)]
