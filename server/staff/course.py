"""From a record to the chart of its course: which scales are drawn, and what a reader is told about each point."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from flask import url_for

from scoring.definition import Definition, Scale
from scoring.library import Library
from server.models import Operation
from server.staff import words
from server.staff.chart import Course, Line, Operated, Panel, Point, Said
from server.staff.printed import PERCENT, printed, score_href
from server.staff.record import Record, Side

# What the standard plan asks everyone, in the order in which it is read: its title, and its heading in a table.
STANDARD = {"sst": ("Shoulder test", "SST"), "pain": ("Pain", "Pain"), "sane": ("Own rating", "SANE")}
STATE = ("pass", "acceptable")
# What is itself a state, or a change, is drawn on no scale and has no change of its own.
NO_SCALE_OF_ITS_OWN = frozenset({STATE[0], "global-change"})


@dataclass(frozen=True)
class Followed:
    """An instrument that is followed over time, by the scale that can be had before surgery too."""

    definition: Definition

    @property
    def scale(self) -> Scale:
        return self.definition.scale_of_change

    @property
    def title(self) -> str:
        return STANDARD.get(self.definition.id, (self.definition.title,))[0]

    @property
    def heading(self) -> str:
        return STANDARD[self.definition.id][1] if self.definition.id in STANDARD else self.definition.title

    @property
    def in_a_sentence(self) -> str:
        """After the first word."""
        return self.title.lower() if self.definition.id in STANDARD else self.title


def followed(sides: Iterable[Side], library: Library) -> list[Followed]:
    """Those with a score, of the standard plan first; the newest version where there were several."""
    steps = [step for side in sides for step in side.answered]
    scores = [score for step in steps if step.response for score in step.response.scores]
    versions = {(each.instrument, int(each.instrument_version)) for each in scores if each.superseded_at is None}
    newest = dict(sorted(versions))
    order = list(STANDARD)
    names = sorted(newest.keys() - NO_SCALE_OF_ITS_OWN, key=lambda name: (_place(order, name), name))
    return [Followed(library.instrument(f"{name}@{newest[name]}")) for name in names]


def headed(record: Record, library: Library) -> list[Followed]:
    """The columns of the table of forms; before the first answer those of the standard plan."""
    return followed(record.sides, library) or [Followed(library.instrument(name)) for name in STANDARD]


def _place(order: Sequence[str], name: str) -> int:
    return order.index(name) if name in order else len(order)


def day_of(at: datetime, zone: str) -> date:
    return at.astimezone(ZoneInfo(zone)).date()


def course_of_record(record: Record, library: Library, *, zone: str, today: date) -> Course | None:
    """None when nothing was scored yet: there is no course to draw."""
    drawn = [_panel(record, each, zone) for each in followed(record.sides, library)]
    panels = tuple(panel for panel in drawn if panel.lines)
    if not panels:
        return None
    return Course(
        title=f"Scores of {record.patient.study_number} over time: " + ", ".join(panel.title for panel in panels),
        panels=panels,
        operations=tuple(each for side in record.sides for each in _operated(side)),
        words=tuple(each for side in record.sides for each in _said(side, zone)),
        words_title="Acceptable state",
        today=today,
    )


def _panel(record: Record, each: Followed, zone: str) -> Panel:
    definition, scale = each.definition, each.scale
    low, high = scale.range
    unit = " % of normal" if definition.id == "sane" else f", {scale.better} is better"
    lines = tuple(_line(side, definition, scale, zone) for side in record.sides)
    href = url_for("staff.instrument", spec=definition.spec, _anchor=f"scale-{scale.scale}")
    return Panel(each.title, f"{low:g}–{high:g}{unit}", low, high, tuple(line for line in lines if line.points), href)


def _line(side: Side, definition: Definition, scale: Scale, zone: str) -> Line:
    points, unanswered = [], []
    for step in side.steps:
        value = step.value(definition.id, scale.scale)
        if step.response is not None and value is not None:
            on, text = day_of(step.response.finished_at, zone), printed(definition, scale, value)
            said = f"{side.side} {text}: {step.words}, {words.day(on)}, {words.MODE[step.response.mode]}"
            points.append(
                Point(
                    on,
                    value,
                    said,
                    text.removesuffix(PERCENT),
                    score_href(step.response.id, definition.id, scale.scale),
                )
            )
        elif step.timepoint.code.startswith("year-") and (step.status == "missed" or step.response is not None):
            unanswered.append(step.shown_on)  # nothing came, or too little to be scored
    return Line(side.side, tuple(sorted(points, key=lambda point: point.on)), tuple(unanswered))


def _operated(side: Side) -> list[Operated]:
    found = []
    for operation in side.operations:
        on = operation.surgery_on or operation.surgery_planned_on
        if on is not None and operation.cancelled_on is None:
            found.append(Operated(side.side, on, _what(side, operation), planned=operation.surgery_on is None))
    return found


def _what(side: Side, operation: Operation) -> str:
    implant = words.IMPLANT.get(operation.implant_type or "", "operation")
    return f"{side.side}: {implant if operation.kind == 'index' else words.KIND[operation.kind]}"


def _said(side: Side, zone: str) -> list[Said]:
    found = []
    for step in side.steps:
        value = step.value(*STATE)
        if step.response is not None and value is not None:
            word, href = "yes" if value == 1 else "no", score_href(step.response.id, *STATE)
            found.append(Said(side.side, day_of(step.response.finished_at, zone), word, href))
    return found
