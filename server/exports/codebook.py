"""codebook.csv: every column, every item and scale that occurs, every reason for a missing value."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from scoring.definition import Definition, Item, Scale
from scoring.library import Library, UnknownInstrument
from server.exports import missing
from server.exports.cells import GUARD
from server.exports.column import LONGEST_LABEL, Column
from server.exports.columns import LONG
from server.exports.flow import LOG
from server.models import InstalledPlan, InstalledText
from server.schedule.plan import AfterSurgery, BeforeSurgery, Offset, Plan

EVERY_FILE = "*.csv"
NOTE = "This project's own descriptive words, not the owner's text; see text_id for what was shown."


class Entry(NamedTuple):
    """One row of the codebook; the names of the members are its header."""

    file: str
    name: str
    label: str
    type: str
    unit: str = ""
    codes: str | int = ""
    source: str = ""
    version: str = ""
    range: str = ""
    better: str = ""
    method: str = ""
    thresholds: str = ""
    note: str = ""
    as_of: date | None = None


def codebook(tables: Mapping[str, Sequence[Column]], instruments: Iterable[str], library: Library) -> Iterator[Entry]:
    """`tables`: the columns of each file as written. `instruments`: the specs that occur in the data."""
    yield Entry(EVERY_FILE, "text", "How text is written in every file", "guard", note=GUARD)
    for file, columns in tables.items():
        for column in columns:
            codes = " | ".join(column.codes)
            yield Entry(
                file, column.name, column.label, column.type, column.unit, codes, column.source, note=column.note
            )
    for spec in sorted(instruments):
        try:
            yield from _instrument(library.instrument(spec), library)
        except UnknownInstrument:
            yield Entry(LONG, spec, "This instrument is no longer shipped", "instrument", version=spec)
    for each in missing.EVERY:
        yield Entry(LONG, each.word, f"Missing: {each.word.replace('_', ' ')}", "missing", note=each.meaning)


def text_entry(text_id: str, installed: InstalledText | None) -> Entry:
    """Whose words a text was. An owner's words themselves never leave in a file; its SHA-256 tells them from any other."""
    if installed is None:
        return Entry(LONG, text_id, "Descriptive text", "wording", note=NOTE)
    note = (
        f"Owner: {installed.owner}; licence: {installed.licence_reference}; translation version "
        f"{installed.translation_version} of {installed.dated_on}; SHA-256 {installed.sha256.hex()}"
    )
    return Entry(LONG, text_id, "Licensed text", "wording", note=note)


def plan_entry(name: str, installed: InstalledPlan | None) -> Entry:
    """Where a follow-up plan came from. The SHA-256 of a clinic's own tells its file from any other of that name."""
    if installed is None:
        return Entry(LONG, name, "Follow-up plan", "plan", version=name, note="It comes with the program.")
    note = f"Installed by the clinic on {installed.installed_at:%Y-%m-%d}; SHA-256 {installed.sha256.hex()}"
    return Entry(LONG, name, "Follow-up plan", "plan", version=name, note=note)


def log_entry(basis: str | None) -> Entry:
    """On which basis the clinic counts people who are not enrolled."""
    note = basis or "The clinic has not stated it"
    return Entry(LOG, "basis", "Basis on which operations of people not enrolled are kept", "basis", note=note)


def window_entries(plan: Plan) -> Iterator[Entry]:
    """The windows of a follow-up plan, a row for each timepoint, in days from surgery or from its anniversary."""
    for entry in plan.entries():
        asks = f"asks {', '.join(part.instrument for part in entry.parts)}; about {entry.minutes} minutes"
        if isinstance(entry, BeforeSurgery):
            window = "enrolment to the day of surgery"
            note = f"Due {entry.due_days} days after opening; early when over {entry.early_over_days} days before surgery; {asks}"
        else:
            opens, invites, due, closes = (
                _offset(entry, each) for each in (entry.opens, entry.invites, entry.due, entry.closes)
            )
            window, note = f"{opens} to {closes}", f"Invited from {invites}, due {due}; {asks}"
        name = f"{plan.name}/{entry.code}"
        label = f"Window of {entry.code.replace('-', ' ')}"
        yield Entry(LONG, name, label, "plan: window", "days from surgery", version=plan.name, range=window, note=note)


def _offset(entry: AfterSurgery, offset: Offset) -> str:
    if offset.base == "surgery" or entry.year is None:
        return str(offset.days)
    return "anniversary" if offset.days == 0 else f"anniversary {offset.days:+d}"


def _label(text: str) -> tuple[str, str]:
    """A text as a label, cut after a word where it is too long for one; and the whole of it, for the note, where it was."""
    if len(text) <= LONGEST_LABEL:
        return text, ""
    return f"{text[: LONGEST_LABEL - 1].rpartition(' ')[0]}…", f"{text}. "


def _instrument(definition: Definition, library: Library) -> Iterator[Entry]:
    text = library.texts(definition.spec).get("en", {}).get("items", {})
    for item in definition.items:
        if not item.identifying:
            options = text.get(item.item, {}).get("options", {})
            yield _item(definition, item, options)
    for scale in definition.scales:
        yield _scale(definition, scale)


def _item(definition: Definition, item: Item, options: dict[str, str]) -> Entry:
    is_span = isinstance(item.numbers, range)
    span = f"{item.numbers[0]} to {item.numbers[-1]}" if is_span and item.numbers else ""
    codes = "" if is_span else " | ".join(f"{code} = {options.get(str(code), code)}" for code in item.numbers)
    label, whole = _label(item.topic)
    return Entry(
        LONG, f"{definition.spec}/{item.item}", label, f"item: {item.type}", item.unit or "", codes, definition.title,
        definition.spec, span, note=f"{whole}{_unverified(definition)}{NOTE}",
    )  # fmt: skip


def _scale(definition: Definition, scale: Scale) -> Entry:
    found = [
        f"{each.kind} {each.value} ({each.population}; {each.citation})"
        for each in definition.thresholds
        if each.scale == scale.scale
    ]
    (low, high), (label, whole) = scale.range, _label(scale.title)
    return Entry(
        LONG, f"{definition.spec}/{scale.scale}", label, "score", source=definition.title, version=definition.spec,
        range=f"{low} to {high}", better=scale.better, method=scale.method, thresholds=" | ".join(found),
        note=f"{whole}{_unverified(definition)}{scale.missing.source}",
    )  # fmt: skip


def _unverified(definition: Definition) -> str:
    return "The structure of this form is unverified. " if definition.status == "unverified" else ""
