"""How long recovery takes, as a part of the series page."""

from collections.abc import Iterator
from functools import partial

from scoring.library import load_library
from server.crypto.fields import FieldProblem
from server.forms.stored import StoredAnswers, StoredAnswersProblem, open_answers
from server.outcomes.figures.recovery_drawing import draw_recovery
from server.outcomes.series.acceptable import STATES
from server.outcomes.series.acceptable_levels import Levels
from server.outcomes.series.recovery import Recovery, recovery_of
from server.outcomes.series.returns_reading import read_returns
from server.outcomes.series.row import people
from server.outcomes.series.sentence import Sentence
from server.staff.page import words
from server.staff.page.request_context import runtime
from server.staff.series.asked import Asked
from server.staff.series.part import Cell, Part, Table
from server.staff.series.recovery_figure import ENDS, recovery_figure
from server.staff.series.recovery_words import care, failed_sums, lead, question, says
from server.timepoints.plans import read_plans
from server.trust.keys import KeyMissing

COLUMNS = (
    "row_kind", "name", *STATES, "closed", "to_come", "not_planned", "share", "lower", "upper",
    "waited", *(f"ended_{end}" for end in ENDS), "nothing_to_wait_for", "not_answered", "one_yes_alone",
    "left_weeks", "right_weeks", "mass",
)  # fmt: skip


def recovery_part(asked: Asked) -> Part:
    """The answers of the forms that ask for weeks are opened, and no others."""
    read = read_returns(
        asked.session, asked.followings, asked.sentence, read_plans(asked.session).usable.values(), _opened
    )
    levels = Levels(load_library().definitions)
    found = recovery_of(asked.followings, asked.flow.rows_at("meant"), asked.sentence, levels, read)
    return part_of(found, asked.sentence)


def part_of(recovery: Recovery, sentence: Sentence) -> Part:
    """Its figure, words and table, from what was counted."""
    rows = recovery.observed_rows
    has_closed = any(window.come for window in recovery.windows)
    return Part(
        "recovery",
        question(),
        lead(recovery),
        partial(draw_recovery, recovery_figure(recovery, sentence)) if has_closed else None,
        len(rows),
        people(rows),
        Table(COLUMNS, tuple(_rows(recovery))),
        failed=failed_sums(recovery),
        says=tuple(says(recovery)),
        care=tuple(care(recovery)) if has_closed else (),
        counts=words.gettext("Said yes or no at a window, or revised:"),
    )


def _opened(handle: str, sealed: bytes) -> StoredAnswers | None:
    try:
        return open_answers(sealed, runtime().keys.patient_cipher(handle))
    except (KeyMissing, FieldProblem, StoredAnswersProblem):
        return None


def _rows(recovery: Recovery) -> Iterator[tuple[Cell, ...]]:
    """A row for each window, for each wait, and for each cell of a wait in which mass lies."""
    none: tuple[Cell, ...] = (None,)
    empty = none * (4 + len(ENDS))
    for window in recovery.windows:
        at = window.standings
        share: tuple[Cell, ...] = (at.acceptable if at.drawn else None) or (None, None, None)
        counts = (*(at.counts[state] for state in STATES), window.come, window.to_come, window.not_planned)
        yield ("window", window.code, *counts, *share, *empty, *none * 3)
    no_window = none * (len(STATES) + 6)
    apart = {each.activity: (each.did_not, each.unanswered, 0) for each in recovery.returns}
    lasting = recovery.lasting
    apart["lasting"] = lasting.yes_before, lasting.unanswered, lasting.one_yes
    waits = [*((each.activity, each.times) for each in recovery.returns), ("lasting", lasting.times)]
    for name, times in waits:
        ended = [sum(map(times.count, causes)) for causes, _said in ENDS.values()]
        yield ("wait", name, *no_window, len(times.events), *ended, *apart[name], *none * 3)
    for name, times in waits:
        for cell in times.cells if times.events else ():
            right = None if cell.right == float("inf") else cell.right
            yield ("cell", f"{name} {cell.cause or 'not_yet'}", *no_window, *empty, cell.left, right, cell.mass)
