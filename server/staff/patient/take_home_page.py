"""What stands on the page to take home, as plain data for the typesetter: one patient's own answers, and nothing about anybody else."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from scoring.library import Library
from server.models.response import FOR_THE_PATIENT
from server.outcomes.figures.print import on_paper
from server.schedule.status import Status
from server.staff.page.request_context import RequestContext
from server.staff.patient import take_home_words as say
from server.staff.patient.chart_drawing import draw_for_paper
from server.staff.patient.course import CourseChart
from server.staff.patient.patient_record import Record, Side, Step
from server.staff.patient.printed_score import format_score
from server.staff.patient.score_series import STATE, TrackedInstrument, day_of, tracked_instruments
from server.staff.patient.take_home_chart import (
    is_recalled,
    number_of,
    pictures_of,
    title_of,
    tracked_title,
    yes_or_no,
)
from server.words.language import Words

NONE = "–"
PAIN = "pain"
Table = dict[str, Any]


@dataclass(frozen=True)
class Reader:
    """Whom the page is made for, and by whom: their language, the clinic at this instant, the instruments."""

    language: Words
    clinic: RequestContext
    library: Library


def page_of(record: Record, reader: Reader) -> dict[str, Any]:
    """The whole page; the same for the same record and day."""
    language, clinic = reader.language, reader.clinic
    answered = any(side.answered for side in record.sides)
    today = language.day(clinic.today)
    title = say.page_title(language, len(record.sides))
    number = record.patient.study_number
    return {
        "language": language.language,
        "title": title,
        "demo": language.gettext("Demo: this person is invented.") if clinic.demo else "",
        "clinic": clinic.clinic_name,
        "reached": f"{clinic.phone} ({clinic.hours_in(language.language)})",
        "whose": language.gettext("For %(name)s.") % {"name": record.name},
        "as_of": language.gettext("What had reached us by %(day)s.") % {"day": today},
        "lead": say.lead(language) if answered else [say.nothing_yet(language)],
        "shoulders": [_shoulder(side, reader) for side in record.sides] if answered else [],
        "urgent": {
            "heading": language.gettext("When to call"),
            "paragraphs": say.caution(language, clinic),
        },
        "sections": _sections(record, reader) if answered else [],
        "tables": [_table(side, reader) for side in record.sides if side.answered],
        "last": say.last_words(language, clinic.phone),
        "foot": f"{record.name} · {number} · {today}",
    }


def _shoulder(side: Side, reader: Reader) -> dict[str, Any]:
    language = reader.language
    found: dict[str, Any] = {"heading": say.shoulder_title(language, side.side), "pictures": [], "how": ""}
    tracked = _followed(side, reader.library)
    clinic = reader.clinic
    charts = pictures_of(side, tracked, reader.library, language, zone=clinic.time_zone, today=clinic.today)
    if not charts:
        nothing = language.gettext("There is nothing to draw yet.")
        return {**found, "how": nothing}
    said = language.gettext("A picture of the answers in the table “%(title)s”") % {
        "title": _table_title(side, language)
    }
    pictures = [{"drawing": on_paper(draw_for_paper(each)), "said": said} for each in charts]
    return {**found, "pictures": pictures, "how": " ".join(_how_to_read(charts, language))}


def _followed(side: Side, library: Library) -> list[TrackedInstrument]:
    """Pain first, since that is what people ask about first."""
    return sorted(tracked_instruments([side], library), key=lambda each: each.definition.id != PAIN)


def _how_to_read(charts: Sequence[CourseChart], language: Words) -> list[str]:
    lines = [line for chart in charts for panel in chart.panels for line in panel.lines]
    return say.how_to_read(
        language,
        answers=max(len(line.points) for line in lines),
        gaps=any(_has_gap(line.unanswered_on, [point.on for point in line.points]) for line in lines),
        spacer=bool(charts[0].spacers),
        states=bool(charts[0].words),
    )


def _has_gap(unanswered: Sequence[date], days: Sequence[date]) -> bool:
    return any(min(days) < each < max(days) for each in unanswered)


def _table_title(side: Side, language: Words) -> str:
    title = say.shoulder_title(language, side.side)
    return language.gettext("%(shoulder)s in numbers") % {"shoulder": title}


def _table(side: Side, reader: Reader) -> Table:
    """Every answered form of one shoulder, the first one first."""
    language, library = reader.language, reader.library
    tracked = _followed(side, library)
    titles = [tracked_title(each, library, language) for each in tracked]
    asked, day = language.gettext("Before or after the operation"), language.gettext("Answered on")
    return {
        "heading": _table_title(side, language),
        "columns": [asked, day, *titles, title_of(library, STATE[0], language)],
        "rows": [_row(side, step, tracked, reader) for step in side.answered],
    }


def _row(side: Side, step: Step, tracked: Sequence[TrackedInstrument], reader: Reader) -> list[str]:
    language = reader.language
    assert step.response is not None
    own = step.value(*STATE)
    return [
        _when(side, step, language),
        language.short_day(day_of(step.response.finished_at, reader.clinic.time_zone)),
        *(_cell(step, each, language) for each in tracked),
        NONE if own is None else yes_or_no(language, yes=own == 1),
    ]


def _cell(step: Step, each: TrackedInstrument, language: Words) -> str:
    score = each.score(step, each.scale)
    if score is None or score.value is None:
        return NONE
    printed = format_score(each.definition, each.scale, score.value)
    number, percent = printed.rstrip("%\u00a0"), printed.endswith("%")
    return number_of(language, number) + ("\u00a0%" if percent else "")


def _when(side: Side, step: Step, language: Words) -> str:
    """With the year of the operation where "2 years after" does not say which."""
    said = say.when(language, step.code)
    operated = step.operation.surgery_on
    if side.has_several_clocks and operated is None:
        said = language.gettext("%(when)s (planned operation)") % {"when": said}
    elif side.has_several_clocks and operated is not None:
        said = language.gettext("%(when)s (operation of %(year)s)") % {"when": said, "year": operated.year}
    if is_recalled(step):
        return language.gettext("%(when)s, told afterwards") % {"when": said}
    return said


def _sections(record: Record, reader: Reader) -> list[dict[str, Any]]:
    language = reader.language
    steps = [step for side in record.sides for step in side.answered]
    tables = [_table(side, reader) for side in record.sides if side.answered]
    missing = say.not_here(
        language,
        unanswered=_times(record, Status.MISSED, language),
        unasked=_times(record, Status.NEVER_ASKED, language),
        dashes=any(NONE in row for table in tables for row in table["rows"]),
        by_others=any(step.response is not None and step.response.answered_by == FOR_THE_PATIENT for step in steps),
        recalled=any(is_recalled(step) for step in steps),
    )
    found = [{"heading": language.gettext("What is not on this page"), "paragraphs": missing}]
    texts = _kinds_of_text(steps)
    if texts:
        words = say.whose_words(language, descriptive="descriptive" in texts, licensed="licensed" in texts)
        found.append({"heading": language.gettext("Whose words the questions are"), "paragraphs": [words]})
    return found


def _times(record: Record, status: Status, language: Words) -> str:
    """The forms that ended so, of each shoulder."""
    found = {side.side: [step.code for step in side.over if step.status == status] for side in record.sides}
    return say.of_shoulders(language, found, named=len(record.sides) > 1)


def _kinds_of_text(steps: Sequence[Step]) -> set[str]:
    scores = [score for step in steps if step.response for score in step.response.scores]
    return {"descriptive" if "/descriptive-" in each.text_id else "licensed" for each in scores}
