"""`yearmark stats survival`: from a CSV of times to Kaplan-Meier, cumulative incidence and the log-rank test of its groups."""

from collections.abc import Mapping, Sequence
from math import inf
from typing import Any

from server.outcomes.arithmetic.incidence import IncidenceStep, aalen_johansen
from server.outcomes.arithmetic.logrank import log_rank
from server.outcomes.arithmetic.spans import CENSORED, EVENT, Span, several_spans
from server.outcomes.arithmetic.survival import (
    follow_up_median,
    kaplan_meier,
    log_log_limits,
    median_time,
    robust_survival_se,
)
from server.outcomes.arithmetic.table import Row, TableProblem, decimal, duration, only_columns, read_table

NEEDED, WANTED = ("time", "status"), ("group", "entry", "id")
EVERYBODY = "all"  # the name of the only group where no column names one
MOST_STATUS, MOST_GROUPS = 99, 50
FEWEST_PERSONS = 20  # below it the jackknife by person is too small, and no limits are better than narrow ones
METHOD = (
    "at risk: entry < t <= time; survival by Kaplan-Meier, status 2 and above censored, se by Greenwood; incidence by"
    " Aalen-Johansen, every other status but 0 competing, incidence_se by the infinitesimal jackknife; limits log-log, level 0.95"
)
ROBUST = "; id repeats: se_robust, incidence_se and all limits by the infinitesimal jackknife summed over each id"
Groups = dict[str, list[Span]]


def survival_document(csv_text: str, start: float | None = None) -> dict[str, Any]:
    """`{"groups": {NAME: {"table": [...], "median", ...}}, "logrank", ...}`; None for what cannot be formed.

    With `start` the curves begin there and tell what becomes of those who were still under watch without any event.
    """
    groups, incomplete = read_groups(csv_text)
    if start is not None:
        groups = {name: [span for span in spans if span.time >= start] for name, spans in groups.items()}
        if not all(groups.values()):
            empty = next(name for name, spans in groups.items() if not spans)
            raise TableProblem(f"nobody of group {ascii(empty)[:40]} was still under watch at {start:g}")
    everybody = [span for spans in groups.values() for span in spans]
    causes = sorted({1, 2, *(span.status for span in everybody if span.status != CENSORED)})
    repeated = several_spans(everybody)
    test, reason = _test(groups, repeated)
    return {
        "groups": {name: _group(spans, causes, repeated) for name, spans in groups.items()},
        "logrank": test,
        "logrank_reason": reason,
        "incomplete": incomplete,
        "method": METHOD + (ROBUST if repeated else ""),
    }


def read_groups(csv_text: str) -> tuple[Groups, int]:
    """The spans of each group in the order in which the groups first appear, and how many rows lack a value."""
    table = read_table(csv_text, NEEDED)
    only_columns(table, NEEDED, WANTED)
    groups: Groups = {}
    incomplete = 0
    for row in table.rows:
        span = _span(row)
        if span is None:
            incomplete += 1
        else:
            groups.setdefault(row.cells.get("group", EVERYBODY), []).append(span)
    if not groups:
        raise TableProblem("there is no row with a value in every column")
    if len(groups) > MOST_GROUPS:
        raise TableProblem(
            f"the column group holds {len(groups)} different groups; {MOST_GROUPS} at most can be compared"
        )
    return groups, incomplete


def _span(row: Row) -> Span | None:
    """None where a value is missing, after what is there was looked at."""
    time, status = duration(row, "time"), _status(row)
    entry = duration(row, "entry") if "entry" in row.cells else -inf
    if time is None or status is None or entry is None or not all(row.cells.values()):
        return None
    if entry >= time:
        raise TableProblem(
            f"line {row.line}: entry is {entry:g} and time {time:g}; a time lies after its entry"
            " (what ends on the day it began counts half a day)"
        )
    return Span(time, status, entry, row.cells.get("id"))


def _status(row: Row) -> int | None:
    text = row.cells["status"]
    if not text:
        return None
    value = decimal(text)
    if value is None or not value.is_integer() or not 0 <= value <= MOST_STATUS:
        raise TableProblem(
            f"line {row.line}: status is {ascii(text)[:40]}; it must be a whole number: 0 censored, 1 the event, 2 to {MOST_STATUS}"
            " events that compete"
        )
    return int(value)


def _test(groups: Mapping[str, Sequence[Span]], repeated: bool) -> tuple[dict[str, Any] | None, str | None]:
    """The log-rank test, or why there is none."""
    if len(groups) < 2:
        return None, "there is only one group"
    if repeated:
        return None, "id repeats, and the test holds only where each row is of another person"
    found = log_rank(groups)
    if found is None:
        return None, "there is no event while two groups were at risk"
    return found._asdict(), None


def _group(spans: Sequence[Span], causes: Sequence[int], repeated: bool) -> dict[str, Any]:
    steps = kaplan_meier(spans)
    incidences = {cause: aalen_johansen(spans, cause) for cause in causes}
    too_few = several_spans(spans) and len({span.person for span in spans}) < FEWEST_PERSONS
    robust = robust_survival_se(spans) if repeated and not too_few else [None] * len(steps)
    table = []
    for index, step in enumerate(steps):
        lower, upper = log_log_limits(step.survival, robust[index] if repeated else step.se)
        row: dict[str, Any] = {**step._asdict(), "se_robust": robust[index], "lower": lower, "upper": upper}
        if not repeated:
            del row["se_robust"]
        now = {cause: of_cause[index] for cause, of_cause in incidences.items()}
        table.append({**row, **_incidence(now, too_few)})
    return {
        "table": table,
        "median": median_time(steps),
        "follow_up_median": follow_up_median(spans),
        "n": len(spans),
        "events": sum(span.status == EVENT for span in spans),
        "limits_reason": f"id repeats, and fewer than {FEWEST_PERSONS} persons give no limits" if too_few else None,
    }


def _incidence(now: Mapping[int, IncidenceStep], too_few: bool) -> dict[str, dict[str, float | None]]:
    """By cause: the incidence, its standard error and its limits."""
    errors = {cause: None if too_few else step.se for cause, step in now.items()}
    limits = {cause: log_log_limits(step.incidence, errors[cause]) for cause, step in now.items()}
    return {
        "incidence": {str(cause): step.incidence for cause, step in now.items()},
        "incidence_se": {str(cause): error for cause, error in errors.items()},
        "incidence_lower": {str(cause): lower for cause, (lower, _) in limits.items()},
        "incidence_upper": {str(cause): upper for cause, (_, upper) in limits.items()},
    }
