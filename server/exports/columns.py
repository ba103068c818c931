"""The columns of long.csv and operations.csv, and those of wide.csv that are no timepoint's. The codebook is made of them.

A name is at most 32 characters, lower case, ASCII, and stays for decades: a column is never renamed and never changes its meaning.
To add one, add a line here; the codebook follows by itself. What is recorded of an operation comes from its field table.
"""

from collections.abc import Callable, Iterator
from typing import Any

from scoring.text import text_kind
from server.exports import missing
from server.exports.column import YES_NO, Column, codes_of, said, type_of
from server.exports.contacts import SECOND_CONTACT
from server.exports.empty import applies_to_operation, why_empty
from server.exports.facts import (
    BOUND,
    DoneAgain,
    ExportRow,
    FormFacts,
    ItemFacts,
    OperationFacts,
    ScoreFacts,
    VisitFacts,
)
from server.fields.event import PRECISIONS
from server.fields.field import CERTAINTIES, Field, named
from server.fields.leaving import exported
from server.fields.operation import OPERATION, SHOULDER
from server.fields.operation_words import SIDES
from server.fields.person import ATTEMPT_RESULTS, DEATH_CERTAINTIES, DEATH_SOURCES, SEXES, WITHDRAWAL_EXTENTS
from server.models.follow_up import WINDOW_STATES
from server.models.response import ANSWERED_BY, MODES, SCORE_STATUSES
from server.schedule.after_contact import MESSAGE
from server.schedule.follow_up_dates import EndReason
from server.schedule.last_known import Known, Source, State
from server.schedule.status import Reason, Status

LONG, WIDE, OPERATIONS, SCHEDULE = "long.csv", "wide.csv", "operations.csv", "schedule.csv"
FILES = {"long": LONG, "wide": WIDE, "operations": OPERATIONS}
EVERYWHERE = (LONG, WIDE, OPERATIONS, SCHEDULE)
_BOTH = (LONG, SCHEDULE)
ROW_KINDS = ("form", "visit", "item", "score")
RESEARCH_CONSENTS = ("given", "withdrawn", "none")
TEXT_KINDS = ("licensed", "descriptive")
OF_A_VISIT = (
    "No plan asks for it: it has no timepoint. It stands with the last operation done before its day that starts a follow-up, or before "
    "the first with that one"
)
FIRST_DAY = "Counted from surgery_on, which is the first day that it can have been; see surgery_precision"
COURSE_DAY = (
    "The first day that it can have been; where that lies before the operation that it came after, the 15th of its month or 1 July, "
    "kept after that operation and not after its second stage, a death or as_of"
)
REVISED_NOTE = "The shoulder then has another implant than the one put in at this operation; see revised_on"
REASON_NOTE = (
    "Of a missed form the first of: what the last try to reach the patient brought (declined, too_ill, language, no_device); "
    "opened_not_finished, the link was opened and no answer came; lost, the patient is lost since before the window closed; no_answer"
)
# Ways of a try, as contacts.py counts them.
TRIES = (
    ("telephone", "by telephone"),
    ("letter", "by a letter written by hand"),
    ("in_person", "in person"),
    ("email", "by an e-mail written by hand"),
    ("sms", "by a text message written by hand"),
    (SECOND_CONTACT, "those that went to the second contact person"),
)
TEXT_KIND_NOTE = "Licensed: the owner's words. Descriptive: this project's own plain words, not the owner's"


def _operation(
    name: str, label: str, type: str, value: Callable[[OperationFacts], object], files: tuple[str, ...] = (OPERATIONS,), *,
    source: str = "operation", **more: Any,
) -> Column:  # fmt: skip
    return Column(name, label, type, files, lambda row: value(row.operation), source=source, **more)


def _of_field(field: Field, source: str = "operation") -> Column:
    """A field of the record, under the export rule of its row."""
    if field.export is None:
        raise ValueError(f"{field.name} stays in the clinic: {field.stays}")
    files = tuple(FILES[each] for each in field.export.files)
    files += (SCHEDULE,) if LONG in files else ()
    return _operation(
        field.column, field.export.label, type_of(field), lambda o: o.recorded[field.name], files,
        unit=field.unit.replace("²", "2"), codes=codes_of(field), source=source, note=field.export.note,
    )  # fmt: skip


# These stand where they always stood, apart from the other fields of an operation.
_COURSE = {field.name: _of_field(field) for field in exported(OPERATION) if field.group == "course"}
_AT_SURGERY = [_of_field(field) for field in exported(OPERATION) if field.group != "course"]
# The surgeon leaves as a code.
_OF_THE_RECORD = (*exported(OPERATION), *exported(SHOULDER), named(OPERATION, "surgeon"))
# What the labels of the components say that were put in at this operation: each different text once, in the order of entry.
_LABELS = [
    _operation(name, f"{label}, as typed from its label", "text", lambda o, name=name: o.recorded[name],  # type: ignore[misc]
        note="Of several components each different text once, with a bar between; see components.csv")
    for name, label in (("implant_model", "Implant model"), ("implant_size", "Implant size"), ("implant_lot", "Implant lot"))
]  # fmt: skip
_PLACE_OF_LABELS = 1 + [column.name for column in _AT_SURGERY].index("implant_type")


def _last_known(name: str, label: str, known: Callable[[OperationFacts], Known | None]) -> Iterator[Column]:
    """Day and source; each source moves only what it shows."""
    note = "What came to light after the as-of day or after a death is not in it"
    yield _operation(
        f"last_{name}_on", label, "date", lambda o: (found := known(o)) and found.on, source="computed", note=note
    )
    yield _operation(f"last_{name}_source", "By which source", "word", lambda o: (found := known(o)) and str(found.source),
        source="computed", codes=tuple(Source))  # fmt: skip


def _implant_known(name: str, label: str, known: Callable[[OperationFacts], Known | None]) -> Iterator[Column]:
    """Of an implant also its state on that day."""
    yield from _last_known(name, label, known)
    yield _operation(f"last_{name}_state", "What was known of the implant on that day", "word",
        lambda o: (found := known(o)) and str(found.state), source="computed", codes=tuple(State),
        note="operated_not_recorded: a source says operated again, and no such operation is recorded")  # fmt: skip


def _revised(name: str, label: str, type: str, value: Callable[[DoneAgain], object], **more: Any) -> Iterator[Column]:
    """Of the revision that ends what is told of this operation's implant."""
    yield _operation(
        f"revised_{name}", label, type, lambda o: o.revision and value(o.revision), (WIDE, OPERATIONS), **more
    )


def _form(
    name: str, label: str, type: str, value: Callable[[FormFacts], object], *,
    source: str = "timepoint", files: tuple[str, ...] = (LONG,), **more: Any,
) -> Column:  # fmt: skip
    return Column(name, label, type, files, lambda row: row.form and value(row.form), source=source, **more)


def _answer(
    name: str, label: str, type: str, value: Callable[[FormFacts | VisitFacts], object], *,
    source: str = "response", files: tuple[str, ...] = (LONG,), **more: Any,
) -> Column:  # fmt: skip
    """Of a form that was planned and of one that was taken at a visit alike."""

    def of_row(row: ExportRow) -> object:
        answered = row.form or row.visit
        return answered and value(answered)

    return Column(name, label, type, files, of_row, source=source, **more)


def _item_or_score(
    name: str, label: str, type: str, item: Callable[[ItemFacts], object], score: Callable[[ScoreFacts], object], *,
    codes: tuple[str, ...] = (), source: str = "response", note: str = "",
) -> Column:  # fmt: skip
    def value(row: ExportRow) -> object:
        if row.item is not None:
            return item(row.item)
        return score(row.score) if row.score is not None else None

    return Column(name, label, type, (LONG,), value, codes=codes, source=source, in_form=True, note=note)


def _nothing(_facts: object) -> None:
    return None


def _row_kind(row: ExportRow) -> str:
    return "item" if row.item else "score" if row.score else "visit" if row.visit else "form"


def _value(row: ExportRow) -> float | int | None:
    """Nothing where it is missing: the word that says why stands in another column."""
    facts = row.item or row.score
    return facts.value if facts is not None and facts.missing is None else None


def _is_revised(row: ExportRow) -> bool | None:
    answered = row.form or row.visit
    return row.operation.is_revised(answered.on) if answered else None


def _missing(row: ExportRow) -> str | None:
    facts = row.item or row.score or row.form or row.visit
    return facts.missing if facts else None


def _eligible(form: FormFacts) -> bool:
    """Whether the timepoint is in the denominator of those still expected, once its window has closed."""
    return form.status != Status.NOT_EXPECTED and form.status_reason != Reason.ENROLLED_LATER


COLUMNS: tuple[Column, ...] = (
    _operation("study_number", "Study number: the pseudonym, the same in every export", "text",
        lambda o: o.study_number, EVERYWHERE, source="patient"),
    _operation("side", "Operated shoulder", "word", lambda o: o.side, EVERYWHERE, codes=tuple(SIDES), source="shoulder"),
    _operation("operation", "Which operation on this shoulder, in the order of entry", "integer",
        lambda o: o.position, EVERYWHERE),
    _COURSE["kind"],
    _COURSE["surgery_on"],
    _operation("surgery_precision", "How exactly the day of surgery is known", "word",
        lambda o: o.recorded["surgery_precision"], EVERYWHERE, codes=PRECISIONS,
        note="Of a day known to its month or year surgery_on holds the first; ages, days and windows are counted from that"),
    _operation("sex", "Sex", "word", lambda o: o.sex, (WIDE, OPERATIONS), codes=said(SEXES), source="patient"),
    _operation("birth_year", "Year of birth", "integer", lambda o: o.birth_year, (WIDE, OPERATIONS), source="patient"),
    _operation("age_at_surgery", "Completed years on the day of surgery", "integer",
        lambda o: o.age_at_surgery, (WIDE, OPERATIONS), unit="years", source="computed from the birth date", note=FIRST_DAY),
    _of_field(named(SHOULDER, "dominant"), source="shoulder"),
    *(column for name, column in _COURSE.items() if name not in ("kind", "surgery_on")),
    _operation("first_stage", "Of a second stage: which operation on this shoulder is its first stage", "integer",
        lambda o: o.first_stage),
    *_AT_SURGERY[:_PLACE_OF_LABELS],
    *_LABELS,
    *_AT_SURGERY[_PLACE_OF_LABELS:],
    _operation("surgeon", "Surgeon, by a code that is the same in every export", "text", lambda o: o.surgeon, (WIDE, OPERATIONS),
        note="No name leaves the clinic; a surgeon who is entered under two names has two codes"),
    _operation("plan", "Follow-up plan", "text", lambda o: o.plan, (WIDE, OPERATIONS), source="follow-up"),
    _operation("followed_from", "First day of this operation's follow-up", "date",
        lambda o: o.followed_from, (WIDE, OPERATIONS), source="follow-up"),
    _operation("followed_to", "Day from which nothing more is expected; empty while it goes on", "date",
        lambda o: o.followed_to, (WIDE, OPERATIONS), source="follow-up"),
    _operation("end_reason", "Why nothing more is expected; silence is never a reason", "word",
        lambda o: o.end_reason, (WIDE, OPERATIONS), codes=tuple(EndReason), source="follow-up"),
    *_revised("on", "Day of the first revision of this shoulder after this operation", "date", lambda r: r.on,
        note=f"{COURSE_DAY}; see revised_precision"),
    *_revised("precision", "How exactly the day of that revision is known", "word", lambda r: r.precision, codes=PRECISIONS),
    *_revised("certainty", "How sure it is that the shoulder was revised", "word", lambda r: r.certainty, codes=said(CERTAINTIES),
        note="Empty: not recorded, as of most of what was done here"),
    _operation("converted_on", "Day of the first conversion to arthroplasty after this operation", "date",
        lambda o: o.converted_on, note=COURSE_DAY),
    *_last_known("contact", "Last contact with the patient", lambda o: o.last_contact),
    *_last_known("alive", "Last day on which the patient was known to be alive", lambda o: o.last_alive),
    *_implant_known("implant", "Last day on which the state of this shoulder was known", lambda o: o.last_implant),
    *_implant_known("implant_reported", "Later, but only reported, of this shoulder", lambda o: o.implant_reported),
    _operation("died_on", "Day of death", "date", lambda o: o.died_on, (WIDE, OPERATIONS), source="patient"),
    _operation("died_precision", "How exactly the day of death is known", "word", lambda o: o.died_precision,
        (WIDE, OPERATIONS), codes=PRECISIONS, source="patient",
        note="died_on holds the first day that it can have been, by operations and the last day known alive"),
    _operation("died_source", "From whom the death is known", "word", lambda o: o.died_source, codes=said(DEATH_SOURCES), source="patient"),
    _operation("died_certainty", "How sure the death is", "word", lambda o: o.died_certainty, codes=said(DEATH_CERTAINTIES),
        source="patient"),
    _operation("withdrawn_on", "Day of withdrawal from contact", "date", lambda o: o.withdrawn_on, source="patient"),
    _operation("records_closed_on", "Day from which nothing more is taken from records", "date", lambda o: o.records_closed_on,
        source="patient"),
    _operation("erasure_asked_on", "Day on which erasure was asked for", "date", lambda o: o.erasure_asked_on, source="patient"),
    _operation("withdrawal_extent", "How far the withdrawal goes", "word", lambda o: o.withdrawal_extent,
        codes=said(WITHDRAWAL_EXTENTS), source="patient", note="Of messages alone the day stands in messages_stopped_on"),
    _operation("messages_stopped_on", "Day from which the patient wanted no more messages", "date", lambda o: o.messages_stopped_on,
        source="patient", note="What staff still do by hand goes on, and so does what is expected"),
    _operation("transferred_on", "Day from which another clinic follows up", "date", lambda o: o.transferred_on, source="patient"),
    _operation("lost_on", "Last contact, once a person confirmed that the patient is lost to questionnaires", "date",
        lambda o: o.lost_on, source="patient"),
    _operation("research_consent", "Consent to research use on the as-of day", "word", lambda o: o.research_consent,
        codes=RESEARCH_CONSENTS, source="consent", note="An export for research holds patients with given alone"),
    _operation("research_consent_version", "Version of the clinic's text to which that consent was given", "text",
        lambda o: o.research_consent_version, source="consent",
        note="on_paper where it was given to a form of which the clinic keeps no text here; empty without a consent"),
    *why_empty(OPERATIONS, _OF_THE_RECORD, lambda row: {**row.operation.recorded, "surgeon": row.operation.surgeon}, applies_to_operation),
    _operation("as_of", "Day on which statuses were computed", "date", lambda o: o.as_of, EVERYWHERE, source="computed"),
    _form("timepoint", "Timepoint of the plan", "text", lambda f: f.code, files=_BOTH),
    _form("attempt", "Attempt: a baseline over 90 days old by surgery is asked again", "integer", lambda f: f.attempt, files=_BOTH),
    _form("plan_version", "Follow-up plan and version that made the window", "text", lambda f: f.plan, files=_BOTH),
    _form("opens_on", "First day of the window", "date", lambda f: f.opens_on, files=_BOTH, note=FIRST_DAY),
    _form("due_on", "Due day", "date", lambda f: f.due_on, files=_BOTH, note=FIRST_DAY),
    _form("closes_on", "Last day of the window; empty while surgery is not done", "date", lambda f: f.closes_on, files=_BOTH,
        note=FIRST_DAY),
    _form("withheld_on", "Day since which the form stays back for a text", "date", lambda f: f.withheld_on,
        note="Or stayed back until its window closed; see withheld_texts", files=_BOTH),
    _form("withheld_texts", "Texts for which it stays back: they might not be sent", "text", lambda f: f.withheld_texts, files=_BOTH),
    _form("status", "Status of the timepoint on the as-of day", "word", lambda f: f.status, codes=tuple(Status), files=_BOTH),
    _form("status_reason", "Why it stands so", "word", lambda f: f.status_reason, codes=tuple(Reason), files=_BOTH,
        note=REASON_NOTE),
    _form("status_since", "Day since which it stands so; empty while it is still to come", "date", lambda f: f.status_since, files=_BOTH),
    _form("answered_operation", "Where the answer is to a form of the shoulder's other operation: which operation", "integer",
        lambda f: f.answered_operation, files=_BOTH),
    _form("answered_timepoint", "And which timepoint of it", "text", lambda f: f.answered_timepoint, files=_BOTH),
    _form("lot_cast_on", "Day on which its lot for the random quarter of the silent was cast", "date", lambda f: f.lot_cast_on,
        files=_BOTH, note="One lot a person, cast while the window was open and the last reminder gone; the drawn stand for all of these"),
    _form("draw", "Number of that draw, whose seed stands on the page about silence", "integer", lambda f: f.draw, files=_BOTH),
    _form("drawn_on", "Day on which it was drawn into the random quarter of the silent", "date", lambda f: f.drawn_on, files=_BOTH),
    _form("drawing_probability", "Probability with which it was drawn", "number", lambda f: f.drawing_probability, files=_BOTH),
    _answer("window_state", "Where the answer lies; late and recalled answers are kept and marked", "word",
        lambda f: f.window_state, codes=WINDOW_STATES, files=_BOTH),
    _answer("answered_on", "Day on which the form was finished, on the clinic's calendar", "date",
        lambda f: f.answered_on, files=_BOTH),
    _answer("finished_at", "Instant at which the form was finished, between fetch and receipt", "instant",
        lambda f: f.finished_at, unit="UTC"),
    _answer("days_from_surgery", "Days from surgery to the answer, or to the due day without one", "integer",
        lambda f: f.days_from_surgery, unit="days", source="computed", note=f"Below zero before surgery. {FIRST_DAY}"),
    Column("revised", "The answer, or the due day without one, is after a revision", "integer", _BOTH, _is_revised, codes=YES_NO,
        source="computed", note=REVISED_NOTE),
    _form("spacer_in", "Between the stages of an exchange on the day of the answer, or the due day", "integer",
        lambda f: f.spacer_in, codes=YES_NO, source="operation", note="A spacer or no implant is in the shoulder", files=_BOTH),
    _answer("mode", "How the form was answered", "word", lambda f: f.mode, codes=MODES, files=_BOTH),
    _answer("answered_by", "Who answered", "word", lambda f: f.answered_by, codes=ANSWERED_BY, files=_BOTH),
    _answer("language", "Language of the form, BCP 47", "text", lambda f: f.language),
    _form("messages_sent", "Invitations and reminders that were sent about the form", "integer",
        lambda f: f.messages_sent, source="message", note="0 when nobody could be written to; by channel in schedule.csv"),
    _form("repeats", "Further answers to the same form that were kept and do not count", "integer",
        lambda f: f.repeats, source="response"),
    Column("finding", "Of a form taken at a visit: which visit, by its number in findings.csv", "integer", (LONG,),
        lambda row: row.visit and row.visit.finding, source="clinic finding", note=OF_A_VISIT),
    _form("eligible", "Whether an answer could be expected at this timepoint", "integer", _eligible, files=(SCHEDULE,), codes=YES_NO,
        source="computed", note="0 where nothing was expected any more (died, withdrew, …) or the window had closed before enrolment"),
    *(_form(f"{channel}_sent", f"Invitations and reminders sent by {words}", "integer",
        lambda f, channel=channel: f.sent.get(channel, 0), files=(SCHEDULE,), source="message")  # type: ignore[misc]
        for channel, words in (("email", "e-mail"), ("sms", "text message"), ("push", "push message"), ("letter", "letter"))),
    _form("calls", "Tries of staff to reach the patient about it, the columns tries_… together", "integer",
        lambda f: sum(f.tries.values()), files=(SCHEDULE,), source="contact attempt",
        note="One about all that was open on its day counts for each"),
    *(_form(f"tries_{how}", f"Of these, {words}", "integer", lambda f, how=how: f.tries.get(how, 0), files=(SCHEDULE,),  # type: ignore[misc]
        source="contact attempt") for how, words in TRIES),
    _form("last_try", "What came of the last try about it, messages by hand included", "word", lambda f: f.last_try, files=(SCHEDULE,),
        codes=(*said(ATTEMPT_RESULTS), f"{MESSAGE} = a message by hand"), source="contact attempt"),
    _form("asked_on", "First day of the window on which the patient was reached about it", "date", lambda f: f.asked_on,
        files=(SCHEDULE,), note="By a message, a letter or a call, or the form was fetched; empty: nobody was asked"),
    _form("fetched_on", "First day of the window on which a phone fetched its form", "date", lambda f: f.fetched_on, files=(SCHEDULE,),
        source="link", note="The link was opened with the right birth date; whether the form was begun is not known"),
    Column("row_kind", "What the row holds: the form as a whole, one item, one score", "word", (LONG,),
        _row_kind, codes=ROW_KINDS, in_form=True, note="form: one of the plan as a whole; visit: one that was taken at a visit"),
    _item_or_score("instrument", "Instrument and version", "text", lambda i: i.instrument, lambda s: s.instrument),
    _item_or_score("item", "Item, by the number it has in the definition", "text", lambda i: i.item, _nothing),
    _item_or_score("scale", "Scale of the score", "text", _nothing, lambda s: s.scale),
    Column("value", "Code of the option, number, or score; empty where it is missing", "number", (LONG,),
        _value, source="response", in_form=True, note="Why it is missing stands in the column missing"),
    _item_or_score("value_month", "Answer that is a month", "text", lambda i: i.month, _nothing),
    Column("missing", "Why the value is missing", "word", _BOTH,
        _missing, codes=tuple(each.word for each in (*missing.ITEM, *missing.SCORE, *missing.FORM, missing.UPCOMING)),
        source="response", in_form=True),
    _item_or_score("score_status", "Whether the scale was scored, and how", "word", _nothing, lambda s: s.status,
        codes=(*SCORE_STATUSES, BOUND), source="score", note="bound is no score but an end of what it can have been"),
    _item_or_score("score_reason", "What was blank, and why there is no score or by which rule there is one", "text",
        _nothing, lambda s: s.reason, source="score"),
    _item_or_score("score_answered", "Items of the scale that were answered", "integer",
        _nothing, lambda s: s.answered, source="score"),
    _item_or_score("score_items", "Items of the scale", "integer", _nothing, lambda s: s.items, source="score"),
    _item_or_score("method", "Method of scoring", "text", _nothing, lambda s: s.method, source="score"),
    _item_or_score("scoring_version", "Version of the scoring program", "text",
        _nothing, lambda s: s.scoring_version, source="score"),
    _item_or_score("text_id", "Text that was shown", "text", lambda i: i.text_id, lambda s: s.text_id),
    _item_or_score("text_kind", "Whose words the text was", "word",
        lambda i: text_kind(i.text_id), lambda s: text_kind(s.text_id), codes=TEXT_KINDS, note=TEXT_KIND_NOTE),
)  # fmt: skip


def columns_of(file: str) -> list[Column]:
    return [column for column in COLUMNS if file in column.files]
