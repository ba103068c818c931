"""What `yearmark rescore` says: a summary to read, and a CSV file with one row a change."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import TextIO

from scoring.score import SCORING_VERSION
from server.cli.opening import Refusal
from server.exports.cells import Table
from server.intake.score_changes import KINDS, Batch, Difference, LeftAloneReason, RescoreSummary, ResponseLabel
from server.intake.scores import ScoreRow

KIND_WORDS = {
    "status": "changed status",
    "value": "changed value",
    "method": "changed method words only",
    "details": "changed reason, item counts or text only",
    "new_scale": "new scale",
    "scale_gone": "scale gone",
}
LEFT_ALONE_WORDS = {
    LeftAloneReason.ERASED: "the patient was erased",
    LeftAloneReason.KEY_MISSING: "the patient's key is not in the key folder; bring it back from its backup and run this again",
    LeftAloneReason.NOT_OPENED: "the answers do not open under the patient's key; a backup may hold them whole",
    LeftAloneReason.UNKNOWN_VERSION: "an instrument version that this program does not hold; install the version that does",
    LeftAloneReason.NOT_FITTING: "answers that their instrument does not accept; tell whoever looks after the program",
}
MENDABLE = tuple(why for why in LeftAloneReason if why is not LeftAloneReason.ERASED)
RESPONSE_COLUMNS = ("study_number", "side", "timepoint", "attempt", "response_id")
SCORE_COLUMNS = tuple(name for name in ScoreRow._fields if name not in ("instrument", "scale"))
HEAD = (
    *RESPONSE_COLUMNS,
    "instrument",
    "scale",
    "change",
    "why",
    *(f"{when}_{name}" for name in SCORE_COLUMNS for when in ("old", "new")),
)


@contextmanager
def report_file(report: Path | None) -> Iterator[Callable[[Batch], None]]:
    """Never over a file that is there: it may be the only list of an earlier run's changes. Only its owner may read it."""
    if report is None:
        yield lambda _batch: None
        return
    try:
        descriptor = os.open(report, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError as problem:
        raise Refusal(f"{report} is there already; nothing was changed. Name a new file") from problem
    except OSError as problem:
        raise Refusal(f"{report} cannot be written: {problem.strerror}; nothing was changed") from problem
    file = os.fdopen(descriptor, "w", encoding="utf-8", newline="")
    try:
        yield partial(_write_batch, report, file, Table(file, HEAD))
    finally:
        with suppress(OSError):  # what counts is on the disk since the last batch
            file.close()


def _write_batch(report: Path, file: TextIO, table: Table, batch: Batch) -> None:
    try:
        _write(table, batch)
        file.flush()
        os.fsync(file.fileno())  # before the change itself is: what was changed is listed, whenever the power goes
    except OSError as problem:
        raise Refusal(
            f"{report} cannot be written on: {problem.strerror}. Every change that was made is in it; run it again with another file "
            "for the rest"
        ) from problem


def _write(table: Table, batch: Batch) -> None:
    for change in batch.changes:
        group = change.group
        both = (change.before, change.after)
        pairs = [None if row is None else getattr(row, name) for name in SCORE_COLUMNS for row in both]
        head = (*_label(change.response), group.instrument, group.scale, KIND_WORDS[group.kind], group.why)
        table.write((*head, *pairs))
    for left in batch.left_alone:
        nothing = [None] * (2 * len(SCORE_COLUMNS))
        table.write((*_label(left.response), None, None, "left alone", LEFT_ALONE_WORDS[left.reason], *nothing))


def _label(response: ResponseLabel) -> tuple[object, ...]:
    return response.study_number, response.side, response.timepoint, response.attempt, response.response_id


def summary_lines(summary: RescoreSummary, *, check: bool) -> Iterator[str]:
    """For a data manager: counts, then changes by scale with their reason and size, then what was left alone."""
    changed = summary.changed
    scores = summary.unchanged.total() + changed.total()
    yield f"Scoring version {SCORING_VERSION}: {_count(summary.responses, 'response')}, {_count(scores, 'score')} compared."
    yield ""
    by_version = ", ".join(f"{count:,} by scoring version {each}" for each, count in sorted(summary.unchanged.items()))
    yield f"  {summary.unchanged.total():>9,}  unchanged{f' ({by_version})' if by_version else ''}"
    yield from (f"  {changed[kind]:>9,}  {KIND_WORDS[kind]}" for kind in KINDS if changed[kind])
    yield from (
        f"  {summary.left_alone[why]:>9,}  left alone: {LEFT_ALONE_WORDS[why]}"
        for why in LeftAloneReason
        if summary.left_alone[why]
    )
    if summary.groups:
        yield ""
        yield from (
            f"  {group.instrument} {group.scale}: {KIND_WORDS[group.kind]}, {by.count:,}{_by(by)}. Why: {group.why}"
            for group, by in sorted(summary.groups.items())
        )
    yield ""
    yield _ending(summary, check=check)


def _count(number: int, thing: str) -> str:
    return f"{number:,} {thing}{'' if number == 1 else 's'}"


def _by(difference: Difference) -> str:
    if difference.least is None or difference.most is None or not (difference.least or difference.most):
        return ""
    least, most = (f"{each:+.6g}" for each in (difference.least, difference.most))
    return f" (new minus old {least})" if least == most else f" (new minus old {least} to {most})"


def _ending(summary: RescoreSummary, *, check: bool) -> str:
    if check:
        return "This was a check: nothing was written."
    if not summary.groups:
        return "Nothing had to be changed."
    return "The old rows stay, each marked with the instant at which it was superseded."
