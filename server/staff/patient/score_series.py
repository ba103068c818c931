"""From a record to the chart of its course: which scales are drawn, and what a reader is told about each point."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from flask import url_for

from scoring.definition import Definition, Scale
from scoring.library import Library
from server.models import Operation, Score
from server.queries.spacers import spacer_times
from server.staff.page import words
from server.staff.patient.course import CourseChart, Line, OperationMark, Panel, Point, SpacerMark, StateMark
from server.staff.patient.patient_record import Record, Side, Step
from server.staff.patient.printed_score import PERCENT, format_score, score_href
from server.words import labels
from server.words.phrase import Phrase, phrase

# What the standard plan asks everyone, in the order in which it is read: its title, and its heading in a table.
STANDARD: Mapping[str, tuple[Phrase, Phrase | str]] = {
    "sst": (phrase("Shoulder test"), "SST"),
    "pain": (phrase("Pain"), phrase("Pain")),
    "sane": (phrase("Own rating"), "SANE"),
}
STATE = ("pass", "acceptable")
# What is itself a state, or a change, is drawn on no scale and has no change of its own.
NO_SCALE_OF_ITS_OWN = frozenset({STATE[0], "global-change"})


@dataclass(frozen=True)
class TrackedInstrument:
    """One version of an instrument that is followed over time, by the scale that can be had before surgery too. `one_of_several`: of
    versions that were answered; their scores are never compared."""

    definition: Definition
    one_of_several: bool = False

    @property
    def scale(self) -> Scale:
        return self.definition.scale_of_change

    @property
    def title(self) -> str:
        """With the scale where that is not the whole score."""
        part = f": {self.scale.title.lower()}" if self.scale is not self.definition.scales[0] else ""
        return f"{words.say(STANDARD.get(self.definition.id, (self.definition.title,))[0])}{part}{self._version}"

    @property
    def heading(self) -> str:
        """Of the main score."""
        short = words.say(STANDARD[self.definition.id][1]) if self.definition.id in STANDARD else self.definition.title
        return f"{short}{self._version}"

    @property
    def in_a_sentence(self) -> str:
        """Of the main score, after the first word."""
        name = words.say(STANDARD.get(self.definition.id, ("",))[0]).lower() or self.definition.title
        return f"{name}{self._version}"

    @property
    def _version(self) -> str:
        return f", version {self.definition.version}" if self.one_of_several else ""

    def score(self, step: Step, scale: Scale | None = None) -> Score | None:
        """The valid one by this version, of the main scale unless another is named."""
        found = step.score(self.definition.id, (scale or self.definition.scales[0]).scale)
        return found if found is not None and found.instrument_version == self.definition.version else None


def tracked_instruments(sides: Iterable[Side], library: Library) -> list[TrackedInstrument]:
    """Those with a score, of the standard plan first; of several versions the newest first."""
    steps = [step for side in sides for step in side.answered]
    scores = [score for step in steps if step.response for score in step.response.scores]
    versions = {(each.instrument, int(each.instrument_version)) for each in scores if each.superseded_at is None}
    wanted = [each for each in versions if each[0] not in NO_SCALE_OF_ITS_OWN]
    order, names = list(STANDARD), [name for name, _version in wanted]
    wanted.sort(key=lambda each: (_place(order, each[0]), each[0], -each[1]))
    return [
        TrackedInstrument(library.instrument(f"{name}@{version}"), names.count(name) > 1) for name, version in wanted
    ]


def table_headings(record: Record, library: Library) -> list[TrackedInstrument]:
    """The columns of the table of forms; before the first answer those of the standard plan."""
    return tracked_instruments(record.sides, library) or [
        TrackedInstrument(library.instrument(name)) for name in STANDARD
    ]


def _place(order: Sequence[str], name: str) -> int:
    return order.index(name) if name in order else len(order)


def day_of(at: datetime, zone: str) -> date:
    return at.astimezone(ZoneInfo(zone)).date()


def course_chart(record: Record, library: Library, *, zone: str, today: date) -> CourseChart | None:
    """None when nothing was scored yet: there is no course to draw."""
    drawn = [_panel(record, each, zone) for each in tracked_instruments(record.sides, library)]
    panels = tuple(panel for panel in drawn if panel.lines)
    if not panels:
        return None
    return CourseChart(
        title=words.gettext("Scores of %(study_number)s over time: %(scales)s")
        % {"study_number": record.patient.study_number, "scales": ", ".join(panel.title for panel in panels)},
        panels=panels,
        operations=tuple(each for side in record.sides for each in _operated(side)),
        words=tuple(each for side in record.sides for each in _said(side, zone)),
        words_title=words.gettext("Acceptable state"),
        today=today,
        sides={side: words.say(name) for side, name in labels.SIDE.items()},
        language=words.spoken(),
        spacers=tuple(each for side in record.sides for each in _spacers(side, today)),
    )


def _spacers(side: Side, today: date) -> list[SpacerMark]:
    """The days between the stages of each exchange: what was answered then tells of no definitive implant."""
    word, found = words.say(labels.SIDE[side.side]), []
    for each in spacer_times(side.operations):
        last = each.until or today
        said = words.gettext("%(side)s: between the stages of an exchange, to %(day)s")
        found.append(SpacerMark(side.side, each.since, last, said % {"side": word, "day": words.day(last)}))
    return found


def _panel(record: Record, each: TrackedInstrument, zone: str) -> Panel:
    definition, scale = each.definition, each.scale
    low, high = scale.range
    better = words.gettext("higher is better") if scale.better == "higher" else words.gettext("lower is better")
    of_normal = words.gettext("of normal")
    unit = f" % {of_normal}" if definition.id == "sane" else f", {better}"
    lines = tuple(line_of(side, each, zone) for side in record.sides)
    href = url_for("staff.instrument", spec=definition.spec, _anchor=f"scale-{scale.scale}")
    said = words.gettext("%(scale)s: how it is scored") % {"scale": each.title}
    drawn = tuple(line for line in lines if line.points)
    return Panel(each.title, f"{low:g}–{high:g}{unit}", low, high, drawn, href, said)


def line_of(side: Side, each: TrackedInstrument, zone: str) -> Line:
    """One shoulder's scores of one instrument, each on the day on which it was answered."""
    definition, scale = each.definition, each.scale
    points, unanswered = [], []
    for step in side.steps:
        score = each.score(step, scale)
        value = score.value if score else None
        if step.response is not None and value is not None:
            on, text = day_of(step.response.finished_at, zone), format_score(definition, scale, value)
            mode = words.say(labels.MODE[step.response.mode])
            said = f"{words.say(labels.SIDE[side.side])} {text}: {step.words}, {words.day(on)}, {mode}"
            points.append(
                Point(
                    on,
                    value,
                    said,
                    text.removesuffix(PERCENT),
                    score_href(step.response.id, definition.id, scale.scale),
                )
            )
        elif step.code.year is not None and (step.status == "missed" or step.response is not None):
            unanswered.append(step.shown_on)  # nothing came, or too little to be scored
    return Line(side.side, tuple(sorted(points, key=lambda point: point.on)), tuple(unanswered))


def _operated(side: Side) -> list[OperationMark]:
    found = []
    for operation in side.operations:
        on = operation.surgery_on or operation.surgery_planned_on
        if on is not None and operation.cancelled_on is None:
            found.append(OperationMark(side.side, on, _what(side, operation), planned=operation.surgery_on is None))
    return found


def _what(side: Side, operation: Operation) -> str:
    implant = words.IMPLANT.get(operation.implant_type or "", phrase("operation"))
    said = words.say(implant if operation.kind == "index" else words.KIND[operation.kind])
    return f"{words.say(labels.SIDE[side.side])}: {said}"


def _said(side: Side, zone: str) -> list[StateMark]:
    found, name = [], words.say(labels.SIDE[side.side])
    for step in side.steps:
        value = step.value(*STATE)
        if step.response is not None and value is not None:
            on, href = day_of(step.response.finished_at, zone), score_href(step.response.id, *STATE)
            word = words.gettext("yes") if value == 1 else words.pgettext("answer", "no")
            told = {"side": name, "answer": word, "day": words.day(on)}
            found.append(
                StateMark(side.side, on, value == 1, word, words.gettext("%(side)s %(answer)s: %(day)s") % told, href)
            )
    return found
