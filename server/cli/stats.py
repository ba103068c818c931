"""Commands that compute from numbers alone, without a clinic: `yearmark stats …` prints one JSON object."""

import json
import re
from typing import Any, BinaryIO

import click

from server.cli.opening import Refusal

MOST_DIGITS = 9  # more people than that are in no series
# A negative number is an argument to be refused in our own words, not an option that click does not know.
NUMBERS = {"ignore_unknown_options": True}


@click.group()
def stats() -> None:
    """Statistics of numbers from anywhere; no clinic is needed."""


@stats.command(context_settings=NUMBERS)
@click.argument("k")
@click.argument("n")
@click.option("--level", default="0.95", show_default=True, help="Confidence level, between 0 and 1.")
def proportion(k: str, n: str, level: str) -> None:
    """K of N with Wilson's limits."""
    from server.outcomes.arithmetic.proportion import proportion_document

    try:
        found = proportion_document(whole(k, "K"), whole(n, "N"), number(level, "--level"))
    except ValueError as problem:
        raise Refusal(str(problem)) from problem
    say(found)


@stats.command(context_settings=NUMBERS)
@click.argument("a")
@click.argument("b")
@click.option("--ties", help="How many have both and no preference: shown, not counted.")
def preference(a: str, b: str, ties: str | None) -> None:
    """A people prefer the first of two that they have, B the second: share, exact limits and exact test."""
    from server.outcomes.arithmetic.preference import preference_document

    without = None if ties is None else whole(ties, "--ties")
    try:
        found = preference_document(whole(a, "A"), whole(b, "B"), without)
    except ValueError as problem:
        raise Refusal(str(problem)) from problem
    say(found)


@stats.command(context_settings=NUMBERS)
@click.argument("observed")
@click.argument("expected")
def deaths(observed: str, expected: str) -> None:
    """OBSERVED against EXPECTED deaths: their ratio with exact Poisson limits."""
    from server.outcomes.arithmetic.poisson import deaths_document

    try:
        found = deaths_document(whole(observed, "OBSERVED"), number(expected, "EXPECTED"))
    except ValueError as problem:
        raise Refusal(str(problem)) from problem
    say(found)


@stats.command(context_settings=NUMBERS)
@click.argument("file", type=click.File("rb"))
@click.option(
    "--better",
    type=click.Choice(["higher", "lower"]),
    default="higher",
    show_default=True,
    help="Which scores are better.",
)
@click.option("--min", "minimum", help="The least score of the scale; a score below it is refused.")
@click.option("--max", "maximum", help="The most; a score above it is refused.")
@click.option("--reliability", help="The score's reliability, from 0 to below 1: adds who changed reliably.")
def change(file: BinaryIO, better: str, maximum: str | None, minimum: str | None, reliability: str | None) -> None:
    """Change from pairs of scores: a CSV with the columns before and after. `-` reads standard input.

    A change is after minus before. --min and --max are the range of the scale. The end at which scores are best adds the percentage
    of the possible improvement: --max, or --min with --better lower. Who stood there before has none; how many of them got worse is
    counted apart.
    """
    from server.outcomes.arithmetic.paired import PairsProblem, Range, change_document

    within = Range(
        *(None if text is None else number(text, name) for text, name in ((minimum, "--min"), (maximum, "--max")))
    )
    reliable = None if reliability is None else number(reliability, "--reliability")
    try:
        found = change_document(utf_8(file.read()), within=within, reliability=reliable, better=better)
    except PairsProblem as problem:
        raise Refusal(str(problem)) from problem
    say(found)


@stats.command(context_settings=NUMBERS)
@click.argument("file", type=click.File("rb"))
@click.option(
    "--from", "start", help="Begin the curves at this time, with those who were then still watched without any event."
)
def survival(file: BinaryIO, start: str | None) -> None:
    """Survival and cumulative incidence: a CSV with the columns time and status. `-` reads standard input.

    Status 0 is censored, 1 the event, 2 and above events that compete. Further columns, if wanted: group; entry, the time at which
    watching began; id, whose row it is, where one person has several.
    """
    from server.outcomes.arithmetic.survival_document import survival_document
    from server.outcomes.arithmetic.table import TableProblem

    begin = None if start is None else number(start, "--from")
    try:
        found = survival_document(utf_8(file.read()), begin)
    except TableProblem as problem:
        raise Refusal(str(problem)) from problem
    say(found)


@stats.command(context_settings=NUMBERS)
@click.argument("file", type=click.File("rb"))
def intervals(file: BinaryIO) -> None:
    """Events of which only an interval is known: a CSV with the columns left and right. `-` reads standard input.

    The event lies after left, up to and with right; where both are the same it is exact. An empty left is 0, an empty right not yet.
    A column group, if wanted, parts the rows.
    """
    from server.outcomes.arithmetic.intervals_document import intervals_document
    from server.outcomes.arithmetic.table import TableProblem

    try:
        found = intervals_document(utf_8(file.read()))
    except TableProblem as problem:
        raise Refusal(str(problem)) from problem
    say(found)


def say(document: dict[str, Any]) -> None:
    click.echo(json.dumps(document, ensure_ascii=False, allow_nan=False))


def whole(text: str, name: str) -> int:
    """Digits 0 to 9 only: int() would also take underscores and the digits of other scripts."""
    if not re.fullmatch(rf"[0-9]{{1,{MOST_DIGITS}}}", text):
        raise Refusal(f"{name} is {text!a}; it must be a whole number of 0 or more, at most {MOST_DIGITS} digits")
    return int(text)


def number(text: str, name: str) -> float:
    """A decimal with a point; no sign of infinity, no exponent, no digits of other scripts."""
    if not re.fullmatch(rf"-?[0-9]{{1,{MOST_DIGITS}}}(\.[0-9]+)?|\.[0-9]+", text):
        raise Refusal(f"{name} is {text!a}; it must be a number such as 0.9 or 12, with a decimal point")
    return float(text)


def utf_8(content: bytes) -> str:
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as problem:
        raise Refusal(f"the file is not UTF-8 text (byte {problem.start + 1}); save it as CSV in UTF-8") from problem
