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
from server.intake.rebuild import Batch
from server.intake.score_changes import KINDS, Difference, Summary, Where, Why
from server.intake.scores import Stated

SAYS = {
    "status": "changed status",
    "value": "changed value",
    "method": "changed method words only",
    "details": "changed reason, item counts or text only",
    "new_scale": "new scale",
    "scale_gone": "scale gone",
}
LEFT_ALONE = {
    Why.ERASED: "the patient was erased",
    Why.KEY_MISSING: "the patient's key is not in the key folder; bring it back from its backup and run this again",
    Why.NOT_OPENED: "the answers do not open under the patient's key; a backup may hold them whole",
    Why.UNKNOWN_VERSION: "an instrument version that this program does not hold; install the version that does",
    Why.NOT_FITTING: "answers that their instrument does not accept; tell whoever looks after the program",
}
MENDABLE = tuple(why for why in Why if why is not Why.ERASED)
PLACE = ("study_number", "side", "timepoint", "attempt", "response_id")
SHOWN = tuple(name for name in Stated._fields if name not in ("instrument", "scale"))
HEAD = (
    *PLACE,
    "instrument",
    "scale",
    "change",
    "why",
    *(f"{when}_{name}" for name in SHOWN for when in ("old", "new")),
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
        yield partial(_list, report, file, Table(file, HEAD))
    finally:
        with suppress(OSError):  # what counts is on the disk since the last batch
            file.close()


def _list(report: Path, file: TextIO, table: Table, batch: Batch) -> None:
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
        old, new = (_values(each) for each in (change.before, change.after))
        pairs = [each for pair in zip(old, new, strict=True) for each in pair]
        table.write((*_place(change.where), group.instrument, group.scale, SAYS[group.kind], group.why, *pairs))
    for left in batch.left_alone:
        nothing = [None] * (2 * len(SHOWN))
        table.write((*_place(left.where), None, None, "left alone", LEFT_ALONE[left.why], *nothing))


def _place(where: Where) -> tuple[object, ...]:
    return where.study_number, where.side, where.timepoint, where.attempt, where.response_id


def _values(stated: Stated | None) -> list[object]:
    return [None if stated is None else getattr(stated, name) for name in SHOWN]


def summary_lines(found: Summary, *, check: bool) -> Iterator[str]:
    """For a data manager: counts, then changes by scale with their reason and size, then what was left alone."""
    changed = found.changed
    compared = found.unchanged.total() + changed.total()
    yield f"Scoring version {SCORING_VERSION}: {_count(found.responses, 'response')}, {_count(compared, 'score')} compared."
    yield ""
    by_version = ", ".join(f"{count:,} by scoring version {each}" for each, count in sorted(found.unchanged.items()))
    yield f"  {found.unchanged.total():>9,}  unchanged{f' ({by_version})' if by_version else ''}"
    yield from (f"  {changed[kind]:>9,}  {SAYS[kind]}" for kind in KINDS if changed[kind])
    yield from (f"  {found.left_alone[why]:>9,}  left alone: {LEFT_ALONE[why]}" for why in Why if found.left_alone[why])
    if found.groups:
        yield ""
        yield from (
            f"  {group.instrument} {group.scale}: {SAYS[group.kind]}, {by.count:,}{_by(by)}. Why: {group.why}"
            for group, by in sorted(found.groups.items())
        )
    yield ""
    yield _ending(found, check=check)


def _count(number: int, thing: str) -> str:
    return f"{number:,} {thing}{'' if number == 1 else 's'}"


def _by(difference: Difference) -> str:
    if difference.least is None or difference.most is None or not (difference.least or difference.most):
        return ""
    least, most = (f"{each:+.6g}" for each in (difference.least, difference.most))
    return f" (new minus old {least})" if least == most else f" (new minus old {least} to {most})"


def _ending(found: Summary, *, check: bool) -> str:
    if check:
        return "This was a check: nothing was written."
    if not found.groups:
        return "Nothing had to be changed."
    return "The old rows stay, each marked with the instant at which it was superseded."
