"""The one table of columns. It drives long.csv, wide.csv, operations.csv and codebook.csv.

A name is at most 32 characters, lower case, ASCII, and stays for decades: a column is never renamed and never changes its meaning.
To add one, add a line here; the codebook follows by itself. What is recorded of an operation comes from its field table.
"""

from collections.abc import Callable
from dataclasses import dataclass

from server.exports import missing
from server.exports.facts import BOUND, ExportRow, FormFacts, ItemFacts, OperationFacts, ScoreFacts
from server.fields.event import PRECISIONS
from server.fields.field import Field, Kind, Leaves, named
from server.fields.leaving import exported, words_that_leave
from server.fields.operation import OPERATION, SHOULDER
from server.fields.operation_words import SIDES
from server.fields.person import SEXES
from server.models.follow_up import WINDOW_STATES
from server.models.response import ANSWERED_BY, MODES, SCORE_STATUSES
from server.schedule.follow_up_dates import EndReason
from server.schedule.status import Reason, Status
from server.schedule.timepoint_code import TimepointCode

LONG, WIDE, OPERATIONS = "long.csv", "wide.csv", "operations.csv"
FILES = {"long": LONG, "wide": WIDE, "operations": OPERATIONS}
EVERYWHERE = (LONG, WIDE, OPERATIONS)
ROW_KINDS = ("form", "item", "score")
LONGEST_NAME = 32
RESEARCH_CONSENTS = ("given", "withdrawn", "none")
YES_NO = ("1 = yes", "0 = no")
TEXT_KINDS = ("licensed", "descriptive")
TEXT_KIND_LABEL = "Licensed: the owner's words. Descriptive: this project's own plain words, not the owner's"


@dataclass(frozen=True)
class Column:
    """`type`: integer, number, text, word (one of `codes`), date, instant. `value` takes a row and gives a typed value or None.

    `in_form`: it differs between the rows of one form; all other columns are worked out once for a form.
    """

    name: str
    label: str
    type: str
    files: tuple[str, ...]
    value: Callable[[ExportRow], object]
    unit: str = ""
    codes: tuple[str, ...] = ()
    source: str = ""
    in_form: bool = False


def _operation(
    name: str, label: str, type: str, value: Callable[[OperationFacts], object], files: tuple[str, ...] = (OPERATIONS,), *,
    unit: str = "", codes: tuple[str, ...] = (), source: str = "operation",
) -> Column:  # fmt: skip
    return Column(name, label, type, files, lambda row: value(row.operation), unit, codes, source)


_TYPES = {
    Kind.CHOICE: "word",
    Kind.CODED: "word",
    Kind.TEXT: "text",
    Kind.SEVERAL: "text",
    Kind.NUMBER: "number",
    Kind.WHOLE: "integer",
    Kind.YES_NO: "integer",
    Kind.DAY: "date",
}


def _of_field(field: Field, source: str = "operation") -> Column:
    """A field of the record, under the export rule of its row."""
    if field.export is None:
        raise ValueError(f"{field.name} stays in the clinic: {field.stays}")
    noted = field.export.leaves == Leaves.NOTED
    codes = YES_NO if noted or field.kind == Kind.YES_NO else words_that_leave(field)
    files = tuple(FILES[each] for each in field.export.files)
    return _operation(
        field.column, field.export.label, "integer" if noted else _TYPES[field.kind], lambda o: o.recorded[field.name], files,
        unit=field.unit.replace("²", "2"), codes=codes, source=source,
    )  # fmt: skip


# These stand where they always stood, apart from the other fields of an operation.
_COURSE = {field.name: _of_field(field) for field in exported(OPERATION) if field.group == "course"}
_AT_SURGERY = [_of_field(field) for field in exported(OPERATION) if field.group != "course"]
# What the labels of the components say that were put in at this operation: each different text once, in the order of entry.
_LABELS = [
    _operation(name, f"{label}, as typed from its label; of several components with a bar between, see components.csv", "text",
        lambda o, name=name: o.recorded[name])  # type: ignore[misc]
    for name, label in (("implant_model", "Implant model"), ("implant_size", "Implant size"), ("implant_lot", "Implant lot"))
]  # fmt: skip
_PLACE_OF_LABELS = 1 + [column.name for column in _AT_SURGERY].index("implant_type")


def _form(
    name: str, label: str, type: str, value: Callable[[FormFacts], object], *,
    unit: str = "", codes: tuple[str, ...] = (), source: str = "timepoint",
) -> Column:  # fmt: skip
    return Column(name, label, type, (LONG,), lambda row: row.form and value(row.form), unit, codes, source)


def _item_or_score(
    name: str, label: str, type: str, item: Callable[[ItemFacts], object], score: Callable[[ScoreFacts], object], *,
    codes: tuple[str, ...] = (), source: str = "response",
) -> Column:  # fmt: skip
    def value(row: ExportRow) -> object:
        if row.item is not None:
            return item(row.item)
        return score(row.score) if row.score is not None else None

    return Column(name, label, type, (LONG,), value, codes=codes, source=source, in_form=True)


def _nothing(_facts: object) -> None:
    return None


def _row_kind(row: ExportRow) -> str:
    return "item" if row.item else "score" if row.score else "form"


def _value(row: ExportRow) -> float | int | None:
    facts = row.item or row.score or row.form
    if facts is None or facts.missing is not None:
        return missing.code(facts.missing) if facts else None
    return None if isinstance(facts, FormFacts) else facts.value


def _missing(row: ExportRow) -> str | None:
    facts = row.item or row.score or row.form
    return facts.missing if facts else None


_MISSING_CODES = (
    "0 and above = the value itself",
    *(f"{each.code} = {each.word}" for each in (*missing.ITEM, *missing.SCORE, *missing.FORM)),
)

COLUMNS: tuple[Column, ...] = (
    _operation("study_number", "Study number: the pseudonym, the same in every export", "text",
        lambda o: o.study_number, EVERYWHERE, source="patient"),
    _operation("side", "Operated shoulder", "word", lambda o: o.side, EVERYWHERE, codes=tuple(SIDES), source="shoulder"),
    _operation("operation", "Which operation on this shoulder, in the order of entry", "integer",
        lambda o: o.position, EVERYWHERE),
    _COURSE["kind"],
    _COURSE["surgery_on"],
    _operation("surgery_precision", "How exactly the day of surgery is known; the first day that it can be stands in surgery_on",
        "word", lambda o: o.recorded["surgery_precision"], codes=PRECISIONS),
    _operation("sex", "Sex", "word", lambda o: o.sex, (WIDE, OPERATIONS), codes=tuple(SEXES), source="patient"),
    _operation("birth_year", "Year of birth", "integer", lambda o: o.birth_year, (WIDE, OPERATIONS), source="patient"),
    _operation("age_at_surgery", "Completed years on the day of surgery", "integer",
        lambda o: o.age_at_surgery, (WIDE, OPERATIONS), unit="years", source="computed from the birth date"),
    _of_field(named(SHOULDER, "dominant"), source="shoulder"),
    *(column for name, column in _COURSE.items() if name not in ("kind", "surgery_on")),
    _operation("first_stage", "Of a second stage: which operation on this shoulder is its first stage", "integer",
        lambda o: o.first_stage),
    *_AT_SURGERY[:_PLACE_OF_LABELS],
    *_LABELS,
    *_AT_SURGERY[_PLACE_OF_LABELS:],
    _operation("plan", "Follow-up plan", "text", lambda o: o.plan, (WIDE, OPERATIONS), source="follow-up"),
    _operation("followed_from", "First day of this operation's follow-up", "date",
        lambda o: o.followed_from, (WIDE, OPERATIONS), source="follow-up"),
    _operation("followed_to", "Day from which nothing more is expected; empty while it goes on", "date",
        lambda o: o.followed_to, (WIDE, OPERATIONS), source="follow-up"),
    _operation("end_reason", "Why nothing more is expected; silence is never a reason", "word",
        lambda o: o.end_reason, (WIDE, OPERATIONS), codes=tuple(EndReason), source="follow-up"),
    _operation("revised_on", "Day of the first revision of this shoulder after this operation", "date",
        lambda o: o.revised_on),
    _operation("died_on", "Day of death", "date", lambda o: o.died_on, source="patient"),
    _operation("lost_on", "Last contact, once a person confirmed that the patient is lost to questionnaires", "date",
        lambda o: o.lost_on, source="patient"),
    _operation("research_consent", "Consent to research use on the as-of day; an export for research holds patients with given alone",
        "word", lambda o: o.research_consent, codes=RESEARCH_CONSENTS, source="consent"),
    _form("timepoint", "Timepoint of the plan", "text", lambda f: f.code),
    _form("attempt", "Attempt: a baseline over 90 days old by surgery is asked again", "integer", lambda f: f.attempt),
    _form("plan_version", "Follow-up plan and version that made the window", "text", lambda f: f.plan),
    _form("opens_on", "First day of the window", "date", lambda f: f.opens_on),
    _form("due_on", "Due day", "date", lambda f: f.due_on),
    _form("closes_on", "Last day of the window; empty while surgery is not done", "date", lambda f: f.closes_on),
    _form("withheld_on", "Day since which the form stays back, or stayed back until its window closed; see withheld_texts", "date",
        lambda f: f.withheld_on),
    _form("withheld_texts", "Texts for which it stays back: they might not be sent", "text", lambda f: f.withheld_texts),
    _form("status", "Status of the timepoint on the as-of day", "word", lambda f: f.status, codes=tuple(Status)),
    _form("status_reason", "Why it stands so", "word", lambda f: f.status_reason, codes=tuple(Reason)),
    _form("status_since", "Day since which it stands so; empty while it is still to come", "date", lambda f: f.status_since),
    _form("answered_operation", "Where the answer is to a form of the shoulder's other operation: which operation", "integer",
        lambda f: f.answered_operation),
    _form("answered_timepoint", "And which timepoint of it", "text", lambda f: f.answered_timepoint),
    _form("drawn_on", "Day on which it was drawn into the random quarter of the silent", "date", lambda f: f.drawn_on),
    _form("drawing_probability", "Probability with which it was drawn", "number", lambda f: f.drawing_probability),
    _form("window_state", "Where the answer lies; late and recalled answers are kept and marked", "word",
        lambda f: f.window_state, codes=WINDOW_STATES, source="response"),
    _form("answered_on", "Day on which the form was finished, on the clinic's calendar", "date",
        lambda f: f.answered_on, source="response"),
    _form("finished_at", "Instant at which the form was finished, between fetch and receipt", "instant",
        lambda f: f.finished_at, unit="UTC", source="response"),
    _form("days_from_surgery", "Days from surgery to the answer, or to the due day without one; negative before surgery", "integer",
        lambda f: f.days_from_surgery, unit="days", source="computed"),
    _form("mode", "How the form was answered", "word", lambda f: f.mode, codes=MODES, source="response"),
    _form("answered_by", "Who answered", "word", lambda f: f.answered_by, codes=ANSWERED_BY, source="response"),
    _form("language", "Language of the form, BCP 47", "text", lambda f: f.language, source="response"),
    _form("messages_sent", "Invitations and reminders that were sent about the form; none when nobody could be written to", "integer",
        lambda f: f.messages_sent, source="message"),
    _form("repeats", "Further answers to the same form that were kept and do not count", "integer",
        lambda f: f.repeats, source="response"),
    Column("row_kind", "What the row holds: the form as a whole, one item, one score", "word", (LONG,),
        _row_kind, codes=ROW_KINDS, in_form=True),
    _item_or_score("instrument", "Instrument and version", "text", lambda i: i.instrument, lambda s: s.instrument),
    _item_or_score("item", "Item, by the number it has in the definition", "text", lambda i: i.item, _nothing),
    _item_or_score("scale", "Scale of the score", "text", _nothing, lambda s: s.scale),
    Column("value", "Code of the option, number, or score; below zero: why it is missing", "number", (LONG,),
        _value, codes=_MISSING_CODES, source="response", in_form=True),
    _item_or_score("value_month", "Answer that is a month", "text", lambda i: i.month, _nothing),
    Column("missing", "Why the value is missing", "word", (LONG,),
        _missing, codes=tuple(missing.BY_WORD), source="response", in_form=True),
    _item_or_score("score_status", "Whether the scale was scored, and how; bound is no score but an end of what it can have been",
        "word", _nothing, lambda s: s.status, codes=(*SCORE_STATUSES, BOUND), source="score"),
    _item_or_score("score_reason", "What was blank, and why there is no score or by which rule there is one", "text",
        _nothing, lambda s: s.reason, source="score"),
    _item_or_score("score_answered", "Items of the scale that were answered", "integer",
        _nothing, lambda s: s.answered, source="score"),
    _item_or_score("score_items", "Items of the scale", "integer", _nothing, lambda s: s.items, source="score"),
    _item_or_score("method", "Method of scoring", "text", _nothing, lambda s: s.method, source="score"),
    _item_or_score("scoring_version", "Version of the scoring program", "text",
        _nothing, lambda s: s.scoring_version, source="score"),
    _item_or_score("text_id", "Text that was shown", "text", lambda i: i.text_id, lambda s: s.text_id),
    _item_or_score("text_kind", TEXT_KIND_LABEL, "word",
        lambda i: text_kind(i.text_id), lambda s: text_kind(s.text_id), codes=TEXT_KINDS),
)  # fmt: skip


def text_kind(text_id: str) -> str:
    """`sst@1/en/descriptive-1` is a descriptive text."""
    return text_id.rpartition("/")[2].partition("-")[0]


def columns_of(file: str) -> list[Column]:
    return [column for column in COLUMNS if file in column.files]


# For each timepoint of wide.csv, after its short name: y1_status, y1_window, …
OF_EACH_TIMEPOINT: tuple[tuple[str, str, str, Callable[[FormFacts], object], tuple[str, ...]], ...] = (
    ("status", "status on the as-of day", "word", lambda f: f.status, tuple(Status)),
    ("missing", "why the form has no answer", "word", lambda f: f.missing, tuple(each.word for each in missing.FORM)),
    ("window", "where the answer lies", "word", lambda f: f.window_state, WINDOW_STATES),
    ("mode", "how it was answered", "word", lambda f: f.mode, MODES),
    ("by", "who answered", "word", lambda f: f.answered_by, ANSWERED_BY),
    ("days", "days from surgery to the answer, or to the due day without one", "integer", lambda f: f.days_from_surgery, ()),
)  # fmt: skip


def short_name(code: str) -> str:
    """`year-1` is y1, `month-3` m3, `week-6` w6, `day-10` d10, `baseline` base."""
    parsed = TimepointCode.parse(code)
    return "base" if parsed.is_before_surgery else f"{parsed.unit[0]}{parsed.number}"


def wide_columns(codes: list[str], scales: list[tuple[str, str]]) -> list[Column]:
    """wide.csv: the columns of the operation; then for each timepoint its own, and for each instrument in `scales` what kind of
    text it was asked in, how many scales were prorated, and every scale.
    """
    columns = columns_of(WIDE)
    for code in codes:
        columns += [_of_timepoint(code, *each) for each in OF_EACH_TIMEPOINT]
        for instrument in dict.fromkeys(instrument for instrument, _scale in scales):
            columns += [_of_text(code, instrument), _of_prorated(code, instrument)]
            columns += [_of_scale(code, instrument, scale) for other, scale in scales if other == instrument]
    return columns


def _of_timepoint(
    code: str, name: str, label: str, type: str, value: Callable[[FormFacts], object], codes: tuple[str, ...]
) -> Column:
    def of_row(row: ExportRow) -> object:
        form = row.forms.get(code)
        return form and value(form)

    unit = "days" if name == "days" else ""
    return Column(f"{short_name(code)}_{name}", f"{code}: {label}", type, (WIDE,), of_row, unit, codes, "timepoint")


def _of_text(code: str, instrument: str) -> Column:
    """Empty where the form has no answers to show or does not hold the instrument."""

    def of_row(row: ExportRow) -> object:
        form = row.forms.get(code)
        scores = form.scores if form is not None and form.missing is None else ()
        asked = next((each.text_id for each in scores if each.instrument.startswith(f"{instrument}@")), None)
        return asked and text_kind(asked)

    label = f"{code}: text in which {instrument} was asked. {TEXT_KIND_LABEL}"
    return Column(scale_name(code, instrument, "text"), label, "word", (WIDE,), of_row, "", TEXT_KINDS, "response")


def _of_prorated(code: str, instrument: str) -> Column:
    """Empty like the kind of text."""

    def of_row(row: ExportRow) -> object:
        form = row.forms.get(code)
        scores = form.scores if form is not None and form.missing is None else ()
        of_it = [each.status for each in scores if each.instrument.startswith(f"{instrument}@")]
        return of_it.count("prorated") if of_it else None

    label = f"{code}: how many scales of {instrument} were scored from a part of their items; score_reason in long.csv says how"
    return Column(scale_name(code, instrument, "prorated"), label, "integer", (WIDE,), of_row, "scales", (), "score")


def _of_scale(code: str, instrument: str, scale: str) -> Column:
    def of_row(row: ExportRow) -> object:
        form = row.forms.get(code)
        if form is None or form.missing is not None:
            return missing.code(form.missing) if form else None
        score = next(
            (each for each in form.scores if each.scale == scale and each.instrument.startswith(f"{instrument}@")), None
        )
        if score is None:
            return missing.code("not_asked")
        return missing.code(score.missing) if score.missing else score.value

    name = scale_name(code, instrument, scale)
    words = instrument if scale == instrument else f"{instrument} {scale.replace('_', ' ')}"
    return Column(name, f"{code}: {words}", "number", (WIDE,), of_row, "", _MISSING_CODES, "score")


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
