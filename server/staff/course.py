"""From a record to the chart of its course: which scales are drawn, and what a reader is told about each point."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from flask import url_for

from scoring.definition import Definition
from scoring.library import Library
from server.models import Operation
from server.staff import words
from server.staff.chart import Course, Line, Operated, Panel, Point, Said
from server.staff.printed import score_href
from server.staff.record import Record, Side

# What the standard plan asks everyone, in the order in which it is read; more instruments have their place in the table.
SCALES = (("sst", "total", "Shoulder test"), ("pain", "pain", "Pain"), ("sane", "sane", "Own rating"))
STATE = ("pass", "acceptable")


def day_of(at: datetime, zone: str) -> date:
    return at.astimezone(ZoneInfo(zone)).date()


def course_of_record(record: Record, library: Library, *, zone: str, today: date) -> Course | None:
    """None when nothing was answered yet: there is no course to draw."""
    panels = tuple(
        _panel(record, library.instrument(instrument), scale, title, zone) for instrument, scale, title in SCALES
    )
    if not any(line.points for panel in panels for line in panel.lines):
        return None
    return Course(
        title=f"Scores of {record.patient.study_number} over time: " + ", ".join(title for _i, _s, title in SCALES),
        panels=panels,
        operations=tuple(each for side in record.sides for each in _operated(side)),
        words=tuple(each for side in record.sides for each in _said(side, zone)),
        words_title="Acceptable state",
        today=today,
    )


def _panel(record: Record, definition: Definition, scale: str, title: str, zone: str) -> Panel:
    found = definition.by_scale[scale]
    low, high = found.range
    unit = " % of normal" if definition.id == "sane" else f", {found.better} is better"
    lines = tuple(_line(side, definition.id, scale, zone) for side in record.sides)
    href = url_for("staff.instrument", spec=definition.spec, _anchor=f"scale-{scale}")
    return Panel(title, f"{low:g}–{high:g}{unit}", low, high, tuple(line for line in lines if line.points), href)


def _line(side: Side, instrument: str, scale: str, zone: str) -> Line:
    points, unanswered = [], []
    for step in side.steps:
        value = step.value(instrument, scale)
        if step.response is not None and value is not None:
            on = day_of(step.response.finished_at, zone)
            said = f"{side.side} {value:g}: {step.words}, {words.day(on)}, {words.MODE[step.response.mode]}"
            points.append(Point(on, value, said, score_href(step.response.id, instrument, scale)))
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
