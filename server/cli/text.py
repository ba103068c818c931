"""`yearmark text`: licensed texts are drafted, checked, installed and listed."""

import re
from pathlib import Path
from typing import Any

import click

from scoring.library import UnknownInstrument, load_library
from scoring.strict_json import shown
from scoring.text import LANGUAGE
from server.cli.opening import Refusal, data_option, opened_clinic
from server.installation.runtime import Runtime
from server.queries.clock import clinic_day, the_clinic
from server.texts.check import LONGEST_BYTES, CheckedText, TextProblem, check_file
from server.texts.difference import Document, difference
from server.texts.draft import draft_text
from server.texts.install import Installation, InstallRefused, LicenceProblem, install_text, read_licence
from server.texts.listing import TextLine, compared_with, list_texts
from server.words.languages import language_problem

file_argument = click.argument("file", type=click.File("rb"))
hash_option = click.option("--sha256", "stated", default="", help="The file's hash as its sender stated it.")
FIELDS = {
    "owner": "--owner",
    "licence_reference": "--licence-reference",
    "translation_version": "--translation-version",
    "dated_on": "--dated-on",
}


@click.group()
def text() -> None:
    """Licensed texts of instruments: an owner's authorised words in one language."""


@text.command()
@click.argument("instrument")
@click.argument("language")
def draft(instrument: str, language: str) -> None:
    """Print an empty text to fill in, with every item and code of the instrument."""
    try:
        definition = load_library().instrument(instrument)
    except UnknownInstrument as problem:
        raise Refusal(str(problem)) from problem
    wrong = (
        language_problem(language) if re.fullmatch(LANGUAGE, language) else "is no language tag such as en, es or pt-BR"
    )
    if wrong:
        raise Refusal(f"{shown(language)} {wrong}")
    if definition.status == "unverified":
        raise Refusal(f"{definition.spec} is unverified: it cannot be asked, so no text can be installed for it")
    click.echo(draft_text(definition, language))


@text.command()
@file_argument
@hash_option
@click.option(
    "--data", type=click.Path(path_type=Path, file_okay=False), help="Compare also with what is installed there."
)
def check(file: Any, stated: str, data: Path | None) -> None:
    """Check a file item by item and print where its words differ from those that are there."""
    checked = _checked(file, stated)
    _say_fits(checked)
    if data is None:
        shipped = load_library().texts(checked.definition.spec)
        beside = shipped.get(checked.language, shipped["en"])
        _say_difference(checked, f"the descriptive text {beside['text_id']}", beside)
        return
    runtime = opened_clinic(data)
    with runtime.store.reading() as session:
        for name, document in compared_with(session, runtime.library, checked):
            _say_difference(checked, name, document)


@text.command()
@file_argument
@data_option
@click.option("--owner", required=True, help="Who owns the instrument's words.")
@click.option("--licence-reference", required=True, help="Number or date of the licence or permission.")
@click.option("--translation-version", required=True, help="As the owner names it.")
@click.option("--dated-on", required=True, help="Day of this version, YYYY-MM-DD.")
@click.option("--replaces", default="", help="Id of the text that this one replaces from now on.")
@hash_option
def install(file: Any, data: Path | None, stated: str, replaces: str, **fields: str) -> None:
    """Install a checked text: from now on patients are asked in it. An installed text never changes."""
    runtime = opened_clinic(data)
    checked = _checked(file, stated)
    done = _installed(runtime, checked, fields, replaces)
    if done.already:
        click.echo(f"{done.text_id} is already installed; nothing was changed.")
        return
    _say_fits(checked)
    click.echo(f"{done.text_id} is installed and locked. Phones get it with the next fetch.")
    if done.replaced:
        click.echo(f"{done.replaced} is no longer asked; it stays readable, and its id stays in the responses.")


@text.command("list")
@data_option
def list_command(data: Path | None) -> None:
    """List which words each instrument has in each language."""
    runtime = opened_clinic(data)
    with runtime.store.reading() as session:
        for lines in list_texts(session, runtime.library).values():
            for line in lines:
                click.echo(f"{line.definition.spec:<18} {line.language:<10} {_said(line)}")


def _checked(file: Any, stated: str) -> CheckedText:
    try:
        return check_file(file.read(LONGEST_BYTES + 1), load_library(), stated_sha256=stated)
    except TextProblem as problem:
        lines = "\n".join(f"  {each}" for each in problem.problems)
        raise Refusal(f"{file.name} cannot be installed; nothing was changed:\n{lines}") from problem


def _installed(runtime: Runtime, checked: CheckedText, fields: dict[str, str], replaces: str) -> Installation:
    now = runtime.now()
    try:
        with runtime.store.writing() as session:
            licence = read_licence(fields, today=clinic_day(the_clinic(session), now))
            return install_text(session, checked, licence, replaces=replaces, now=now, by_id=None)
    except LicenceProblem as problem:
        said = "; ".join(f"{FIELDS[name]} {' '.join(found)}" for name, found in problem.errors.items())
        raise Refusal(said) from problem
    except InstallRefused as problem:
        raise Refusal(
            f"{problem} (--replaces)" if "say that it replaces" in str(problem) else str(problem)
        ) from problem


def _say_fits(checked: CheckedText) -> None:
    items = len(checked.definition.items)
    way = "right to left" if checked.direction == "rtl" else "left to right"
    click.echo(
        f"{checked.text_id} fits {checked.definition.spec}: {items} items. Language {checked.language}, read {way}."
    )
    click.echo(f"SHA-256 {checked.sha256.hex()}")


def _say_difference(checked: CheckedText, name: str, beside: Document) -> None:
    changes = difference(checked.definition, beside, checked.document)
    if not changes:
        click.echo(f"The words are those of {name}.")
        return
    click.echo(f"Beside {name} {len(changes)} places differ:")
    for change in changes:
        click.echo(f"  {change.place}\n    there: {change.old or '(nothing)'}\n    new:   {change.new or '(nothing)'}")


def _said(line: TextLine) -> str:
    if line.kind == "none":
        return "no text: cannot be asked" if line.definition.status != "usable" else "no text"
    said = f"{line.kind:<12} {line.text_id}"
    if line.installed is not None:
        row = line.installed
        said += f", {row.owner}, {row.licence_reference}, {row.translation_version}, {row.dated_on}, {row.sha256.hex()[:12]}"
    if line.altered:
        said += "  ALTERED since it was installed: not sent"
    return said + ("  not decided on: not sent" if line.undecided else "")
