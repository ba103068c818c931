"""The columns of wide.csv that come again for each timepoint, such as y1_status and y1_sst_total.

What a patient recalled after surgery about the time before stands in columns of its own, rec_…, and never in base_….
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from scoring.text import text_kind
from server.exports import missing
from server.exports.column import LONGEST_NAME, YES_NO, Column
from server.exports.columns import (
    FIRST_DAY,
    REASON_NOTE,
    REVISED_NOTE,
    TEXT_KIND_NOTE,
    TEXT_KINDS,
    WIDE,
    columns_of,
)
from server.exports.facts import ExportRow, FormFacts, ScoreFacts
from server.models.follow_up import WINDOW_STATES
from server.models.response import ANSWERED_BY, FOR_THE_PATIENT, MODES
from server.schedule.preference import ITEM, PREFERS
from server.schedule.status import Reason, Status
from server.schedule.timepoint_code import TimepointCode
from server.schedule.window import WindowState

RECALLED = "recalled"
REASONS = tuple(each.word for each in (*missing.FORM, *missing.IN_WIDE))
PREFERRED = (*PREFERS.values(), "not_given", "not_asked")


def _prefers(form: FormFacts) -> str | None:
    """Nothing only where the form has no answers, and its own reason says why."""
    if form.missing is not None:
        return None
    asked = [each for each in form.items if each.instrument.startswith("preference@") and each.item == ITEM]
    if not asked:
        return "not_asked"
    return PREFERS.get(asked[0].value, "not_given") if asked[0].value is not None else "not_given"


# For each timepoint of wide.csv, after its short name: y1_status, y1_window, …
OF_EACH_TIMEPOINT: tuple[tuple[str, str, str, Callable[[FormFacts], object], tuple[str, ...]], ...] = (
    ("status", "status on the as-of day", "word", lambda f: f.status, tuple(Status)),
    ("reason", "why it stands so", "word", lambda f: f.status_reason, tuple(Reason)),
    ("missing", "why the form has no answer", "word", lambda f: f.missing, REASONS),
    ("window", "where the answer lies", "word", lambda f: f.window_state, WINDOW_STATES),
    ("mode", "how it was answered", "word", lambda f: f.mode, MODES),
    ("by", "who answered", "word", lambda f: f.answered_by, ANSWERED_BY),
    ("days", "days from surgery to the answer, or to the due day without one", "integer", lambda f: f.days_from_surgery, ()),
    ("prefers", "which of two operated shoulders is preferred", "word", _prefers, PREFERRED),
    ("spacer", "between the stages of an exchange on that day", "integer", lambda f: f.spacer_in, YES_NO),
)  # fmt: skip


def short_name(code: str) -> str:
    """`year-1` is y1, `month-3` m3, `week-6` w6, `day-10` d10, `baseline` base, and a recalled baseline rec."""
    if code == RECALLED:
        return "rec"
    parsed = TimepointCode.parse(code)
    return "base" if parsed.is_before_surgery else f"{parsed.unit[0]}{parsed.number}"


def in_wide(forms: Iterable[FormFacts]) -> Mapping[str, FormFacts]:
    """For each code the last attempt with answers, or else the last attempt. A baseline that was only recalled has none of its own."""
    found: dict[str, FormFacts] = {}
    for form in sorted(forms, key=lambda each: (each.missing is None, each.attempt)):
        if form.window_state == WindowState.RECALLED:
            found[RECALLED] = form
        else:
            found[form.code] = form
    recalled = found.get(RECALLED)
    if recalled is not None and recalled.code not in found:
        found[recalled.code] = replace(
            recalled, missing=RECALLED, window_state=None, mode=None, answered_by=None, items=(), scores=()
        )
    return found


def wide_columns(codes: list[str], scales: list[tuple[str, str]], *, recalled: bool = False) -> list[Column]:
    """The columns of the operation; then for each timepoint its own, and for each instrument in `scales` what kind of text it was
    asked in, how many scales were prorated, why a score is missing, and every scale. `recalled`: some baseline was recalled.
    """
    columns = columns_of(WIDE)
    for code in (*codes, *([RECALLED] if recalled else [])):
        columns += [*(_of_timepoint(code, *each) for each in OF_EACH_TIMEPOINT), _of_revised(code)]
        for instrument in dict.fromkeys(instrument for instrument, _scale in scales):
            columns += [_of_text(code, instrument), _of_prorated(code, instrument), _of_missing(code, instrument)]
            columns += [_of_scale(code, instrument, scale) for other, scale in scales if other == instrument]
    return columns


def _of_timepoint(
    code: str, name: str, label: str, type: str, value: Callable[[FormFacts], object], codes: tuple[str, ...]
) -> Column:
    def of_row(row: ExportRow) -> object:
        form = row.forms.get(code)
        if form is None:
            return "not_planned" if name == "missing" else None
        return value(form)

    unit, note = "days" if name == "days" else "", {"days": FIRST_DAY, "reason": REASON_NOTE}.get(name, "")
    return Column(
        f"{short_name(code)}_{name}", f"{code}: {label}", type, (WIDE,), of_row, unit, codes, "timepoint", note=note
    )


def _of_revised(code: str) -> Column:
    def of_row(row: ExportRow) -> object:
        form = row.forms.get(code)
        return form and row.operation.is_revised(form.on)

    label = f"{code}: the answer, or the due day without one, is after a revision"
    return Column(
        f"{short_name(code)}_revised", label, "integer", (WIDE,), of_row, "", YES_NO, "computed", note=REVISED_NOTE
    )


def _scores(row: ExportRow, code: str, instrument: str) -> list[ScoreFacts]:
    """None where the form has no answers to show or does not hold the instrument."""
    form = row.forms.get(code)
    scores = form.scores if form is not None and form.missing is None else ()
    return [each for each in scores if each.instrument.startswith(f"{instrument}@")]


def _of_text(code: str, instrument: str) -> Column:
    def of_row(row: ExportRow) -> object:
        scores = _scores(row, code, instrument)
        return text_kind(scores[0].text_id) if scores else None

    name, label = scale_name(code, instrument, "text"), f"{code}: whose words {instrument} was asked in"
    return Column(name, label, "word", (WIDE,), of_row, "", TEXT_KINDS, "response", note=TEXT_KIND_NOTE)


def _of_prorated(code: str, instrument: str) -> Column:
    def of_row(row: ExportRow) -> object:
        of_it = [each.status for each in _scores(row, code, instrument)]
        return of_it.count("prorated") if of_it else None

    name, label = (
        scale_name(code, instrument, "prorated"),
        f"{code}: scales of {instrument} scored from a part of their items",
    )
    return Column(
        name, label, "integer", (WIDE,), of_row, "scales", (), "score", note="score_reason in long.csv says how"
    )


def _of_missing(code: str, instrument: str) -> Column:
    """One reason for all empty scales of an instrument: only within answers can one have a value and another none."""

    def of_row(row: ExportRow) -> object:
        form = row.forms.get(code)
        if form is None or form.missing is not None:
            return form.missing if form else "not_planned"
        scores = _scores(row, code, instrument)
        if not scores:
            return missing.ANSWERED_FOR.word if form.answered_by == FOR_THE_PATIENT else "not_asked"
        return next((each.missing for each in scores if each.missing), None)

    name, label = scale_name(code, instrument, "missing"), f"{code}: why scales of {instrument} are empty"
    reasons = (*REASONS, *(each.word for each in missing.SCORE))
    return Column(
        name,
        label,
        "word",
        (WIDE,),
        of_row,
        "",
        reasons,
        "score",
        note="Scales that have a value have it in spite of this",
    )


def _of_scale(code: str, instrument: str, scale: str) -> Column:
    def of_row(row: ExportRow) -> object:
        return next((each.value for each in _scores(row, code, instrument) if each.scale == scale), None)

    name = scale_name(code, instrument, scale)
    words = instrument if scale == instrument else f"{instrument} {scale.replace('_', ' ')}"
    note = f"Empty where {scale_name(code, instrument, 'missing')} says why"
    return Column(name, f"{code}: {words}", "number", (WIDE,), of_row, "", (), "score", note=note)


def scale_name(code: str, instrument: str, scale: str) -> str:
    """y1_sst_total; a scale named like its instrument is not said twice: y1_pain. ValueError beyond 32 characters."""
    words = (
        short_name(code),
        instrument.replace("-", "_"),
        *([] if scale == instrument else [scale.replace("-", "_")]),
    )
    name = "_".join(words)
    if len(name) > LONGEST_NAME:
        raise ValueError(f"the column {name} has more than {LONGEST_NAME} characters; give the scale a shorter name")
    return name
