"""A sentence and the choices at its figures as text, as a saved version keeps them, and back."""

from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qs, urlencode

from server.models import SeriesVersion
from server.outcomes.series.sentence import Sentence, sentence_in


def sentence_text(sentence: Sentence) -> str:
    """Equal for sentences with the same words chosen, in whatever order they were chosen."""
    return urlencode(sentence.address(), doseq=True)


def options_text(options: Mapping[str, str]) -> str:
    return urlencode(sorted(options.items()))


def sentence_of(version: SeriesVersion) -> Sentence:
    return sentence_in(parse_qs(version.sentence))[0]


def options_of(version: SeriesVersion) -> dict[str, str]:
    return {name: given[0] for name, given in parse_qs(version.options).items()}


def address_of(version: SeriesVersion) -> dict[str, Any]:
    """The arguments for url_for by which the figures of a version are opened under its name."""
    named = {"series": str(version.series_id), "version": str(version.number)}
    return {**sentence_of(version).address(), **options_of(version), **named}
