"""Commands that read: a clinic's files, a score of answers from anywhere, an instrument for other systems."""

import json
from pathlib import Path
from typing import Any

import click

from server.cli.opening import Refusal, data_option, opened_clinic
from server.cli.progress import progress_bar


@click.command()
@data_option
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="A new or empty folder, or one with an earlier export, which is replaced; always needed.",
)
@click.option("--all-patients", is_flag=True, help="Also those without consent to research; never for research.")
def export(data: Path | None, out: Path | None, all_patients: bool) -> None:
    """Write the data set: long and wide CSV, operations, codebook and a manifest with checksums.

    Patients without a consent to research are left out and counted in the manifest.
    """
    from server.exports import ExportProblem, KeysMissing, count_operations, export_set

    runtime = opened_clinic(data)
    if out is None:
        raise Refusal(
            "say where the files go: --out FOLDER, a new or empty folder, or an earlier export to be replaced"
        )
    cipher, now = runtime.keys.patient_cipher, runtime.now()
    operations = count_operations(runtime.store, now=now, all_patients=all_patients)
    try:
        with progress_bar(operations, "Operations") as bar:
            manifest = export_set(
                runtime.store, cipher, runtime.library, out, now=now, all_patients=all_patients, progress=bar.update
            )
    except KeysMissing as problem:
        raise Refusal(f"{problem} (looked in {runtime.keys.folder})") from problem
    except ExportProblem as problem:
        raise Refusal(str(problem)) from problem
    click.echo(f"{len(manifest.files)} files in {out}")


@click.command()
@click.argument("instrument")
@click.argument("file", type=click.File("rb"), default="-")
@click.option("--explain", is_flag=True, help="Print the arithmetic instead.")
def score(instrument: str, file: Any, explain: bool) -> None:
    """Score answers: {"answers": {"1": 1, "2": 0, …}}, null for not answered."""
    from scoring.answers import AnswerProblem
    from scoring.document import score_document
    from scoring.library import UnknownInstrument, load_library
    from scoring.strict_json import JsonProblem

    given = _answers_in(file)
    try:
        result = score_document(load_library(), instrument, given, explain=explain)
    except (AnswerProblem, UnknownInstrument, JsonProblem) as problem:
        raise Refusal(str(problem)) from problem
    click.echo(result if isinstance(result, str) else json.dumps(result, ensure_ascii=False))


def _answers_in(file: Any) -> bytes:
    """What the file or the standard input holds. Nothing there, or a terminal where nobody knows what to type, is refused."""
    by_name = getattr(file, "name", "<stdin>") != "<stdin>"
    given: bytes = b"" if not by_name and file.isatty() else file.read()
    if given.strip():
        return given
    missing = f"{file.name} is empty" if by_name else "no answers came in"
    raise Refusal(
        f'{missing}. Name a file that holds {{"answers": {{"1": 1, "2": 0}}}}, or pass the same on the standard input: '
        "yearmark score sst answers.json"
    )


@click.command()
@click.argument("instrument")
@click.option("--language", default="en", show_default=True, help="Of the words that patients read.")
def questionnaire(instrument: str, language: str) -> None:
    """Print an instrument as a FHIR R4 Questionnaire."""
    from scoring.library import UnknownInstrument, load_library
    from server.exports.questionnaire import questionnaire as made_of

    library = load_library()
    try:
        definition, texts = library.instrument(instrument), library.texts(instrument)
    except UnknownInstrument as problem:
        raise Refusal(str(problem)) from problem
    if language not in texts:
        raise Refusal(f"{definition.spec} has no text in {language!a}; there are: {', '.join(texts)}")
    click.echo(json.dumps(made_of(definition, texts[language]), ensure_ascii=False, indent=2))
