"""codebook.csv: every column, every item and scale that occurs, every reason for a missing value."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from scoring.definition import Definition, Item, Scale
from scoring.library import Library, UnknownInstrument
from server.exports import missing
from server.exports.cells import GUARD
from server.exports.columns import LONG, Column
from server.models import InstalledPlan, InstalledText

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


def codebook(tables: dict[str, list[Column]], instruments: Iterable[str], library: Library) -> Iterator[Entry]:
    """`tables`: the columns of each file as written. `instruments`: the specs that occur in the data."""
    yield Entry(EVERY_FILE, "text", "How text is written in every file", "guard", note=GUARD)
    for file, columns in tables.items():
        for column in columns:
            codes = " | ".join(column.codes)
            yield Entry(file, column.name, column.label, column.type, column.unit, codes, column.source)
    for spec in sorted(instruments):
        try:
            yield from _instrument(library.instrument(spec), library)
        except UnknownInstrument:
            yield Entry(LONG, spec, "This instrument is no longer shipped", "instrument", version=spec)
    for each in (*missing.ITEM, *missing.SCORE, *missing.FORM):
        yield Entry(LONG, each.word, each.meaning, "missing", codes=each.code)


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
    name = f"{definition.spec}/{item.item}"
    return Entry(
        LONG,
        name,
        item.topic,
        f"item: {item.type}",
        item.unit or "",
        codes,
        definition.title,
        definition.spec,
        span,
        note=NOTE,
    )


def _scale(definition: Definition, scale: Scale) -> Entry:
    found = [
        f"{each.kind} {each.value} ({each.population}; {each.citation})"
        for each in definition.thresholds
        if each.scale == scale.scale
    ]
    low, high = scale.range
    return Entry(
        LONG, f"{definition.spec}/{scale.scale}", scale.title, "score", source=definition.title, version=definition.spec,
        range=f"{low} to {high}", better=scale.better, method=scale.method, thresholds=" | ".join(found), note=scale.missing.source,
    )  # fmt: skip
